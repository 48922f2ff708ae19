// Package signs reads an owner's message about a dog and says whether it
// holds a sign that needs a vet now, the practice today, or neither.
//
// It never diagnoses. It works from word lists that a vet can read and edit
// (the files under data), a small reader of negation, of whose body is meant
// and of when it happened, and a small statistical model trained on the
// project's own invented messages. It needs no network and no clock: the same
// text and context always give the same finding.
//
// # How a message is read
//
// The reader (tokens.go) cuts the text into words in folded form: small
// letters, no accents, typos corrected to the nearest word of the lists
// (typo.go). Words and phrases fill concepts (POO, VOMIT, BLACK, NEG);
// figures of speech are emptied first. The patterns of each sign look for
// concepts near each other (pattern.go, matcher.go). Every match is then judged
// (context.go, judge.go): is it denied, is it another's body, is it only
// supposed, is it long over, is it as always, is it over and the dog well.
// What counts becomes a finding (decide.go), and the model (features.go,
// model.go) may overrule it in either direction.
//
// # Languages
//
// Each language is a folder of data with its own lists, model and thresholds.
// Context.Lang chooses it. Whatever the language, the English lists of
// emergencies read the message too, since owners mix; the other languages never
// read an English one. No program code names a language other than English.
//
// A language LL (its two-letter tag) needs these files, all of them UTF-8 text,
// "#" opening a comment. Write words as people write them, with their accents:
// both sides are folded, so that owners who leave accents out are read as well.
// The grammar of patterns and concepts is told in data/README.txt.
//
//	data/LL/grammar.txt      how the language is spelt; "key: value" lines:
//	    letter ß: ss           a letter with a spelling of its own (others lose their accent)
//	    head l: le             what stands before an apostrophe, as a word of its own: l'eau
//	    tail s: es             what stands behind one: geht's (else the apostrophe joins)
//	    ending ar: ~a, ~ado    the forms that "word+" takes in the lists, by the longest
//	                           ending that fits; "~" is the rest of the word. The word
//	                           itself is always one of them
//	    not-back: 3            how many content words a NEGBACK denies before it
//	    not-ahead: 7           how many content words a NEG denies behind it at most
//	    capitals: nouns        every noun has a capital, so that none is taken for a dog's name
//	    nothing: nada          behind this word a BUT opens no new clause ("nada más que rojo")
//	data/LL/numbers.txt      word = number
//	data/LL/concepts-*.txt   NAME: word, word+, several words, OTHERNAME. Every name in
//	                         flagNames (context.go) must be declared, NEGBACK alone may
//	                         be left out; so must ARTICLE, FILLER, AND, BUT, NUM, MANY
//	                         and FEVERNUM. Any other name is free: only patterns use it
//	data/LL/idioms.txt       words that do not mean what they say; "-> NAME" gives one meaning
//	data/LL/signs-*.txt      [sign options] and its patterns, for every sign of sign.go but
//	                         unclear, vomiting-repeated and vomit-single, and for !death,
//	                         !euthanasia, !distress and !person
//	data/LL/aliases.txt      short forms: xq = porque
//	data/LL/lookalikes.txt   ordinary words, so that none of them is corrected to a listed
//	                         one (caro to carro) nor taken for English (come, red, fin).
//	                         A few hundred of the commonest are enough to begin with
//	data/LL/thresholds.txt   made by the training tool
//	data/LL/model.bin        made by the training tool
//
//	testdata/pairs/LL.tsv           for each sign one message just inside and one just
//	                                outside, and what the plan changes, more than 150; all must be
//	                                read as labelled
//	testdata/corpus/LL/bare.train.tsv   the plainest words ("ha vomitado sangre"), read
//	                                without fail: at least 31 of each urgency
//	testdata/corpus/LL/NAME.train.tsv   messages to learn from, by as many voices as can be
//	testdata/corpus/LL/NAME.held.tsv    about a third, written first and never looked at
//	                                while lists and thresholds are worked on; best by other
//	                                hands, for a writer's own lists know the writer's words
//	testdata/corpus/LL/floor.txt    what the held part must go on reaching, in percent
//
// The .tsv files have four columns, tab-separated: urgency (none, same-day,
// emergency); plan (none, nsaid, antibody, both); what it is about, in a word or
// two; the message. What each urgency covers is at signTable in sign.go.
//
// How the concepts that the program knows work (their English words show it):
//
//   - NEG and NEGDET deny what follows, up to not-ahead content words or a break;
//     NEGDET ("no", "without") runs on through a list. NEGBACK denies the words
//     before it in the same part ("il mange pas", "kotzt nicht"); a word may be
//     both NEG and NEGBACK. A pattern that itself holds a NEG is not denied by it:
//     "NEG EAT" and "EAT NEG" are off-food. NEGCUT ends the reach, NEGRAISE ("I
//     don't think") lets it go on, NOMORE phrases deny nothing ("no more than"),
//     NOEND denies backwards at the end of a part ("vomiting: no"). SUBJ, STARTER,
//     PRON and VERBFIN show where a new clause begins.
//   - STOP ends what follows it, unless it is denied itself ("hasn't stopped").
//   - HYPO ("if", "could") makes the rest of the sentence supposed, unless REPORT,
//     RECENT or STILL tells that it happened; EVER keeps it supposed.
//   - OTHER, PERSON and SELF turn what follows into another's body, until DOG, a
//     dog's name or an ACTION ("my wife found") turns back. TOO: "and now he has too".
//   - LONGAGO quiets a clause without RECENT, STILL or NEW; USUAL one without NEW.
//     Patterns marked @new need NEW, STILL, RECENT or FRESH.
//   - WELL and RESOLVED behind a match quiet signs marked resolves or clears,
//     unless BAD or STILL stands there too; EXERCISE with either quiets those
//     marked exercise; SAFE those marked thing; TOLD those marked tablet.
//   - REPEAT makes vomiting repeated; HEDGE and UNSURE make a finding ask.
//   - ARTICLE words count for nothing within phrases, FILLER words for nothing
//     between the places of a pattern. AND, BUT and FULLSTOP words break.
//
// The order of work: corpus first (the held part at the very first), then the
// lists, reading only the train part; then, from the repository's root,
//
//	go run -tags train ./internal/signs/train thresholds --lang LL
//	go run -tags train ./internal/signs/train model --lang LL
//	go test ./internal/signs -run 'Language|Pairs|Bare|Figures' -v
//
// "train misses --lang LL" shows which training messages cross-validation reads
// wrongly: where the lists have a gap. A language is read with as soon as its
// model.bin and thresholds.txt are there; until then its messages are read as
// English.
package signs
