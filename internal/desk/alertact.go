package desk

import (
	"slices"
	"strconv"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

// aboutAlert reads the household and the alert that an address names.
func aboutAlert(v *visit) (contact.ID, uint16, error) {
	id, err := about(v)
	if err != nil {
		return "", 0, err
	}
	n, err := strconv.ParseUint(v.Param("n"), 10, 16)
	if err != nil || n == 0 {
		return "", 0, errNotFound
	}
	return id, uint16(n), nil
}

func (d *Desk) ack(v *visit) error {
	id, n, err := aboutAlert(v)
	if err != nil {
		return err
	}
	note, err := text(v, "note", maxNote)
	if err != nil {
		return err
	}
	minutes, err := number(v, "minutes", care.MaxMinutes)
	if err != nil {
		return err
	}
	return d.act(v, deed{id: id, say: "acknowledged",
		what:  care.Practice{Ack: &care.AlertAction{Alert: n, Note: note, Minutes: uint16(minutes)}},
		entry: account.Entry{Deed: account.Acknowledged, Alert: n}})
}

func (d *Desk) closeAlert(v *visit) error {
	id, n, err := aboutAlert(v)
	if err != nil {
		return err
	}
	note, err := text(v, "note", maxNote)
	if err != nil {
		return err
	}
	minutes, err := number(v, "minutes", care.MaxMinutes)
	if err != nil {
		return err
	}
	outcome := care.Outcome(v.FormValue("outcome"))
	if !slices.Contains(care.Outcomes, outcome) {
		return refuse("Please choose what came of it.")
	}
	if outcome == care.DogDied && v.FormValue("sure") != "yes" {
		return refuse("Closing with “died” records the death and ends every prompt for this dog. Tick the box beside it to go on.")
	}
	say := "closed"
	if outcome == care.CouldNotReach {
		say = "again"
	}
	return d.act(v, deed{id: id, say: say,
		what:  care.Practice{Close: &care.AlertAction{Alert: n, Outcome: outcome, Note: note, Minutes: uint16(minutes)}},
		entry: account.Entry{Deed: account.Closed, Alert: n, Detail: string(outcome)}})
}

// What reception records of a call.
const (
	callMade   = "called"
	callMissed = "couldn't reach"
	callBooked = "booked"
)

// recordCall keeps what came of ringing an owner. Having rung closes nothing,
// and an emergency that was booked in stays until a clinician closes it.
func (d *Desk) recordCall(v *visit) error {
	id, n, err := aboutAlert(v)
	if err != nil {
		return err
	}
	h, err := d.load(v, id)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(h.Alerts, func(a care.Alert) bool { return a.N == n })
	if i < 0 {
		return errNotFound
	}
	result := v.FormValue("result")
	t := deed{id: id, say: "called", entry: account.Entry{Deed: account.Called, Alert: n, Detail: result}}
	switch {
	case result == callMissed:
		t.what.Close = &care.AlertAction{Alert: n, Outcome: care.CouldNotReach, Note: "couldn't reach the owner"}
	case result == callBooked && h.Alerts[i].Urgency < care.Now:
		t.what.Close = &care.AlertAction{Alert: n, Outcome: care.Booked}
	case result == callMade, result == callBooked:
		t.what.Ack = &care.AlertAction{Alert: n, Note: map[string]string{callMade: "owner called", callBooked: "booked in"}[result]}
	default:
		return refuse("Please choose what came of the call.")
	}
	return d.act(v, t)
}
