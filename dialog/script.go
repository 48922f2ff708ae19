package dialog

import "slices"

// Script is one dialog: the steps it walks through, and single texts that the
// practice's service says on its own.
type Script struct {
	id        string
	version   int
	languages []string
	unicode   []string // languages that can't be written in GSM-7
	limits    Limits
	steps     []*Step // in file order
	texts     []*Step // single texts, never part of the walk
	at        place
}

// place is where something stands in a script file.
type place struct {
	file string
	line int
}

// wording is one text in one language.
type wording struct {
	text string
	at   place
}

// wordings are one text's languages.
type wordings map[string]wording

// Step is one question or text of a script.
type Step struct {
	id        string
	kind      Kind
	item      string
	items     []string // of a grid
	also      string   // item of a number question asked in the same message
	onlyIf    condition
	forms     []Form
	aside     bool // reached by goto alone; afterwards the walk goes on where it was
	end       bool // the dialog ends here
	free      bool // words that are no option are kept as they are
	safety    bool // a closed safety question
	protected bool
	requires  []string // placeholders that each of its texts must keep
	mustSay   wordlists
	segments  int
	parts     map[string]wordings // by Part
	used      map[string][]string // by Part: the placeholders of its texts, once learned
	anchors   map[string]*anchors // by language
	labels    map[string]map[string]wording
	options   []option
	branches  []branch
	next      string // unconditional goto
	nextAt    place
	after     string // an override's new step: the step it follows
	at        place
	names     wordlists        // what owners call the item
	yes, no   wordlists        // whole replies that mean it at this step, beside the usual ones
	dogs      bool             // the options are the household's dogs
	most      int              // of a number
	given     map[string]place // keys the file names
}

// anchors are the five plain levels of a scale item and what X stands for.
type anchors struct {
	level [5]string
	x     string
	at    place
}

// option is one answer of a choice.
type option struct {
	id      string
	text    wordings
	words   wordlists // further words for it
	several bool      // may be chosen together with others that say so
	at      place
}

// branch leads to another step where a condition holds.
type branch struct {
	when condition
	to   string
	at   place
}

// wordlists are words a text must contain, by language.
type wordlists map[string][]string

// ID returns the script's name.
func (s *Script) ID() string { return s.id }

// Version returns the script's own version, raised when its meaning changes.
func (s *Script) Version() int { return s.version }

// Languages returns the languages that every text of the script has.
func (s *Script) Languages() []string { return slices.Clone(s.languages) }

// Limits returns the script's time limits.
func (s *Script) Limits() Limits { return s.limits }

// OpenSafetyQuestion reports whether the session stands at a closed safety
// question. The question that takes an owner's own words is not closed: it is
// asked every week, and may wait like any other.
func (s *Script) OpenSafetyQuestion(sess Session) bool {
	st := s.step(sess.Step)
	return st != nil && st.safety && !(st.kind == KindYesNo && st.free)
}

// Anchors returns the plain words for levels 0 to 4 of a scale item, and those
// for X, in a language; English where the language is missing. ok is false
// where no step asks about the item.
func (s *Script) Anchors(item, lang string) (levels [5]string, x string, ok bool) {
	for _, st := range s.steps {
		if st.item != item || st.anchors == nil {
			continue
		}
		if a := st.anchorsIn(lang); a != nil {
			return a.level, a.x, true
		}
	}
	return levels, x, false
}

// Label returns the short name of a scale item in a language, as the list form
// names it.
func (s *Script) Label(item, lang string) (string, bool) {
	for _, st := range s.steps {
		if st.labels == nil {
			continue
		}
		m := st.labels[lang]
		if m == nil {
			m = st.labels[english]
		}
		if w, ok := m[item]; ok {
			return w.text, true
		}
	}
	return "", false
}

// step returns a step of the walk, or nil.
func (s *Script) step(id string) *Step {
	for _, st := range s.steps {
		if st.id == id {
			return st
		}
	}
	return nil
}

// anyStep returns a step of the walk or a single text, or nil.
func (s *Script) anyStep(id string) *Step {
	if st := s.step(id); st != nil {
		return st
	}
	for _, st := range s.texts {
		if st.id == id {
			return st
		}
	}
	return nil
}

// all returns the steps of the walk and then the single texts.
func (s *Script) all() []*Step { return append(slices.Clone(s.steps), s.texts...) }

// hasForm reports whether the step belongs to a form.
func (st *Step) hasForm(f Form) bool { return len(st.forms) == 0 || slices.Contains(st.forms, f) }

// forms returns the forms that the script has.
func (s *Script) allForms() []Form {
	for _, st := range s.steps {
		if slices.Contains(st.forms, AllAtOnce) {
			return []Form{OneByOne, AllAtOnce}
		}
	}
	return []Form{OneByOne}
}

// Forms returns the forms that the script can be played in.
func (s *Script) Forms() []Form { return s.allForms() }

// itemsOf are the items that an answer to the step may give.
func (st *Step) itemsOf() []string {
	if st.kind == KindGrid {
		return st.items
	}
	if st.item == "" {
		return nil
	}
	return []string{st.item}
}

func (st *Step) anchorsIn(lang string) *anchors {
	if a := st.anchors[lang]; a != nil {
		return a
	}
	return st.anchors[english]
}

func (st *Step) asks() bool { return st.kind != KindSay && st.kind != kindEnd }

// kindEnd is the step that ends a walk without a word.
const kindEnd Kind = 255

// english is the language that every script has and that stands in for one
// that is missing.
const english = "en"
