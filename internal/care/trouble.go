package care

import (
	"fmt"
	"time"

	"gaitpost/internal/contact"
)

// Trouble is something of the service's own that has stopped, and that people at
// the practice have to know since owners may go unheard. The service notices it
// by itself.
type Trouble struct {
	Kind    TroubleKind
	Channel string    // its name in the settings, where it is about one
	Since   time.Time // for how long it has been so
}

// TroubleKind says what has stopped.
type TroubleKind string

const (
	// SilentScheduler: nothing wakes what is due: no check-in, no reminder, no
	// passing on of an alert that nobody took.
	SilentScheduler TroubleKind = "scheduler"
	// StuckProvider: a channel's provider has taken nothing for a while, and
	// refused all that was tried.
	StuckProvider TroubleKind = "provider"
	// StuckOutbox: nobody sends what waits for a channel.
	StuckOutbox TroubleKind = "outbox"
)

// Name tells one trouble from another: its kind and channel.
func (t Trouble) Name() string {
	if t.Channel == "" {
		return string(t.Kind)
	}
	return string(t.Kind) + "/" + t.Channel
}

// What says what has stopped, since when, and what that means, in plain words.
func (t Trouble) What(zone *time.Location) string {
	since := t.Since.In(zone).Format("Mon 15:04")
	switch t.Kind {
	case SilentScheduler:
		return fmt.Sprintf("Since %s no check-ins and reminders go out, and alerts that nobody takes on are not passed on. "+
			"Owners who write are still answered.", since)
	case StuckProvider:
		return fmt.Sprintf("Since %s the provider of the channel %q takes none of our messages. Owners may not get "+
			"replies, safety replies included.", since, t.Channel)
	default:
		return fmt.Sprintf("Since %s messages on the channel %q are not being sent. Owners may not get replies, safety "+
			"replies included.", since, t.Channel)
	}
}

// Over says that it works again.
func (t Trouble) Over() string {
	switch t.Kind {
	case SilentScheduler:
		return "Check-ins, reminders and the passing on of alerts work again. What was due meanwhile follows where it still makes sense."
	default:
		return fmt.Sprintf("Messages on the channel %q go out again. What waited follows where it still makes sense; the desk shows what did not arrive.", t.Channel)
	}
}

// TroubleNews is word of a trouble for the lead practitioner's line.
type TroubleNews struct {
	Trouble Trouble
	Over    bool // it works again
	// Shut is the kind of channel that does not work, so that another way is
	// taken where there is one; "" for none.
	Shut contact.Channel
}

// trouble tells her of one. It names no owner and no dog, so that it may be read
// on any telephone.
func (t *lineTurn) trouble(n *TroubleNews) Reason {
	text := "Gaitpost: " + n.Trouble.Over()
	if !n.Over {
		text = fit("Gaitpost is not working as it should. "+n.Trouble.What(t.r.Zone)+" Whoever runs the server has to look.", lineSegments2)
	}
	for _, a := range t.contacts() {
		if via := t.wayTo(a); n.Shut != "" && via != "" && a.Channel != n.Shut {
			t.sendTo(a, via, text, nil)
			return LineTold
		}
	}
	// Better one that comes when it works again than none.
	return t.send(text)
}
