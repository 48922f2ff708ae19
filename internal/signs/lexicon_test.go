package signs

import (
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

func loadText(files map[string]string) (*lexicon, error) {
	fsys := fstest.MapFS{}
	for name, text := range files {
		fsys["data/"+name] = &fstest.MapFile{Data: []byte(text)}
	}
	return load(fsys, "data")
}

// TestDataFileErrors: a slip in a list is named by file and line.
func TestDataFileErrors(t *testing.T) {
	for _, c := range []struct{ file, text, want string }{
		{"concepts-a.txt", "# fine\nPOO poo, poop", `data/concepts-a.txt line 2: "POO poo, poop" does not start with a concept`},
		{"signs-a.txt", "[collapse]\nPOO BLACK", "data/signs-a.txt line 2: concept POO is not declared"},
		{"signs-a.txt", "[no-such-sign]", `line 1: sign "no-such-sign" is not known`},
		{"signs-a.txt", "black", "line 1: a pattern stands before the first [sign]"},
		{"signs-a.txt", "[collapse]\nfell @soon", "line 2: option @soon is not known"},
		{"signs-a.txt", "[collapse]\nfell =soon", `"soon" is not an urgency`},
		{"signs-a.txt", "[collapse]\n/x fell", "gap /x is not a number"},
		{"signs-a.txt", "[collapse maybe]", `option "maybe" is not known`},
		{"aliases.txt", "cant = can not\ncan't = can not", "data/aliases.txt line 2"},
		{"numbers.txt", "one = first", "data/numbers.txt line 1"},
		{"grammar.txt", "colour: red", `data/grammar.txt line 1: "colour" is not known`},
		{"grammar.txt", "letter ss: s", `"ss" is not one letter`},
		{"grammar.txt", "not-back: few", "is not a number"},
		{"grammar.txt", "tails", "is not key: value"},
		{"concepts-a.txt", "POO: cagar+", "cagar+: the grammar has no ending that fits"},
	} {
		_, err := loadText(map[string]string{c.file: c.text})
		require.ErrorContains(t, err, c.want)
	}
}

// TestReadModel: a file of weights from elsewhere is refused.
func TestReadModel(t *testing.T) {
	b, err := dataFiles.ReadFile("data/en/" + modelFile)
	require.NoError(t, err)
	_, err = readModel(b[:100])
	require.ErrorContains(t, err, "bytes")
	bad := append([]byte("other!"), b[6:]...)
	_, err = readModel(bad)
	require.ErrorContains(t, err, "another version")
}

func TestTypos(t *testing.T) {
	lx := english.words()
	for wrong, right := range map[string]string{
		"siezure": "seizure", "colapsed": "collapsed", "diarrohea": "diarrhea", "chocolat": "chocolate",
		"stagering": "staggering", "swollne": "swollen",
	} {
		if id, ok := lx.vocab[wrong]; ok {
			require.NotEmpty(t, lx.slotsOf[id], wrong) // listed as it stands
			continue
		}
		require.Equal(t, right, lx.words[lx.correct([]byte(wrong))], wrong)
	}
	for _, ordinary := range []string{"baked", "bleak", "grade", "stale"} {
		id, ok := lx.vocab[ordinary]
		require.True(t, ok, "%s should be among the lookalikes", ordinary)
		require.Empty(t, lx.slotsOf[id], ordinary)
	}
}

func TestTokens(t *testing.T) {
	r := reader{lx: english.words()}
	words := func(s string) (out []string) {
		r.read(s, nil)
		for _, t := range r.toks {
			out = append(out, r.lx.words[t.word])
		}
		return out
	}
	require.Equal(t, []string{"he", "can", "not", "stand"}, words("He can't STAND"))
	require.Equal(t, []string{"he", "can", "not", "stand"}, words("he can’t stand"))
	require.Equal(t, []string{"poo", "'s", "black"}, words("poo's black"))
	require.Equal(t, []string{"i", "will", "call"}, words("I'll call"))
	r.read("4x today, 3.5 kg", nil)
	require.EqualValues(t, 4, r.toks[0].num)
	r.read("is it black?", nil)
	require.True(t, r.toks[0].asks)
}
