package signs

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// sample is one labelled message of the corpus.
type sample struct {
	want  Urgency
	ctx   Context
	about string
	text  string
}

// readSamples reads a file of urgency, plan, signs and text, tab-separated.
func readSamples(t testing.TB, lang, path string) []sample {
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	var out []sample
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, 1<<20)
	for n := 1; sc.Scan(); n++ {
		line := sc.Text()
		if strings.TrimSpace(line) == "" || line[0] == '#' {
			continue
		}
		c := strings.Split(line, "\t")
		require.Len(t, c, 4, "%s line %d has not four columns", path, n)
		u, err := ParseUrgency(strings.TrimSpace(c[0]))
		require.NoError(t, err, "%s line %d", path, n)
		ctx := planOf(c[1])
		ctx.Lang = lang
		out = append(out, sample{u, ctx, c[2], c[3]})
	}
	require.NoError(t, sc.Err())
	return out
}

func planOf(s string) Context {
	return Context{NSAID: s == "nsaid" || s == "both", Antibody: s == "antibody" || s == "both"}
}

// pairs reads a language's messages just inside and just outside each sign.
func pairs(t testing.TB, lang string) []sample {
	return readSamples(t, lang, "testdata/pairs/"+lang+".tsv")
}

// corpus reads a language's messages of one part: train or held.
func corpus(t testing.TB, lang, part string) []sample {
	names, err := filepath.Glob("testdata/corpus/" + lang + "/*." + part + ".tsv")
	require.NoError(t, err)
	require.NotEmpty(t, names)
	var out []sample
	for _, n := range names {
		out = append(out, readSamples(t, lang, n)...)
	}
	return out
}

// tally counts readings against labels.
type tally struct {
	got   [3][3]int // [want][got]
	total [3]int
}

func (c *tally) add(want, got Urgency) {
	c.got[want][got]++
	c.total[want]++
}

func share(a, b int) float64 {
	if b == 0 {
		return 1
	}
	return float64(a) / float64(b)
}

func (c *tally) emergencySeen() float64 {
	return share(c.got[Emergency][Emergency]+c.got[Emergency][SameDay], c.total[Emergency])
}
func (c *tally) emergencyExact() float64 {
	return share(c.got[Emergency][Emergency], c.total[Emergency])
}
func (c *tally) sameDaySeen() float64 {
	return share(c.got[SameDay][SameDay]+c.got[SameDay][Emergency], c.total[SameDay])
}
func (c *tally) harmlessFlagged() float64 {
	return share(c.got[None][SameDay]+c.got[None][Emergency], c.total[None])
}

func (c *tally) String() string {
	return fmt.Sprintf("emergency at least same-day %.1f %%, as emergency %.1f %% (of %d); same-day caught %.1f %% (of %d, %.1f %% raised to emergency); harmless flagged %.1f %% (of %d)",
		100*c.emergencySeen(), 100*c.emergencyExact(), c.total[Emergency],
		100*c.sameDaySeen(), c.total[SameDay], 100*share(c.got[SameDay][Emergency], c.total[SameDay]),
		100*c.harmlessFlagged(), c.total[None])
}

func measure(samples []sample, screen func(string, Context) Finding) *tally {
	c := new(tally)
	for _, s := range samples {
		c.add(s.want, screen(s.text, s.ctx).Urgency)
	}
	return c
}
