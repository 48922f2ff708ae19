package dialog

import "slices"

// Question is one step of a script that waits for an answer, for whoever
// answers in an owner's place: a rehearsal, a simulation, a printed card.
type Question struct {
	Step    string
	Kind    Kind
	Item    string   // "" for a list
	Items   []string // of a list, in the order asked
	Also    string   // an item asked in the same message, "" for none
	Options []string // ids of a choice, in the order offered
	Safety  bool     // a closed safety question
	Parts   []string // the Part constants it has words for, sorted
}

// Questions lists the steps of the script that wait for an answer, in the
// script's order.
func (s *Script) Questions() []Question {
	var list []Question
	for _, st := range s.steps {
		if !st.asks() {
			continue
		}
		q := Question{Step: st.id, Kind: st.kind, Item: st.item, Items: slices.Clone(st.items), Also: st.also, Safety: st.safety}
		for _, o := range st.options {
			q.Options = append(q.Options, o.id)
		}
		for part := range st.parts {
			q.Parts = append(q.Parts, part)
		}
		slices.Sort(q.Parts)
		list = append(list, q)
	}
	return list
}
