package care

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"strings"
)

// A text seems to come from whatever number its sender likes. Who forges a
// practitioner's number can write and never reads what is answered; so what
// could do harm waits for a code that only the true telephone is told.

// LineConfirm is the reason of an instruction that waits for its code.
const LineConfirm Reason = "to-be-confirmed"

const (
	confirmWithin = 15 * 60 // seconds
	confirmTries  = 3
)

// Pending is an instruction that waits for its code.
type Pending struct {
	N     uint16 `cbor:"1,keyasint"` // the alert's number
	Words string `cbor:"2,keyasint"` // the instruction without the number
	Code  string `cbor:"3,keyasint"`
	Until int64  `cbor:"4,keyasint"`
	Tries uint8  `cbor:"5,keyasint,omitempty"` // wrong codes so far
}

// needsConfirming reports whether an instruction could do harm from a forger's
// hand: it ends an alert that somebody waits for, records a death, or quiets a
// dog. Taking an alert on is not among them: it is shown at once to whom it was
// taken on for, and whether the owner has reached a vet is asked all the same.
func needsConfirming(n *Numbered, p *Practice) bool {
	if p.Close != nil {
		return p.Close.Outcome != CouldNotReach && (n.Item.Urgency != ForDigest || p.Close.Outcome == DogDied)
	}
	return p.Quiet != nil
}

// askToConfirm keeps an instruction and sends its code. The code follows from
// what a forger can't know: the household's keyed hash, and the id that the
// provider gave the text.
func (t *lineTurn) askToConfirm(n *Numbered, words, what string) Reason {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s/%d/%d/%s", n.Item.Household, n.Item.Alert, t.l.Seq, t.e.Key))
	code := fmt.Sprintf("%04d", binary.BigEndian.Uint32(sum[:4])%10_000)
	t.l.Pending = &Pending{N: n.N, Words: words, Code: code, Until: t.at() + confirmWithin}
	t.send(fit(fmt.Sprintf("%d %s, %s: reply YES %s to do it. Was it not you who asked? Do nothing, and tell the practice that somebody texts in your name.",
		n.N, t.nameOf(n), what, code), lineSegments2))
	return LineConfirm
}

func (t *lineTurn) at() int64 { return t.e.At.Unix() }

// confirm takes a code.
func (t *lineTurn) confirm(m *LineText, words []string) Reason {
	p := t.l.Pending
	if p == nil || p.Until < t.at() {
		t.l.Pending = nil
		t.send("Nothing waits for a code just now. " + lineHelp)
		return LineUnclear
	}
	if len(words) == 0 || strings.Trim(words[0], ".,!") != p.Code {
		again := *p
		if again.Tries++; again.Tries < confirmTries {
			t.l.Pending = &again
			t.send("That is not the code. Nothing was done.")
		} else {
			t.l.Pending = nil
			t.send("That is not the code, for the third time. What waited for it is dropped: begin again.")
		}
		return LineUnclear
	}
	t.l.Pending = nil
	num := t.find(p.N)
	if num == nil {
		t.send(fmt.Sprintf("There is no number %d any more. Reply LIST for what is open.", p.N))
		return LineUnclear
	}
	t.confirmed = true
	return t.act(m, num, strings.Fields(p.Words))
}
