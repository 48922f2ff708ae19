//go:build train

package main

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"gaitpost/internal/signs"
)

// example is one labelled message as the model sees it.
type example struct {
	text  string
	feats []uint32
	from  int // where the features that come from the rules start
	want  signs.Urgency
	rules signs.Urgency
	fresh bool // written without sight of the lists
}

// readExamples reads urgency, plan, about and text, tab-separated, from the files.
func (l language) readExamples(globs ...string) ([]example, error) {
	var out []example
	for _, g := range globs {
		names, err := filepath.Glob(g)
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			got, err := l.readFile(name)
			if err != nil {
				return nil, err
			}
			out = append(out, got...)
		}
	}
	return out, nil
}

func (l language) readFile(name string) ([]example, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var out []example
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, 1<<20)
	for n := 1; sc.Scan(); n++ {
		line := sc.Text()
		if line == "" || line[0] == '#' {
			continue
		}
		c := strings.Split(line, "\t")
		if len(c) != 4 {
			return nil, fmt.Errorf("%s line %d has %d columns, not 4", name, n, len(c))
		}
		u, err := signs.ParseUrgency(c[0])
		if err != nil {
			return nil, fmt.Errorf("%s line %d: %w", name, n, err)
		}
		ctx := signs.Context{NSAID: c[1] == "nsaid" || c[1] == "both", Antibody: c[1] == "antibody" || c[1] == "both", Lang: string(l)}
		feats, from, rules := signs.Features(c[3], ctx)
		out = append(out, example{c[3], append([]uint32(nil), feats...), from, u, rules, fresh(name)})
	}
	return out, sc.Err()
}

// known are the files that the lists were written with in view, so that the
// lists read them better than they will ever read an owner.
var known = map[string]bool{"own": true, "britain": true, "mixed": true, "overseas": true, "pairs": true, "bare": true}

func fresh(path string) bool {
	name, _, _ := strings.Cut(filepath.Base(path), ".")
	return !known[name] && !strings.Contains(path, "/pairs/")
}

// head is one logistic regression over hashed features.
type head struct {
	w    []float64
	bias float64
}

func (h *head) score(feats []uint32) float64 {
	z := 0.0
	for _, f := range feats {
		z += h.w[f]
	}
	return h.bias + z*signs.Dilution(len(feats))
}

// options of the training.
type options struct {
	l2     float64
	epochs int
	rate   float64
	heads  int     // how many to average
	blind  float64 // share of the steps in which the rules' opinion is hidden
	drop   float64 // share of the other features that a step leaves out
	smooth float64 // what the counts behind a feature's ratio are raised by
}

// fit trains several heads with adaptive gradient steps and averages them; yes
// says which examples are positive. The order depends on the seeds alone.
//
// A feature enters with the size of the log ratio of its shares among the
// positive and the other examples, which lets telling ones learn faster (Wang
// and Manning, Baselines and Bigrams, ACL 2012); the ratio ends up in the weights.
func fit(ex []example, yes func(signs.Urgency) bool, o options) *head {
	size := ratios(ex, yes, o.smooth)
	each := make([]*head, o.heads)
	var wg sync.WaitGroup
	for k := range each {
		wg.Go(func() { each[k] = fitOne(ex, yes, size, uint64(k+1), o) })
	}
	wg.Wait()
	sum := &head{w: make([]float64, 1<<signs.ModelBits)}
	for _, h := range each {
		sum.bias += h.bias / float64(o.heads)
		for i, w := range h.w {
			sum.w[i] += w * size[i] / float64(o.heads)
		}
	}
	return sum
}

// ratios gives the size of each feature's log ratio, and none to a feature that
// was never seen.
func ratios(ex []example, yes func(signs.Urgency) bool, smooth float64) []float64 {
	n := 1 << signs.ModelBits
	pos, neg, out := make([]float64, n), make([]float64, n), make([]float64, n)
	var all, allPos float64
	for i := range ex {
		to := neg
		if all++; yes(ex[i].want) {
			to = pos
			allPos++
		}
		for _, f := range ex[i].feats {
			to[f]++
		}
	}
	for f := range out {
		if pos[f]+neg[f] > 0 {
			p, q := (pos[f]+smooth)/(allPos+2*smooth), (neg[f]+smooth)/(all-allPos+2*smooth)
			out[f] = math.Abs(math.Log(p / q))
		}
	}
	return out
}

func fitOne(ex []example, yes func(signs.Urgency) bool, size []float64, seed uint64, o options) *head {
	h := &head{w: make([]float64, len(size))}
	g2 := make([]float64, len(size))
	g2b := 1e-6
	r := rand.New(rand.NewPCG(seed, 1))
	var feats []uint32
	for range o.epochs {
		for _, i := range r.Perm(len(ex)) {
			e := &ex[i]
			y := 0.0
			if yes(e.want) {
				y = 1
			}
			feats = e.some(feats[:0], r, o)
			z, by := h.bias, signs.Dilution(len(feats))
			for _, f := range feats {
				z += h.w[f] * size[f] * by
			}
			d := 1/(1+math.Exp(-z)) - y
			g2b += d * d
			h.bias -= o.rate * d / math.Sqrt(g2b)
			for _, f := range feats {
				g := d*size[f]*by + o.l2*h.w[f]
				g2[f] += g * g
				h.w[f] -= o.rate * g / math.Sqrt(g2[f]+1e-6)
			}
		}
	}
	return h
}

// some picks the features that one step sees.
func (e *example) some(to []uint32, r *rand.Rand, o options) []uint32 {
	from := e.feats
	if r.Float64() < o.blind {
		from = from[:e.from]
	}
	for _, f := range from {
		if r.Float64() >= o.drop {
			to = append(to, f)
		}
	}
	return to
}

func flagged(u signs.Urgency) bool   { return u != signs.None }
func emergency(u signs.Urgency) bool { return u == signs.Emergency }

// fitBoth trains the head that flags on everything, and the head that tells an
// emergency from a same-day sign on what holds a sign.
func fitBoth(ex []example, o options) (flag, emer *head) {
	var ill []example
	for i := range ex {
		if flagged(ex[i].want) {
			ill = append(ill, ex[i])
		}
	}
	return fit(ex, flagged, o), fit(ill, emergency, o)
}

// crossValidate scores every example by heads that were trained without it.
func crossValidate(ex []example, folds int, o options) (flag, emer []float64) {
	flag, emer = make([]float64, len(ex)), make([]float64, len(ex))
	perm := rand.New(rand.NewPCG(7, 7)).Perm(len(ex))
	for k := range folds {
		var train []example
		for j, i := range perm {
			if j%folds != k {
				train = append(train, ex[i])
			}
		}
		hf, he := fitBoth(train, o)
		for j, i := range perm {
			if j%folds == k {
				flag[i], emer[i] = hf.score(ex[i].feats), he.score(ex[i].feats)
			}
		}
	}
	return flag, emer
}

func scores(h *head, ex []example) []float64 {
	out := make([]float64, len(ex))
	for i := range ex {
		out[i] = h.score(ex[i].feats)
	}
	return out
}

// best are the options that did best in cross-validation.
var best = options{l2: 1e-3, epochs: 8, rate: 0.05, heads: 6, blind: 0.5, drop: 0.2, smooth: 1}

// trainSet is what the model learns from: never the messages kept apart.
func (l language) trainSet() ([]example, error) {
	return l.readExamples(l.corpus("train"), "internal/signs/testdata/pairs/"+string(l)+".tsv")
}

// corpus matches the files of one part of the corpus: train or held.
func (l language) corpus(part string) string {
	return "internal/signs/testdata/corpus/" + string(l) + "/*." + part + ".tsv"
}

// writeModel trains on everything but the messages kept apart and writes the
// weights, rounded to one byte each.
func (l language) writeModel() error {
	ex, err := l.trainSet()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	b.WriteString(signs.ModelMagic)
	b.WriteByte(signs.ModelBits)
	hf, he := fitBoth(ex, best)
	var weights bytes.Buffer
	for _, h := range []*head{hf, he} {
		scale := h.scale()
		binary.Write(&b, binary.LittleEndian, []float32{float32(h.bias), float32(scale)})
		for _, w := range h.w {
			weights.WriteByte(byte(int8(math.Round(min(127, max(-127, w/scale))))))
		}
	}
	weights.WriteTo(&b)
	return os.WriteFile(l.data("model.bin"), b.Bytes(), 0o644)
}

// scale is the step that lets all but the few largest weights fit one signed
// byte; those are held to the byte's end, so that the small ones keep their size.
func (h *head) scale() float64 {
	var sizes []float64
	for _, w := range h.w {
		if w != 0 {
			sizes = append(sizes, math.Abs(w))
		}
	}
	slices.Sort(sizes)
	return max(1e-9, sizes[len(sizes)*999/1000]) / 127
}
