package desk

import (
	"slices"
	"time"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

// reasonNames are the reasons of alerts in the practice's words.
var reasonNames = map[care.AlertReason]string{
	care.RedFlag: "Emergency sign", care.SignAlert: "Same-day sign", care.Level: "High index",
	care.Rise: "Index has risen", care.Drift: "Index drifting up", care.Jump: "One answer much worse",
	care.NoGain: "No gain", care.Weight: "Weight", care.Caution: "Medicines together",
	care.Question: "Message to read", care.Silence: "Not answering", care.Stopped: "Monitoring has ended",
	care.Doses: "Doses missed", care.ReviewDue: "Review due",
}

// plainWhy says to reception why somebody is to be rung, without clinical notes
// or numbers.
var plainWhy = map[care.AlertReason]string{
	care.RedFlag: "wrote of an emergency", care.SignAlert: "wrote of something to be seen to today",
	care.Level: "a check-in that the vet wants to talk about", care.Rise: "a check-in that the vet wants to talk about",
	care.Drift: "a check-in that the vet wants to talk about", care.Jump: "a check-in that the vet wants to talk about",
	care.NoGain: "a review of the plan", care.Weight: "the dog's weight", care.Caution: "a question about medicines",
	care.Question: "wrote to the practice", care.Silence: "check-ins have not been answered",
	care.Stopped: "texts no longer reach this owner", care.Doses: "doses that were missed",
	care.ReviewDue: "a review that is due",
}

// urgencyNames are the urgencies in words, and the shape that stands for each
// where colour can't be seen.
var urgencyNames = map[care.Urgency]string{care.Now: "Now", care.Today: "Today", care.ForDigest: "When you read"}

// alertView is an alert as a page shows it.
type alertView struct {
	ID       string // household
	N        uint16
	Dog      int8 // -1 for the household
	DogName  string
	Owner    string
	Phone    string
	Contact  int8
	Writable bool // the owner may be written to
	Reason   string
	Plain    string // for reception
	Urgency  string
	Level    care.Urgency
	Sentence string
	Signs    []string
	Opened   int64
	Updated  int64
	Joined   uint16
	Open     bool
	Acked    bool
	AckedAt  int64
	By       string
	Note     string
	Outcome  string
	Closed   int64
	Told     []string // who has been told, in order
	TellNext int64
	Held     []string // medicines that wait for the vet's decision
	Reached  string
	Again    bool // the owner couldn't be reached before
	Cleared  bool
	Died     bool // the dog is recorded as dead, which can be undone
	Outcomes []care.Outcome
}

func (d *Desk) alertView(v *visit, h *care.Household, a care.Alert) alertView {
	it := h.Item(a)
	w := alertView{
		ID: string(h.ID), N: a.N, Dog: a.Dog, DogName: it.Dog, Owner: it.Owner, Phone: it.Phone, Contact: a.Contact,
		Reason: reasonNames[a.Reason], Plain: plainWhy[a.Reason], Urgency: urgencyNames[a.Urgency], Level: a.Urgency,
		Sentence: capital(a.Sentence), Opened: a.Opened, Updated: a.Updated, Joined: a.Joined, Open: a.IsOpen(),
		Acked: a.State == care.Acknowledged, AckedAt: a.Acked, By: d.nameOf(v, a.By), Note: a.Note,
		Outcome: string(a.Outcome), Closed: a.Closed, TellNext: a.Tell, Cleared: a.Cleared,
		Again: a.IsOpen() && a.Outcome == care.CouldNotReach, Outcomes: care.Outcomes,
	}
	if w.Reason == "" {
		w.Reason, w.Plain = string(a.Reason), "the vet wants to talk to them"
	}
	if w.Owner == "" {
		w.Owner = "an unknown number"
	}
	if int(a.Contact) < len(h.Contacts) {
		w.Writable = h.Contacts[a.Contact].Consent.State != care.OptedOut
	}
	for _, s := range a.Signs {
		w.Signs = append(w.Signs, s.Label())
	}
	w.Reached = map[care.Reached]string{care.Asking: "The owner has been asked whether a vet has been reached.",
		care.ReachedVet: "The owner says that a vet has been reached.", care.NotReached: "The owner has not reached a vet."}[a.Reached]
	if a.Dog >= 0 && int(a.Dog) < len(h.Dogs) {
		dog := &h.Dogs[a.Dog]
		w.Died = dog.Status == care.Died
		for _, e := range dog.Plan {
			if e.Status == care.Held && slices.Contains(a.Held, e.ID) {
				w.Held = append(w.Held, e.What)
			}
		}
	}
	w.Told = d.told(v, a)
	return w
}

// told names who in line has been told of a now alert.
func (d *Desk) told(v *visit, a care.Alert) []string {
	if a.Urgency != care.Now {
		return nil
	}
	chain := v.clinic.Rules.Chain(time.Unix(a.Opened, 0))
	var names []string
	for i := range int(a.Step) {
		if i < len(chain) {
			names = append(names, d.nameOf(v, chain[i]))
		} else {
			names = append(names, "the last-resort contact")
		}
	}
	return names
}

// nameOf is a person's name by the id that the record keeps: a practitioner's
// or an account's.
func (d *Desk) nameOf(v *visit, id string) string {
	if id == "" {
		return ""
	}
	if p, ok := v.clinic.Rules.Practitioner(id); ok {
		return p.Name
	}
	if id == v.who.ID {
		return v.who.Name
	}
	if name, ok := d.names(v)[id]; ok {
		return name
	}
	return id
}

// names are the clinic's accounts by id, loaded once for a page that needs one.
func (d *Desk) names(v *visit) map[string]string {
	if m, ok := v.Get("names").(map[string]string); ok {
		return m
	}
	m := map[string]string{}
	list, err := d.Store.Accounts(v.ctx(), v.clinic.Rules.Clinic)
	if err != nil {
		d.Log.Error("names could not be loaded", "error", err) // ids are shown instead
	}
	for _, a := range list {
		m[a.ID] = a.Name
	}
	v.Set("names", m)
	return m
}

// Mine reports whether the alert's owner may be rung from a page.
func (w alertView) Callable() bool { return w.Phone != "" }

// Key is the alert's name on a page.
func (w alertView) Key() string { return w.ID[:min(len(w.ID), 8)] + "-" + itoa(int(w.N)) }

// seesClinical says whether somebody reads sentences and notes.
func seesClinical(v *visit) bool { return v.who.Role.Can(account.SeeClinical) }
