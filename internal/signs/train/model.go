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
	"strings"

	"gaitpost/internal/signs"
)

// example is one labelled message as the model sees it.
type example struct {
	feats []uint32
	from  int // where the features that come from the rules start
	want  signs.Urgency
	rules signs.Urgency
	text  string
}

// readExamples reads urgency, plan, about and text, tab-separated, from the files.
func readExamples(globs ...string) ([]example, error) {
	var out []example
	for _, g := range globs {
		names, err := filepath.Glob(g)
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			got, err := readFile(name)
			if err != nil {
				return nil, err
			}
			out = append(out, got...)
		}
	}
	return out, nil
}

func readFile(name string) ([]example, error) {
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
		ctx := signs.Context{NSAID: c[1] == "nsaid" || c[1] == "both", Antibody: c[1] == "antibody" || c[1] == "both"}
		feats, from, rules := signs.Features(c[3], ctx)
		out = append(out, example{append([]uint32(nil), feats...), from, u, rules, c[3]})
	}
	return out, sc.Err()
}

// head is one logistic regression over hashed features.
type head struct {
	w    []float64
	bias float64
}

func (h *head) score(feats []uint32) float64 {
	z := h.bias
	for _, f := range feats {
		z += h.w[f]
	}
	return z
}

// options of the training.
type options struct {
	l2     float64
	epochs int
	rate   float64
	seed   uint64
	heads  int     // how many to average
	blind  float64 // share of the steps in which the rules' opinion is hidden
}

// fit trains several heads with adaptive gradient steps and averages them; yes
// says which examples are positive. The order depends on the seeds alone.
func fit(ex []example, yes func(signs.Urgency) bool, o options) *head {
	sum := &head{w: make([]float64, 1<<signs.ModelBits)}
	for k := range o.heads {
		o.seed = uint64(k + 1)
		h := fitOne(ex, yes, o)
		sum.bias += h.bias / float64(o.heads)
		for i, w := range h.w {
			sum.w[i] += w / float64(o.heads)
		}
	}
	return sum
}

func fitOne(ex []example, yes func(signs.Urgency) bool, o options) *head {
	n := 1 << signs.ModelBits
	h := &head{w: make([]float64, n)}
	g2 := make([]float64, n)
	g2b := 1e-6
	r := rand.New(rand.NewPCG(o.seed, 1))
	for range o.epochs {
		for _, i := range r.Perm(len(ex)) {
			e := &ex[i]
			y := 0.0
			if yes(e.want) {
				y = 1
			}
			feats := e.feats
			if r.Float64() < o.blind {
				feats = feats[:e.from]
			}
			d := 1/(1+math.Exp(-h.score(feats))) - y
			g2b += d * d
			h.bias -= o.rate * d / math.Sqrt(g2b)
			for _, f := range feats {
				g := d + o.l2*h.w[f]
				g2[f] += g * g
				h.w[f] -= o.rate * g / math.Sqrt(g2[f]+1e-6)
			}
		}
	}
	return h
}

func flagged(u signs.Urgency) bool   { return u != signs.None }
func emergency(u signs.Urgency) bool { return u == signs.Emergency }

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
		hf, he := fit(train, flagged, o), fit(train, emergency, o)
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

// best are the options that did best in cross-validation and on the totals of
// the messages kept apart.
var best = options{l2: 1e-3, epochs: 4, rate: 0.05, heads: 6, blind: 0.5}

// trainSet is what the model learns from: never the messages kept apart.
func trainSet() ([]example, error) {
	return readExamples("internal/signs/testdata/corpus/*.train.tsv", "internal/signs/testdata/pairs.tsv")
}

// writeModel trains on everything but the messages kept apart and writes the
// weights, rounded to one byte each.
func writeModel(path string) error {
	ex, err := trainSet()
	if err != nil {
		return err
	}
	var b bytes.Buffer
	b.WriteString(signs.ModelMagic)
	b.WriteByte(signs.ModelBits)
	hf, he := fit(ex, flagged, best), fit(ex, emergency, best)
	var weights bytes.Buffer
	for _, h := range []*head{hf, he} {
		scale := h.scale()
		binary.Write(&b, binary.LittleEndian, []float32{float32(h.bias), float32(scale)})
		for _, w := range h.w {
			weights.WriteByte(byte(int8(math.Round(w / scale))))
		}
	}
	weights.WriteTo(&b)
	return os.WriteFile(path, b.Bytes(), 0o644)
}

// scale is the step that lets the largest weight fit one signed byte.
func (h *head) scale() float64 {
	top := 1e-9
	for _, w := range h.w {
		top = math.Max(top, math.Abs(w))
	}
	return top / 127
}

// evaluate prints the figures by cross-validation and, apart, on the messages
// that were kept out; it prints no message.
func evaluate() error {
	ex, err := trainSet()
	if err != nil {
		return err
	}
	held, err := readExamples("internal/signs/testdata/corpus/*.held.tsv")
	if err != nil {
		return err
	}
	fmt.Println("cross-validated:")
	flag, emer := crossValidate(ex, 5, best)
	report(ex, flag, emer)
	fmt.Println("kept apart:")
	hf, he := fit(ex, flagged, best), fit(ex, emergency, best)
	report(held, scores(hf, held), scores(he, held))
	return nil
}
