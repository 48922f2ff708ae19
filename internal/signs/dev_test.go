package signs

import (
	"fmt"
	"os"
	"testing"
)

func TestDev(t *testing.T) {
	show := os.Getenv("SHOW")
	run := func(name string, ss []sample, pr bool) {
		c := new(tally)
		for _, s := range ss {
			f := Screen(s.text, s.ctx)
			c.add(s.want, f.Urgency)
			if pr && f.Urgency != s.want && (f.Urgency < s.want || s.want == None || os.Getenv("ALL") != "") {
				fmt.Printf("%s>%s [%s] %s\n     %v %s\n", s.want, f.Urgency, s.about, s.text, f.Signs, f.Reason)
			}
		}
		fmt.Println(name, c)
	}
	run("pairs", readSamples(t, "testdata/pairs.tsv"), show == "pairs")
	run("own", readSamples(t, "testdata/corpus/own.train.tsv"), show == "own")
	run("train", corpus(t, "train"), show == "train")
	if os.Getenv("HELD") != "" {
		run("held", corpus(t, "held"), false)
	}
}
