//go:build train

package main

import (
	"bufio"
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
	feats []uint16
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
			if strings.Contains(name, ".held.") {
				continue // kept apart for measuring only
			}
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
		feats, rules := signs.Features(c[3], ctx)
		out = append(out, example{append([]uint16(nil), feats...), u, rules, c[3]})
	}
	return out, sc.Err()
}

// head is one logistic regression over hashed features.
type head struct {
	w    []float64
	bias float64
}

func (h *head) score(feats []uint16) float64 {
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
}

// fit trains one head with adaptive gradient steps; yes says which examples
// are positive. The order of the examples depends on the seed alone.
func fit(ex []example, yes func(signs.Urgency) bool, o options) *head {
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
			d := 1/(1+math.Exp(-h.score(e.feats))) - y
			g2b += d * d
			h.bias -= o.rate * d / math.Sqrt(g2b)
			for _, f := range e.feats {
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
