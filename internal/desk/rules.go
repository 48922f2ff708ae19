package desk

import (
	"errors"
	"fmt"
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
	Changable []ruleSection
	Chosen    *ruleSetting // what the form is about; nil: to be chosen
	Sent      []ruleLine
	Quiet     string
	Open      string
	Closures  []string
	May       bool // change settings
	Try       *trial
	Unfit     []string // why changes kept here are not in effect
}

// cadenceLine is one cadence with its next times.
type cadenceLine struct {
	Name, Words, Cron, About string
	Gap                      int
	Times                    []firing
	key                      string // of its settings
}

// firing is one next time and what there is to say about it.
type firing struct {
	stamp
	Remark string
}

type ruleSection struct {
	Title    string
	Settings []ruleSetting
}

// ruleSetting is a setting with its name, and how it came to be.
type ruleSetting struct {
	clinic.Setting
	Name    string
	May     bool   // it can be changed at the desk
	AtDesk  bool   // it was
	InFile  string // what holds without the change
	IsThere bool   // the file sets it
}

// overlayLine is one change with what it changed, compared with the one before.
type overlayLine struct {
	store.Overlay
	Diff []ruleDiff
	Live bool
}

type ruleDiff struct{ Name, Key, Was, Is string }

// trial is a change that is shown before it is kept.
type trial struct {
	Key, Value, Was, Why string
	Name                 string
	Problems             []string
	Now, Then            string // what it would do to stable dogs
	Next                 *cadenceLine
	Often                string // how often it would come, now and then
}

var sectionNames = [...]struct{ prefix, title string }{
	{"thresholds.index.", "The index: from where on it matters"},
	{"thresholds.alerts.", "Alerts: waits and counts"},
	{"thresholds.weight.", "Weight"},
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
	p.Cadences = p.cadences(v.clinic)
	p.Sent = sentWhen(v.clinic)
	list, err := d.Store.Overlays(v.ctx(), v.clinic.Rules.Clinic)
	if err != nil {
		return nil, err
	}
	file := map[string]string{}
	var set map[string]string
	if p.Seen = len(list); p.Seen > 0 && d.Overlay != nil {
		var c *clinic.Clinic
		if c, p.Unfit = d.Overlay(v.clinic.Rules.Clinic, list[p.Seen-1].Set); c != nil {
			p.Unfit, set = nil, list[p.Seen-1].Set
		}
		if base, _ := d.Overlay(v.clinic.Rules.Clinic, nil); base != nil {
			for _, s := range clinic.Explain(base) {
				file[s.Key] = s.Value
			}
		}
	}
	p.settings(v, set, file)
	p.changes(list, file)
	return p, nil
}

// settings puts what is in effect into sections.
func (p *rulesPage) settings(v *visit, set, file map[string]string) {
	all := clinic.Explain(v.clinic)
	p.Closures = closuresOf(all)
	byTitle, free := map[string][]ruleSetting{}, map[string][]ruleSetting{}
	add := func(s clinic.Setting, listed bool) {
		_, atDesk := set[s.Key]
		r := ruleSetting{Setting: s, Name: settingName(s.Key), May: p.May && changeable(s.Key), AtDesk: atDesk,
			InFile: file[s.Key], IsThere: s.Line > 0 && !atDesk}
		title := sectionOf(s.Key)
		if listed {
			byTitle[title] = append(byTitle[title], r)
		}
		if changeable(s.Key) {
			free[title] = append(free[title], r)
		}
		if changeable(s.Key) && s.Key == v.QueryParam("change") {
			p.Chosen = &r
		}
		switch s.Key {
		case "quiet_hours":
			p.Quiet = s.Value
		case "hours":
			p.Open = s.Value
		}
	}
	for _, s := range all {
		if !slices.ContainsFunc(hiddenSettings, func(h string) bool { return strings.HasPrefix(s.Key, h) }) {
			add(s, true)
		}
	}
	for _, s := range unsetCosts(all) {
		add(s, false)
	}
	for _, n := range sectionNames {
		if len(byTitle[n.title]) > 0 {
			p.Sections = append(p.Sections, ruleSection{n.title, byTitle[n.title]})
		}
		if len(free[n.title]) > 0 {
			p.Changable = append(p.Changable, ruleSection{n.title, free[n.title]})
		}
	}
}

// changes lists what was changed, newest first, each against the one before.
func (p *rulesPage) changes(list []store.Overlay, file map[string]string) {
	for i := len(list) - 1; i >= 0; i-- {
		l := overlayLine{Overlay: list[i], Live: i == len(list)-1 && len(p.Unfit) == 0}
		var before map[string]string
		if i > 0 {
			before = list[i-1].Set
		}
		keys := maps.Clone(before)
		if keys == nil {
			keys = map[string]string{}
		}
		maps.Copy(keys, list[i].Set)
		for _, key := range slices.Sorted(maps.Keys(keys)) {
			was, is := valueOf(before, file, key), valueOf(list[i].Set, file, key)
			if was != is {
				l.Diff = append(l.Diff, ruleDiff{settingName(key), key, was, is})
			}
		}
		p.Changes = append(p.Changes, l)
	}
}

func valueOf(set, file map[string]string, key string) string {
	if v, ok := set[key]; ok {
		return v
	}
	if v := file[key]; v != "" {
		return v
	}
	return "as in the file"
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

func (p *rulesPage) cadences(c *clinic.Clinic) []cadenceLine {
	r := c.Rules
	var lines []cadenceLine
	for _, k := range []struct {
		name, key, about string
		c                cadence.Cadence
		prompt           bool
	}{
		{"Check-in", "cadences.checkin.", "per dog, by the owner’s clock", r.Cadences.CheckIn, true},
		{"Weigh-in", "cadences.weighin.", "per dog", r.Cadences.WeighIn, true},
		{"Weigh-in on a weight-loss plan", "cadences.weighin_loss.", "per dog", r.Cadences.WeighInLoss, true},
		{"Reassessment", "cadences.reassessment.", "per dog; also after a change of plan", r.Cadences.Reassessment, true},
		{"Digest", "digest", "to practitioners who receive it; empty ones are not sent", r.Cadences.Digest, false},
	} {
		if k.c.IsZero() {
			continue
		}
		l := cadenceLine{Name: k.name, Words: cronInWords(k.c.String()), Cron: k.c.String(), Gap: k.c.GapDays(), About: k.about, key: k.key}
		after, last := p.now, cadence.LocalDate{}
		for range nextTimes {
			f := k.c.NextFiring(after, last, r.Zone)
			if f.At.IsZero() {
				break
			}
			l.Times = append(l.Times, p.firing(c, f.At, k.prompt))
			after, last = f.At, f.Date
		}
		lines = append(lines, l)
	}
	return lines
}

// firing is one next time in the clinic's zone, after quiet hours, and with the
// closure it falls into.
func (p *rulesPage) firing(c *clinic.Clinic, at time.Time, prompt bool) firing {
	r, f := c.Rules, firing{}
	if prompt {
		if later, moved := r.Quiet.Delay(at, r.Zone); moved {
			f.Remark = "quiet hours: waits from " + at.In(r.Zone).Format("15:04")
			at = later
		}
	}
	f.stamp = stamp{ISO: at.Format(time.RFC3339), Text: at.In(r.Zone).Format("Mon 2 Jan 2006, 15:04")}
	if cl, shut := r.Hours.ClosureOn(cadence.DateIn(at, r.Zone)); shut {
		f.Remark = strings.TrimPrefix(f.Remark+"; closed: "+cl.Why, "; ")
	}
	return f
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
	t.Was, t.Name = settings[i].Value, settingName(t.Key)
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
	changed, said := d.Overlay(v.clinic.Rules.Clinic, o.Set)
	if changed == nil {
		t.Problems = said
	} else if err := d.foresee(v, t, changed); err != nil {
		return err
	}
	p, err := d.rulesPage(v, t)
	if err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "rules", p)
}

// foresee says what a change would do: to stable dogs, to the next times, and
// what is doubtful about it that was not before.
func (d *Desk) foresee(v *visit, t *trial, changed *clinic.Clinic) (err error) {
	if d.Burden != nil && strings.HasPrefix(t.Key, "thresholds.index.") {
		if t.Now, err = d.Burden(v.clinic); err != nil {
			return err
		}
		if t.Then, err = d.Burden(changed); err != nil {
			return err
		}
	}
	p := &rulesPage{page: d.page(v, "")}
	was, next := p.cadences(v.clinic), p.cadences(changed)
	for i := range next {
		if t.Key == "quiet_hours" && next[i].key == "cadences.checkin." || strings.HasPrefix(t.Key, next[i].key) {
			t.Next = &next[i]
		}
	}
	if t.Next == nil || t.Key == "quiet_hours" {
		return nil
	}
	for i := range was {
		if was[i].key == t.Next.key {
			t.Often = fmt.Sprintf("In the next 52 weeks it would come %s, now %s.",
				plural(yearOf(cadenceAt(changed, t.Next.key), changed.Rules, v.now), "time"), plural(yearOf(cadenceAt(v.clinic, t.Next.key), v.clinic.Rules, v.now), "time"))
		}
	}
	return nil
}

// cadenceAt is the cadence of a settings path.
func cadenceAt(c *clinic.Clinic, key string) cadence.Cadence {
	k := c.Rules.Cadences
	return map[string]cadence.Cadence{"cadences.checkin.": k.CheckIn, "cadences.weighin.": k.WeighIn,
		"cadences.weighin_loss.": k.WeighInLoss, "cadences.reassessment.": k.Reassessment, "digest": k.Digest}[key]
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
	if c, problems := d.Overlay(id, o.Set); c == nil {
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
	if seen := v.FormValue("seen"); seen != "" && seen != itoa(len(list)) {
		return refuse("Somebody else changed the settings meanwhile. Look at the page again before you go back.")
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
