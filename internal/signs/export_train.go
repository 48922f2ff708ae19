//go:build train

package signs

// Corrected is the word of the lists that a misspelt word is read as, or "".
// Only the training tool uses it.
func Corrected(lang, word string) string {
	lx := languages[lang].words()
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
	m := newMatcher(languages[ctx.Lang])
	m.run(text, ctx)
	f := m.decide(ctx)
	feats = m.features(ctx, f.Urgency)
	return feats, m.rulesFrom, f.Urgency
}

// ModelMagic opens the file of weights.
const ModelMagic = modelMagic

// Thresholds are how much an emergency weighs, and the log-odds at which the
// model overrules the lists: nothing found and flagged, that raised to an emergency, same-day dropped, same-day
// raised, emergency dropped.
type Thresholds [6]float32

// Chosen are the thresholds that a language uses.
func Chosen(lang string) Thresholds {
	chosen := languages[lang].limit()
	return Thresholds{chosen.weight, chosen.flag, chosen.raise, chosen.dropSameDay, chosen.raiseSameDay, chosen.dropEmerg}
}

// Overrule is the urgency after the model's scores are weighed.
func (t Thresholds) Overrule(rules Urgency, flag, emergency float64) Urgency {
	return thresholds{t[0], t[1], t[2], t[3], t[4], t[5]}.overrule(rules, float32(flag), float32(emergency))
}

// Dilution is what each of n features counts for.
func Dilution(n int) float64 { return dilution(n) }
