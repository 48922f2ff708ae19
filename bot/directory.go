package bot

import (
	"errors"
	"fmt"
	"maps"
	"sync/atomic"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// Outlet is one channel of a clinic.
type Outlet struct {
	Name    string // as the settings call it; care.Channel and the hook's address have the same
	Channel Channel
	Number  contact.Address // ours
	Rate    store.Rate      // how fast it may send
}

// Clinic is one clinic with its channels.
type Clinic struct {
	Rules   *care.Rules
	Outlets []Outlet
}

// Directory knows every clinic of the deployment. It may be replaced while it
// is in use.
type Directory struct {
	clinics atomic.Pointer[map[string]*place]
}

// place is a clinic as the directory holds it.
type place struct {
	rules   *care.Rules
	outlets map[string]*outlet
	first   map[contact.Channel]*outlet // the one to use where a name is gone
}

// outlet is one channel with the clinic it belongs to.
type outlet struct {
	Outlet
	rules *care.Rules
}

// NewDirectory returns a directory of clinics. Errors name what is doubled or
// missing.
func NewDirectory(clinics ...Clinic) (*Directory, error) {
	d := &Directory{}
	return d, d.Replace(clinics...)
}

// Replace puts other clinics, or the same with other settings, in place of those
// there were. With an error nothing changes.
func (d *Directory) Replace(clinics ...Clinic) error {
	places := make(map[string]*place, len(clinics))
	for _, c := range clinics {
		if c.Rules == nil || c.Rules.Clinic == "" {
			return errors.New("a clinic has no rules or no id")
		}
		id := c.Rules.Clinic
		if places[id] != nil {
			return fmt.Errorf("clinic %q is there twice", id)
		}
		p := &place{rules: c.Rules, outlets: map[string]*outlet{}, first: map[contact.Channel]*outlet{}}
		for _, o := range c.Outlets {
			if err := p.add(o); err != nil {
				return fmt.Errorf("clinic %q: %w", id, err)
			}
		}
		places[id] = p
	}
	d.clinics.Store(&places)
	return nil
}

// SetRules puts other rules in force for clinics that are there; their channels
// stay as they are. With an error, which names a clinic that isn't there,
// nothing changes.
func (d *Directory) SetRules(rules ...*care.Rules) error {
	places := maps.Clone(*d.clinics.Load())
	for _, r := range rules {
		was := places[r.Clinic]
		if was == nil {
			return fmt.Errorf("there is no clinic %q", r.Clinic)
		}
		places[r.Clinic] = was.under(r)
	}
	d.clinics.Store(&places)
	return nil
}

// under is the same place under other rules.
func (p *place) under(r *care.Rules) *place {
	out := &place{rules: r, outlets: make(map[string]*outlet, len(p.outlets)), first: make(map[contact.Channel]*outlet, len(p.first))}
	for name, o := range p.outlets {
		out.outlets[name] = &outlet{Outlet: o.Outlet, rules: r}
	}
	for kind, o := range p.first {
		out.first[kind] = out.outlets[o.Name]
	}
	return out
}

func (p *place) add(o Outlet) error {
	switch {
	case o.Name == "" || o.Channel == nil || o.Number.IsZero():
		return fmt.Errorf("channel %q lacks its name, its number or what it is", o.Name)
	case p.outlets[o.Name] != nil:
		return fmt.Errorf("channel %q is there twice", o.Name)
	case o.Rate.PerSecond <= 0 || o.Rate.Burst < 1:
		return fmt.Errorf("channel %q: its rate must be above 0 a second, in bursts of at least 1", o.Name)
	}
	out := &outlet{Outlet: o, rules: p.rules}
	p.outlets[o.Name] = out
	if p.first[o.Number.Channel] == nil {
		p.first[o.Number.Channel] = out
	}
	return nil
}

func (d *Directory) place(clinic string) *place { return (*d.clinics.Load())[clinic] }

// outlet returns a clinic's channel by name, nil where there is none.
func (d *Directory) outlet(clinic, name string) *outlet {
	p := d.place(clinic)
	if p == nil {
		return nil
	}
	return p.outlets[name]
}

// way returns the channel a message goes out by: the named one, or another of
// its kind where that has left the settings; nil where there is none.
func (d *Directory) way(clinic string, m *care.Message) *outlet {
	p := d.place(clinic)
	if p == nil {
		return nil
	}
	if o := p.outlets[m.Via]; o != nil && o.Number.Channel == m.To.Channel {
		return o
	}
	return p.first[m.To.Channel]
}
