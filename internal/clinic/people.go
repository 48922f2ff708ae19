package clinic

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"go.yaml.in/yaml/v3"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

var idPattern = regexp.MustCompile(`^[a-z][a-z0-9-]{0,31}$`)

// id reads a name that stands for something elsewhere in the file.
func (f *file) id(p place) (string, bool) {
	text, ok := f.text(p)
	if ok && !idPattern.MatchString(text) {
		f.wrong(p, "this is not an id", allowedID)
		return "", false
	}
	return text, ok
}

func (f *file) yesNo(p place, target *bool) {
	text, ok := f.text(p)
	if !ok {
		return
	}
	switch strings.ToLower(text) {
	case "yes", "true", "on":
		*target = true
	case "no", "false", "off":
		*target = false
	default:
		f.wrong(p, "this is neither yes nor no", allowedYesNo)
	}
}

func (f *file) readPractitioners(p place) {
	seen := map[string]int{}
	for _, item := range f.items(p) {
		item = f.named(item, "id")
		found := f.fields(item)
		person := care.Practitioner{Digest: true}
		id, ok := f.id(found["id"])
		if line, twice := seen[id]; ok && twice {
			f.wrong(found["id"], fmt.Sprintf("this id belongs to the practitioner in line %d already", line), "an id of its own for each")
		} else if ok {
			seen[id] = found["id"].line
		}
		person.ID = strings.TrimSpace(scalar(found["id"].node)) // also a bad one, so that it is reported once
		person.Name, _ = f.smsWords(found["name"], "vet")
		f.yesNo(found["minimal"], &person.Minimal)
		f.yesNo(found["digest"], &person.Digest)
		for _, c := range f.items(found["contacts"]) {
			c.path = found["contacts"].path
			if a, ok := f.contact(c); ok && f.claim(c, a, "practitioner "+id) {
				person.Contacts = append(person.Contacts, a)
			}
		}
		if n := found["contacts"].node; n != nil && n.Kind == yaml.SequenceNode && len(n.Content) == 0 {
			f.wrong(found["contacts"], "a practitioner is told things by text and needs a contact", allowedAt(found["contacts"].path))
		}
		f.clinic.Rules.Practitioners = append(f.clinic.Rules.Practitioners, person)
	}
	if len(f.clinic.Rules.Practitioners) == 0 && p.node != nil && !isEmpty(p.node) {
		f.wrong(p, "somebody has to be there to be told", allowedAt(p.path))
	}
}

// contact reads "sms: +44 7700 900123", which YAML takes for a setting of its
// own where it is not in quotes.
func (f *file) contact(p place) (contact.Address, bool) {
	kind, number := "", ""
	at := p
	if p.node != nil && p.node.Kind == yaml.MappingNode && len(p.node.Content) == 2 {
		kind, number = p.node.Content[0].Value, scalar(p.node.Content[1])
		at.node = p.node.Content[1]
		at.line = p.node.Content[0].Line
	} else {
		text, ok := f.text(p)
		if !ok {
			return contact.Address{}, false
		}
		var cut bool
		if kind, number, cut = strings.Cut(text, ":"); !cut {
			f.wrong(p, "the kind of contact is missing before the number", allowedContact)
			return contact.Address{}, false
		}
	}
	a, warning, err := contact.Parse(contact.Channel(strings.TrimSpace(kind)), number, f.clinic.Rules.Region)
	switch {
	case errors.Is(err, contact.ErrKind):
		f.wrong(at, fmt.Sprintf("%q is not a kind of contact", printable(strings.TrimSpace(kind))), allowedContact)
		return contact.Address{}, false
	case errors.Is(err, contact.ErrChatID), errors.Is(err, contact.ErrRelayed), errors.Is(err, contact.ErrMailbox):
		f.wrong(at, err.Error(), allowedContact)
		return contact.Address{}, false
	}
	return f.phone(at, a, warning, err)
}

// phoneNumber reads a telephone number that texts or calls go to.
func (f *file) phoneNumber(p place, text string) (contact.Address, bool) {
	a, warning, err := contact.ParsePhone(text, f.clinic.Rules.Region)
	return f.phone(p, a, warning, err)
}

// phone reports what is wrong with a telephone number as it was read.
func (f *file) phone(p place, a contact.Address, warning contact.Warning, err error) (contact.Address, bool) {
	if errors.Is(err, contact.ErrPhoneNoCountry) && f.clinic.Rules.Region == "" {
		return contact.Address{}, false // reported as the region's problem
	}
	if err != nil {
		f.wrong(p, sentence(err.Error()), allowedPhone)
		return contact.Address{}, false
	}
	if warning != contact.NoWarning {
		f.doubtful(p, sentence(warning.Sentence()))
	}
	return a, true
}

// sentence puts a sentence from elsewhere into the form of a problem's message:
// it follows a colon and has no full stop.
func sentence(s string) string {
	if rest, ok := strings.CutPrefix(s, "T"); ok {
		s = "t" + rest
	}
	return strings.TrimSuffix(s, ".")
}

// claim reports a contact that somebody has already: a text from it could not
// be told to be from the one or the other.
func (f *file) claim(p place, a contact.Address, who string) bool {
	if holder, taken := f.holders[a]; taken {
		f.wrong(p, "this contact is "+holder+"'s already", "a contact of one person each")
		return false
	}
	f.holders[a] = who
	return true
}

func (f *file) readLead(p place) {
	r := f.clinic.Rules
	id, ok := f.text(p)
	switch {
	case p.node == nil && len(r.Practitioners) > 0:
		r.Lead = r.Practitioners[0].ID
	case ok:
		f.known(p, id)
		r.Lead = id
	}
}

// known reports an id that no practitioner has.
func (f *file) known(p place, id string) bool {
	ids := make([]string, 0, len(f.clinic.Rules.Practitioners))
	for _, person := range f.clinic.Rules.Practitioners {
		if person.ID == id {
			return true
		}
		ids = append(ids, person.ID)
	}
	msg := "no practitioner has this id"
	if best := nearest(id, ids); best != "" {
		msg += fmt.Sprintf("; did you mean %q?", best)
	}
	f.wrong(p, msg, "one of "+strings.Join(ids, ", "))
	return false
}

func (f *file) readRota(p place) {
	for _, item := range f.items(p) {
		found := f.fields(item)
		s := care.Shift{From: 0, To: cadence.EndOfDay}
		s.Days = f.days(found["days"])
		f.clock(found["from"], &s.From)
		f.clock(found["to"], &s.To)
		if s.From == cadence.EndOfDay {
			f.wrong(found["from"], "a shift begins before midnight", "00:00 to 23:59")
		}
		for _, link := range f.items(found["chain"]) {
			link.path = found["chain"].path
			for _, id := range f.list(link) {
				if f.known(link, id) {
					s.Chain = append(s.Chain, id)
				}
			}
		}
		f.repeated(found["chain"], s.Chain)
		f.clinic.Rules.Rota = append(f.clinic.Rules.Rota, s)
	}
}

func (f *file) repeated(p place, chain []string) {
	seen := map[string]bool{}
	for _, id := range chain {
		if seen[id] {
			f.wrong(place{path: p.path, line: p.line}, fmt.Sprintf("%s stands twice in this chain; the next in line is somebody else", id), allowedChain)
			return
		}
		seen[id] = true
	}
	if p.node != nil && p.node.Kind == yaml.SequenceNode && len(p.node.Content) == 0 {
		f.wrong(p, "a shift without anybody would leave an emergency with nobody", allowedChain)
	}
}

// list reads "lee, okafor".
func (f *file) list(p place) []string {
	text, ok := f.text(p)
	if !ok {
		return nil
	}
	var out []string
	for _, part := range strings.Split(text, ",") {
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}

func (f *file) days(p place) [7]bool {
	var days [7]bool
	for _, item := range f.items(p) {
		item.path = p.path
		text, ok := f.text(item)
		if !ok {
			continue
		}
		some, ok := parseDaySpec(text)
		if !ok {
			f.wrong(item, "these are not days of the week", allowedDays)
		}
		for d, on := range some {
			days[d] = days[d] || on
		}
	}
	return days
}

func (f *file) clock(p place, target *cadence.MinuteOfDay) {
	text, ok := f.text(p)
	if !ok {
		return
	}
	m, ok := parseClock(text)
	if !ok {
		f.wrong(p, "this is not a time of day", allowedTime)
		return
	}
	*target = m
}
