package clinic

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// Setting is one setting in effect.
type Setting struct {
	Key     string // "practitioners[lee].minimal"
	Value   string
	Default string // "" where there is none
	Allowed string
	Source  string // where the default comes from
	// Line is where the file sets it; 0: it doesn't, and the default holds.
	Line int
}

// Explain lists every setting in effect: section by section, and in a list
// element by element. A secret is named by where it comes from, never shown.
func Explain(c *Clinic) []Setting {
	byPath := map[string]Key{}
	for _, k := range keys {
		byPath[k.Path] = k
	}
	var out []Setting
	c.values(func(path, value string) {
		if value == "" {
			return
		}
		k := byPath[patternOf(path)]
		out = append(out, Setting{
			Key: path, Value: value, Default: k.Default,
			Allowed: k.Allowed, Source: k.Source, Line: c.set[path],
		})
	})
	return out
}

// values hands over what is in effect; an empty value is not set.
func (c *Clinic) values(put func(path, value string)) {
	c.putIdentity(put)
	c.putPeople(put)
	c.putChannels(put)
	r := c.Rules
	put("digest", r.Cadences.Digest.String())
	for _, k := range cadenceTable {
		cad := *k.at(&r.Cadences)
		put("cadences."+k.name+".cron", cad.String())
		put("cadences."+k.name+".gap", days(cad.GapDays()))
	}
	for _, k := range numberTable {
		put(k.path(), showQuantity(k.at(r)))
	}
	put(signsOnlyPath, showDays(r.Limits.SignsOnlyDays))
	c.putCosts(put)
}

func (c *Clinic) putIdentity(put func(path, value string)) {
	r := c.Rules
	put("id", r.Clinic)
	put("name", r.Name)
	put("zone", r.Zone.String())
	put("region", r.Region)
	put("phone", r.Phone)
	put("emergency", r.Emergency)
	put("person_number", r.PersonNumber)
	put("crisis_line", r.Crisis)
	put("languages", strings.Join(r.Languages, ", "))
	put("public_url", c.PublicURL)
	put("scripts", c.scripts)
	put("hours", showWeek(c.week))
	var names []string
	for _, cl := range c.closures {
		names = append(names, showClosure(cl))
	}
	put("closures", strings.Join(names, "; "))
	put("quiet_hours", r.Quiet.From.String()+"-"+r.Quiet.To.String())
}

func (c *Clinic) putPeople(put func(path, value string)) {
	r := c.Rules
	for _, p := range r.Practitioners {
		at := "practitioners[" + p.ID + "]."
		put(at+"id", p.ID)
		put(at+"name", p.Name)
		var contacts []string
		for _, a := range p.Contacts {
			contacts = append(contacts, showContact(a))
		}
		put(at+"contacts", strings.Join(contacts, ", "))
		put(at+"minimal", yesOrNo(p.Minimal))
		put(at+"digest", yesOrNo(p.Digest))
	}
	put("lead", r.Lead)
	for i, s := range r.Rota {
		at := "rota[" + strconv.Itoa(i+1) + "]."
		put(at+"days", showDaySpec(s.Days))
		put(at+"from", s.From.String())
		put(at+"to", s.To.String())
		put(at+"chain", strings.Join(s.Chain, ", "))
	}
	if len(r.Rota) == 0 {
		put("rota", "everybody, in this order: "+strings.Join(ids(r.Practitioners), ", "))
	}
	put("last_resort", showContact(r.LastResort))
}

func (c *Clinic) putChannels(put func(path, value string)) {
	for _, ch := range c.Channels {
		at := "channels[" + ch.Name + "]."
		put(at+"name", ch.Name)
		put(at+"kind", string(ch.Kind))
		put(at+"account", ch.Account)
		put(at+"number", ch.Number)
		put(at+"api", ch.API)
		put(at+"rate", strconv.FormatFloat(ch.Rate, 'g', -1, 64))
		if ch.Template != "" {
			put(at+"template", ch.Template)
			put(at+"template_language", ch.TemplateLanguage)
		}
		for _, s := range ch.secrets() {
			for _, where := range []string{s.name + "_env", s.name + "_file"} {
				if c.set[at+where] > 0 {
					put(at+where, secretIs(s.Secret))
				}
			}
		}
	}
}

type namedSecret struct {
	name string
	Secret
}

func (ch ChannelSettings) secrets() []namedSecret {
	return []namedSecret{{authToken, ch.AuthToken}, {signingSecret, ch.SigningSecret}, {verifyToken, ch.VerifyToken}}
}

func secretIs(s Secret) string {
	if s.IsZero() {
		return "(missing)"
	}
	return redacted
}

func ids(people []care.Practitioner) []string {
	out := make([]string, len(people))
	for i, p := range people {
		out[i] = p.ID
	}
	return out
}

func yesOrNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func showContact(a contact.Address) string {
	if a.IsZero() {
		return ""
	}
	return string(a.Channel) + ": " + a.Value
}

func showClosure(cl cadence.Closure) string {
	if cl.First == cl.Last {
		return fmt.Sprintf("%s %s", cl.First, cl.Why)
	}
	return fmt.Sprintf("%s to %s %s", cl.First, cl.Last, cl.Why)
}

// showWeek writes opening hours, days with the same hours together.
func showWeek(w week) string {
	var order []string
	days := map[string]*[7]bool{}
	for i := range 7 {
		d := (i + 1) % 7
		var spans []string
		for _, s := range w.spans[time.Weekday(d)] {
			spans = append(spans, s.From.String()+"-"+s.To.String())
		}
		text := strings.Join(spans, ", ")
		if text == "" {
			text = "closed"
		}
		if days[text] == nil {
			days[text] = new([7]bool)
			order = append(order, text)
		}
		days[text][d] = true
	}
	for i, text := range order {
		order[i] = showDaySpec(*days[text]) + ": " + text
	}
	return strings.Join(order, "; ")
}
