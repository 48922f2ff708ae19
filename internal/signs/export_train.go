//go:build train

package signs

// Corrected is the word of the lists that a misspelt word is read as, or "".
// Only the training tool uses it.
func Corrected(word string) string {
	lx := theLexicon()
	if _, ok := lx.vocab[word]; ok {
		return ""
	}
	if n := len(word); n > 4 && word[n-1] == 's' {
		if _, ok := lx.vocab[word[:n-1]]; ok {
			return "" // a plural of a word of the lists may well be read as it
		}
	}
	id := lx.correct([]byte(word))
	return lx.words[id]
}

// ModelBits is the binary logarithm of the number of features.
const ModelBits = modelBits

// Features is what the model sees of a message, and the urgency that the rules
// alone give it.
func Features(text string, ctx Context) (feats []uint32, rulesFrom int, rules Urgency) {
	m := newMatcher()
	m.run(text, ctx)
	f := m.decide(ctx)
	feats = m.features(ctx, f.Urgency)
	return feats, m.rulesFrom, f.Urgency
}

// ModelMagic opens the file of weights.
const ModelMagic = modelMagic
