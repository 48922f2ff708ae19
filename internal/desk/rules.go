package desk

import (
	"errors"
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/cadence"
	"gaitpost/internal/clinic"
	"gaitpost/internal/store"
)

// nextTimes is how many next times of a cadence the page shows.
const nextTimes = 10

type rulesPage struct {
	page
	Cadences  []cadenceLine
	Sections  []ruleSection
	Changes   []overlayLine // newest first
	Seen      int           // how many changes there are, for the next one
	Changable []clinic.Setting
	May       bool // change settings
	Try       *trial
	Unfit     []string // why changes kept here are not in effect
}

// cadenceLine is one cadence with its next times.
type cadenceLine struct {
	Name, Cron, About string
	Gap               int
	Times             []stamp
	Moved             []string // what quiet hours did
}

type ruleSection struct {
	Title    string
	Settings []clinic.Setting
}

type overlayLine struct {
	store.Overlay
	Paths []string
	Live  bool
}

// trial is a change that is shown before it is kept.
type trial struct {
	Key, Value, Was, Why string
	Problems             []string
	Now, Then            string // what it would do to stable dogs
}

var sectionNames = [...]struct{ prefix, title string }{
	{"thresholds.index.", "The index: from where on it matters"},
	{"thresholds.alerts.", "Alerts: waits and counts"},
	{"cadences.", "Cadences"},
	{"costs.", "What messages cost, and minutes"},
	{"digest", "Digest"},
	{"quiet_hours", "Quiet hours"},
	{"hours", "Opening hours"},
	{"closures", "Closures"},
	{"practitioners[", "Who is told"},
	{"rota", "Rota"},
	{"", "The practice"},
}

// hiddenSettings belong to whoever runs the server, not on a page.
var hiddenSettings = []string{"channels[", "public_url", "scripts"}

func (d *Desk) rules(v *visit) error {
	p, err := d.rulesPage(v, nil)
	if err != nil {
		return err
	}
	if err := d.trailed(v, account.Entry{Deed: account.SawRules}); err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "rules", p)
}

func (d *Desk) rulesPage(v *visit, t *trial) (*rulesPage, error) {
	p := &rulesPage{page: d.page(v, "Cadences and rules"), Try: t}
	p.May = d.Overlay != nil && v.who.Role.Can(account.ChangeRules)
	p.cadences(v.clinic)
	byTitle := map[string][]clinic.Setting{}
	for _, s := range clinic.Explain(v.clinic) {
		if slices.ContainsFunc(hiddenSettings, func(h string) bool { return strings.HasPrefix(s.Key, h) }) {
			continue
		}
		byTitle[sectionOf(s.Key)] = append(byTitle[sectionOf(s.Key)], s)
		if changeable(s.Key) {
			p.Changable = append(p.Changable, s)
		}
	}
	p.Changable = append(p.Changable, unsetCosts(p.Changable)...)
	for _, n := range sectionNames {
		if len(byTitle[n.title]) > 0 {
			p.Sections = append(p.Sections, ruleSection{n.title, byTitle[n.title]})
		}
	}
	list, err := d.Store.Overlays(v.ctx(), v.clinic.Rules.Clinic)
	if err != nil {
		return nil, err
	}
	p.Seen = len(list)
	if p.Seen > 0 && d.Overlay != nil {
		_, p.Unfit = d.Overlay(v.clinic.Rules.Clinic, list[p.Seen-1].Set)
	}
	for i := len(list) - 1; i >= 0; i-- {
		l := overlayLine{Overlay: list[i], Live: i == len(list)-1 && len(p.Unfit) == 0}
		l.Paths = slices.Sorted(maps.Keys(list[i].Set))
		p.Changes = append(p.Changes, l)
	}
	return p, nil
}

// unsetCosts are the prices and minutes that are not set, so that they can be.
func unsetCosts(set []clinic.Setting) []clinic.Setting {
	var list []clinic.Setting
	for _, k := range clinic.Keys() {
		if !strings.HasPrefix(k.Path, "costs.") || k.Path == "costs.minutes" ||
			slices.ContainsFunc(set, func(s clinic.Setting) bool { return s.Key == k.Path }) {
			continue
		}
		list = append(list, clinic.Setting{Key: k.Path, Value: "not set", Allowed: k.Allowed, Source: k.Source})
	}
	return list
}

func sectionOf(key string) string {
	for _, n := range sectionNames {
		if strings.HasPrefix(key, n.prefix) {
			return n.title
		}
	}
	return ""
}

// changeable says whether a setting can be changed at the desk: numbers and
// times, never who is told or which number is rung.
func changeable(key string) bool {
	return strings.HasPrefix(key, "thresholds.") || strings.HasPrefix(key, "cadences.") || strings.HasPrefix(key, "costs.") || key == "digest" || key == "quiet_hours"
}

func (p *rulesPage) cadences(c *clinic.Clinic) {
	r := c.Rules
	for _, k := range []struct {
		name, about string
		c           cadence.Cadence
		quiet       bool
	}{
		{"Check-in", "per dog, by the owner’s clock", r.Cadences.CheckIn, true},
		{"Weigh-in", "per dog", r.Cadences.WeighIn, true},
		{"Weigh-in on a weight-loss plan", "per dog", r.Cadences.WeighInLoss, true},
		{"Reassessment", "per dog; also four weeks after a change of plan", r.Cadences.Reassessment, true},
		{"Digest", "to practitioners who receive it; empty ones are not sent", r.Cadences.Digest, false},
	} {
		if k.c.IsZero() {
			continue
		}
		l := cadenceLine{Name: k.name, About: k.about, Cron: k.c.String(), Gap: k.c.GapDays()}
		after, last := p.now, cadence.LocalDate{}
		for range nextTimes {
			f := k.c.NextFiring(after, last, r.Zone)
			if f.At.IsZero() {
				break
			}
			at := f.At
			if k.quiet {
				if later, moved := r.Quiet.Delay(at, r.Zone); moved {
					l.Moved = append(l.Moved, p.Day(at.Unix()).Text+" waits until "+later.In(r.Zone).Format("15:04"))
					at = later
				}
			}
			l.Times = append(l.Times, stamp{ISO: at.Format(time.RFC3339), Text: at.In(r.Zone).Format("Mon 2 Jan 2006, 15:04")})
			after, last = f.At, f.Date
		}
		p.Cadences = append(p.Cadences, l)
	}
}

// proposed is the change that a form asks for, on top of what is in effect.
func (d *Desk) proposed(v *visit) (*trial, store.Overlay, error) {
	if d.Overlay == nil {
		return nil, store.Overlay{}, refuse("Settings can't be changed here: this desk reads them from a file alone.")
	}
	t := &trial{Key: v.FormValue("key")}
	var err error
	if t.Value, err = needed(v, "value", maxLine, "Please give the new value."); err != nil {
		return nil, store.Overlay{}, err
	}
	if t.Why, err = text(v, "why", maxLine); err != nil {
		return nil, store.Overlay{}, err
	}
	settings := clinic.Explain(v.clinic)
	settings = append(settings, unsetCosts(settings)...)
	i := slices.IndexFunc(settings, func(s clinic.Setting) bool { return s.Key == t.Key && changeable(s.Key) })
	if i < 0 {
		return nil, store.Overlay{}, refuse("Please choose a setting that can be changed here.")
	}
	t.Was = settings[i].Value
	seen, err := number(v, "seen", 1<<20)
	if err != nil {
		return nil, store.Overlay{}, err
	}
	list, err := d.Store.Overlays(v.ctx(), v.clinic.Rules.Clinic)
	if err != nil {
		return nil, store.Overlay{}, err
	}
	if len(list) != seen {
		return nil, store.Overlay{}, refuse("Somebody else changed the settings meanwhile. Look at the page again before you change them.")
	}
	o := store.Overlay{N: seen + 1, At: v.now.Unix(), By: v.who.ID, Name: v.who.Name, Why: t.Why, Set: map[string]string{t.Key: t.Value}}
	if seen > 0 {
		for k, value := range list[seen-1].Set {
			if k != t.Key {
				o.Set[k] = value
			}
		}
	}
	return t, o, nil
}

// tryRule shows what a change would do, and keeps nothing.
func (d *Desk) tryRule(v *visit) error {
	t, o, err := d.proposed(v)
	if err != nil {
		return err
	}
	changed, problems := d.Overlay(v.clinic.Rules.Clinic, o.Set)
	t.Problems = problems
	if len(problems) == 0 && d.Burden != nil && strings.HasPrefix(t.Key, "thresholds.index.") {
		if t.Now, err = d.Burden(v.clinic); err != nil {
			return err
		}
		if t.Then, err = d.Burden(changed); err != nil {
			return err
		}
	}
	p, err := d.rulesPage(v, t)
	if err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "rules", p)
}

func (d *Desk) changeRule(v *visit) error {
	t, o, err := d.proposed(v)
	if err != nil {
		return err
	}
	if t.Why == "" {
		return refuse("Please say why, for whoever reads this later.")
	}
	return d.keepRules(v, o, "rule", account.Entry{Deed: account.ChangedRule, Detail: t.Key + ": " + t.Was + " → " + t.Value})
}

// keepRules keeps changed settings if nothing is wrong with them.
func (d *Desk) keepRules(v *visit, o store.Overlay, say string, e account.Entry) error {
	id := v.clinic.Rules.Clinic
	if _, problems := d.Overlay(id, o.Set); len(problems) > 0 {
		return refuse(strings.Join(problems, " "))
	}
	err := d.Store.AddOverlay(v.ctx(), id, o)
	if errors.Is(err, store.ErrConflict) {
		return refuse("Somebody else changed the settings meanwhile. Look at the page again before you change them.")
	}
	if err != nil {
		return err
	}
	if d.Changed != nil {
		d.Changed(id)
	}
	if err := d.trailed(v, e); err != nil {
		return err
	}
	return v.Redirect(http.StatusSeeOther, Prefix+"/rules?say="+say)
}

// rollBack goes back to an earlier change, or to the file alone, by adding it
// again on top: nothing is taken away.
func (d *Desk) rollBack(v *visit) error {
	if d.Overlay == nil {
		return refuse("Settings can't be changed here: this desk reads them from a file alone.")
	}
	list, err := d.Store.Overlays(v.ctx(), v.clinic.Rules.Clinic)
	if err != nil {
		return err
	}
	to, err := number(v, "to", len(list))
	if err != nil {
		return err
	}
	o := store.Overlay{N: len(list) + 1, At: v.now.Unix(), By: v.who.ID, Name: v.who.Name, Back: -1, Why: "back to the settings file"}
	if to > 0 {
		o.Back, o.Set, o.Why = to, list[to-1].Set, "back to change "+itoa(to)
	}
	return d.keepRules(v, o, "rolled-back", account.Entry{Deed: account.RolledBack, Detail: o.Why})
}
