package signs

import (
	"sort"
	"strings"
	"unicode"
)

// settle weighs the counted matches against each other.
func (m *matcher) settle() {
	strong := false
	for i := range m.evidence {
		ev := &m.evidence[i]
		if ev.verdict == counted && ev.pat.opts&optWeak == 0 && ev.target.event == eventNone {
			strong = true
		}
	}
	for i := range m.evidence {
		ev := &m.evidence[i]
		if ev.verdict != counted {
			continue
		}
		if ev.pat.opts&optWeak != 0 && strong {
			ev.verdict = outweighed
		}
	}
	for i := range m.evidence {
		if m.evidence[i].verdict != counted {
			continue
		}
		for _, h := range m.evidence[i].target.hides {
			m.hide(Sign(h), i)
		}
	}
}

// hide marks the other matches of a sign that evidence i says more exactly.
func (m *matcher) hide(s Sign, i int) {
	for j := range m.evidence {
		ev := &m.evidence[j]
		if j != i && ev.target.sign == s && ev.verdict == counted {
			ev.verdict = outweighed
		}
	}
}

// decide turns the judged matches into a finding for this plan.
func (m *matcher) decide(ctx Context) Finding {
	f := Finding{Signs: []Sign{}}
	var best *evidence
	for i := range m.evidence {
		ev := &m.evidence[i]
		if ev.target.event != eventNone {
			m.takeEvent(&f, ev)
			continue
		}
		if ev.verdict != counted {
			continue
		}
		s := m.signOf(ev)
		ev.urgency = urgencyOf(s, ev, ctx)
		if ev.urgency == None {
			continue
		}
		f.add(s)
		ev.ask = ev.pat.opts&optAsk != 0 || m.hedged(ev)
		if best == nil || ev.urgency > best.urgency || ev.urgency == best.urgency && best.ask && !ev.ask {
			best = ev
		}
	}
	if best != nil {
		f.Urgency, f.Ask = best.urgency, best.ask
	}
	m.pronounce(&f, best)
	sortSigns(f.Signs, ctx)
	return f
}

// urgencyOf is the sign's urgency on this plan, or the one its pattern gives
// where the plan does not raise it.
func urgencyOf(s Sign, ev *evidence, ctx Context) Urgency {
	u := s.Urgency(ctx)
	if ev.pat.capped && u == s.Urgency(Context{}) {
		return ev.pat.cap
	}
	return u
}

// add keeps a sign once.
func (f *Finding) add(s Sign) {
	for _, have := range f.Signs {
		if have == s {
			return
		}
	}
	f.Signs = append(f.Signs, s)
}

func sortSigns(s []Sign, ctx Context) {
	sort.SliceStable(s, func(i, j int) bool {
		a, b := s[i].Urgency(ctx), s[j].Urgency(ctx)
		if a != b {
			return a > b
		}
		return signRank[s[i]] < signRank[s[j]]
	})
}

// hedged reports whether the owner sounds unsure in that clause.
func (m *matcher) hedged(ev *evidence) bool {
	return m.clauseFlags[m.clause[ev.first]]&(fHedge|fUnsure) != 0 || m.hypo[ev.first]
}

// vomiting tells once-and-well from repeated from the rest.
func (m *matcher) vomiting(ev *evidence) Sign {
	well := m.flagAfter(ev, fWell|fResolved) && !m.flagAfter(ev, fBad|fStill)
	switch {
	case m.repeats(ev):
		return VomitingRepeated
	case well:
		return SingleVomit
	}
	return Vomiting
}

// repeats reports whether the vomiting is told of as more than once.
func (m *matcher) repeats(ev *evidence) bool {
	s := m.sent[ev.first]
	for i := range m.flags {
		if m.sent[i] < s || m.sent[i] > s+1 {
			continue
		}
		if m.flags[i]&fRepeat != 0 && m.neg[i] == negNone {
			return true
		}
	}
	return false
}

// takeEvent notes what is told of beside signs.
func (m *matcher) takeEvent(f *Finding, ev *evidence) {
	switch ev.target.event {
	case eventDeath:
		f.Death = f.Death || ev.verdict == counted
	case eventEuthanasia:
		f.Euthanasia = f.Euthanasia || ev.verdict == counted
	case eventDistress:
		f.Distress = f.Distress || ev.verdict == counted
	case eventPerson:
		f.Person = f.Person || ev.verdict == counted
	}
}

// signOf is the sign that a match speaks for, vomiting told apart by how often.
func (m *matcher) signOf(ev *evidence) Sign {
	if ev.target.sign == Vomiting {
		return m.vomiting(ev)
	}
	return ev.target.sign
}

// because is the sentence that names the words that decided.
func (m *matcher) because(ev *evidence, ask bool) string {
	s := "The owner wrote " + m.quote(ev) + ": " + m.signOf(ev).Label()
	if ask {
		s += ", though it is not certain"
	}
	return s + "."
}

// pronounce writes the reason, and lets talk of putting to sleep and despair
// reach the practice today.
func (m *matcher) pronounce(f *Finding, best *evidence) {
	if best != nil {
		f.Reason = m.because(best, f.Ask)
		return
	}
	f.Reason = "Nothing in the message reads as a sign."
	var why *evidence
	for i := range m.evidence {
		ev := &m.evidence[i]
		if ev.target.event != eventNone && ev.verdict == counted {
			f.Reason = "The owner wrote " + m.quote(ev) + ": " + eventLabels[ev.target.event] + "."
			if ev.target.event == eventEuthanasia && !f.Death || ev.target.event == eventDistress {
				f.Urgency = max(f.Urgency, SameDay)
			}
			return
		}
		if why == nil && ev.verdict != outweighed && verdictWords[ev.verdict] != "" {
			why = ev
		}
	}
	if why != nil {
		f.Reason = "The owner wrote " + m.quote(why) + ", but " + verdictWords[why.verdict] + "."
	}
}

var eventLabels = map[event]string{
	eventDeath:      "the dog has died",
	eventEuthanasia: "talk of putting the dog to sleep",
	eventDistress:   "the owner may be in despair",
	eventPerson:     "a person may need help",
}

// maxQuote is the longest quotation of the owner's words, in bytes.
const maxQuote = 120

// quote is the owner's words from the match's first to its last token.
func (m *matcher) quote(ev *evidence) string {
	a, b := m.rd.toks[ev.first].start, m.rd.toks[max(ev.last, int(m.ends[ev.last]))].end
	q := m.text[a:b]
	cut := len(q) > maxQuote
	if cut {
		q = q[:maxQuote]
	}
	q = strings.Map(func(r rune) rune {
		switch {
		case r == unicode.ReplacementChar, unicode.Is(unicode.Cf, r):
			return -1
		case unicode.IsControl(r):
			return ' '
		}
		return r
	}, strings.ToValidUTF8(q, ""))
	if cut {
		q += "…"
	}
	return "“" + q + "”"
}
