package care

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"gaitpost/internal/contact"
)

const (
	// lineSegments2 is what two joined text messages hold in the alphabet of
	// ordinary letters: 2 × 153 septets (3GPP TS 23.040).
	lineSegments2 = 306
	keptNumbers   = 60
	digestTexts   = 3 // texts in one go; the rest on MORE
)

// The reasons of a line's turn.
const (
	LineTold    Reason = "told"
	LineListed  Reason = "listed"
	LineShown   Reason = "shown"
	LineActed   Reason = "acted"
	LineUnclear Reason = "not-understood"
	LineHelped  Reason = "help-shown"
	LineEmpty   Reason = "nothing-open"
	LineNobody  Reason = "no-contact"
)

// LineTurn decides what one event does on a practitioner's line. It is pure.
func LineTurn(r *Rules, l Line, e LineEvent) LineResult {
	t := &lineTurn{r: r, l: l, e: e}
	t.l.Numbers = slices.Clone(l.Numbers)
	if e.Key != "" && slices.Contains(l.Seen, e.Key) {
		return LineResult{Line: l, Reason: Repeated}
	}
	t.l.Seq++
	if e.Key != "" {
		t.l.Seen = append(slices.Clone(l.Seen), e.Key)
		if n := len(t.l.Seen) - keptSeen; n > 0 {
			t.l.Seen = t.l.Seen[n:]
		}
	}
	switch {
	case e.Notice != nil:
		t.out.Reason = t.notice(e.Notice)
	case e.Digest != nil:
		t.out.Reason = t.digest(e.Digest)
	case e.Text != nil && t.isCut(e.Text.From):
		t.out.Reason = LineCut
	case e.Text != nil:
		t.out.Reason = t.text(e.Text)
	case e.Lost != nil:
		t.out.Reason = t.lost(e.Lost)
	case e.Refused != nil:
		t.out.Reason = t.refused(e.Refused)
	case e.Trouble != nil:
		t.out.Reason = t.trouble(e.Trouble)
	}
	t.out.Line = t.l
	return t.out
}

type lineTurn struct {
	r   *Rules
	l   Line
	e   LineEvent
	out LineResult
	// confirmed: the instruction comes with its code.
	confirmed bool
}

// send texts the practitioner at the first contact we have a channel for; the
// line without a practitioner is the last-resort contact's.
func (t *lineTurn) send(text string) Reason {
	to, via, ok := t.address()
	if !ok {
		return LineNobody
	}
	t.sendTo(to, via, text, nil)
	return LineTold
}

func (t *lineTurn) address() (contact.Address, string, bool) {
	for _, a := range t.contacts() {
		if a.Channel == contact.Email || a.Channel == contact.Voice {
			continue // neither is an answer to a text
		}
		if via := t.wayTo(a); via != "" {
			return a, via, true
		}
	}
	return contact.Address{}, "", false
}

func (t *lineTurn) minimal() bool {
	p, ok := t.r.Practitioner(t.l.Practitioner)
	return ok && p.Minimal
}

// number gives an item the number she knows it by; a known one keeps its own.
func (t *lineTurn) number(it Item) *Numbered {
	for i := range t.l.Numbers {
		n := &t.l.Numbers[i]
		if n.Item.Household == it.Household && n.Item.Alert == it.Alert {
			n.Item, n.Said = it, t.e.At.Unix()
			return n
		}
	}
	t.l.NextNumber++
	if t.l.NextNumber > 999 {
		t.l.NextNumber = 1
	}
	t.l.Numbers = append(t.l.Numbers, Numbered{N: t.l.NextNumber, Item: it, Said: t.e.At.Unix()})
	if n := len(t.l.Numbers) - keptNumbers; n > 0 {
		t.l.Numbers = t.l.Numbers[n:]
	}
	return &t.l.Numbers[len(t.l.Numbers)-1]
}

// notice tells her of one alert.
func (t *lineTurn) notice(n *Notice) Reason {
	if n.What == NoticeReview {
		return t.mailReview(n)
	}
	num := t.number(n.Item)
	t.l.LastShown = num.N
	text := t.alertText(num, n.What)
	send := t.send
	if n.What == NoticeUnanswered {
		send = t.sendEvery
	}
	reason := send(text)
	if mailed := t.mailAlert(num, text); reason == LineNobody {
		reason = mailed
	}
	return reason
}

// refused tells her that a command changed nothing, and why.
func (t *lineTurn) refused(r *Refused) Reason {
	head := "Not done: "
	for _, n := range t.l.Numbers {
		if n.Item.Household == r.Household && n.Item.Alert == r.Alert {
			head = fmt.Sprintf("%d %s, not done: ", n.N, t.nameOf(&n))
		}
	}
	return t.send(fit(head+r.Sentence, lineSegments2))
}

// alertText is an alert in one readable text: how soon, which dog, why, whom to
// ring, what to reply.
func (t *lineTurn) alertText(n *Numbered, kind NoticeKind) string {
	head := strings.ToUpper(n.Item.Urgency.String())
	switch kind {
	case NoticeWorse:
		head += ", worse"
	case NoticeUnanswered:
		head += ", not taken on by a colleague yet"
	case NoticeNotReached:
		head += ", vet NOT reached"
	case NoticeDueAgain:
		head += ", to be rung again"
	}
	tail := fmt.Sprintf(" Reply %d OK to take it on.", n.N)
	if t.minimal() {
		return fmt.Sprintf("%s: alert %d.%s", head, n.N, tail)
	}
	who := whoIs(n.Item)
	body := fmt.Sprintf("%s: %s, %s: %s.", head, who, n.Item.Reason, n.Item.Sentence)
	return fit(body, lineSegments2-len(tail)) + tail
}

// whoIs names the dog and whom to ring: "Bramble (Ruth, +44…)".
func whoIs(it Item) string {
	person := strings.Trim(it.Owner+", "+it.Phone, ", ")
	switch {
	case person == "":
		return it.Dog
	case it.Dog == "":
		return person
	}
	return it.Dog + " (" + person + ")"
}

// fit cuts a text to a length in characters, at a word.
func fit(text string, most int) string {
	if utf8.RuneCountInString(text) <= most {
		return text
	}
	cut := string([]rune(text)[:most-3])
	if i := strings.LastIndexByte(cut, ' '); i > most/2 {
		cut = cut[:i]
	}
	return strings.TrimRight(cut, " ,.;:") + "..."
}

// digest sends what is open, most urgent first, with what is new since the
// last one ahead of what she has already read. An empty one is not sent.
func (t *lineTurn) digest(d *Digest) Reason {
	since := t.l.LastDigest
	t.l.LastDigest = t.e.At.Unix()
	if len(d.Open) == 0 {
		return LineEmpty
	}
	var fresh, old []Item
	for _, it := range d.Open {
		if it.At > since {
			fresh = append(fresh, it)
		} else {
			old = append(old, it)
		}
	}
	if t.mailDigest(fresh, old) {
		return LineListed
	}
	if len(fresh) == 0 {
		return t.send(fmt.Sprintf("Digest %s: nothing new, %s still open. Reply LIST to see them.",
			t.e.At.In(t.r.Zone).Format("Mon 2 Jan"), count(len(old), "alert")))
	}
	head := fmt.Sprintf("Digest %s: %s, %d still open from before.", t.e.At.In(t.r.Zone).Format("Mon 2 Jan"), count(len(fresh), "new alert"), len(old))
	return t.list(head, fresh)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// list numbers items and sends them in texts of two segments; what does not
// fit waits for MORE.
func (t *lineTurn) list(head string, items []Item) Reason {
	numbers := make([]uint16, len(items))
	for i, it := range items {
		numbers[i] = t.number(it).N
	}
	t.l.Rest = t.sendSome(head, numbers)
	return LineListed
}

func (t *lineTurn) sendSome(head string, numbers []uint16) []uint16 {
	text := head
	sent := 0
	for i, n := range numbers {
		num := t.find(n)
		if num == nil {
			continue
		}
		line := fit(t.shortLine(num), lineSegments2/2)
		if utf8.RuneCountInString(text)+1+utf8.RuneCountInString(line) > lineSegments2-30 {
			t.send(text)
			if sent++; sent == digestTexts {
				rest := numbers[i:]
				return rest
			}
			text = line
			continue
		}
		if text != "" {
			text += "\n"
		}
		text += line
	}
	if text != "" {
		t.send(text)
	}
	return nil
}

// shortLine is an alert as a list shows it.
func (t *lineTurn) shortLine(n *Numbered) string {
	if t.minimal() {
		return fmt.Sprintf("%d %s, alert", n.N, n.Item.Urgency)
	}
	mark := ""
	if n.Item.State == Acknowledged {
		mark = " (taken on)"
	}
	dog := n.Item.Dog
	if dog == "" {
		dog = n.Item.Owner
	}
	if dog == "" {
		dog = n.Item.Phone
	}
	return fmt.Sprintf("%d %s %s, %s: %s%s", n.N, n.Item.Urgency, dog, n.Item.Reason, n.Item.Sentence, mark)
}

func (t *lineTurn) find(n uint16) *Numbered {
	for i := range t.l.Numbers {
		if t.l.Numbers[i].N == n {
			return &t.l.Numbers[i]
		}
	}
	return nil
}

const lineHelp = "LIST shows what is open. 3 shows number 3. 3 OK note takes it on. " +
	"3 CLOSE outcome note closes it (phoned, booked, seen, sent, plan, reaction, referred, false, none, died). " +
	"3 NOREPLY: couldn't reach. 3 QUIET 14 quiets the dog for 14 days."

// LineNeedsOpen reports whether a text from a practitioner asks for the list
// of everything that is open.
func LineNeedsOpen(text string) bool {
	f := strings.Fields(strings.ToUpper(text))
	return len(f) > 0 && (f[0] == "LIST" || f[0] == "ALL")
}

// text does what a practitioner wrote.
func (t *lineTurn) text(m *LineText) Reason {
	f := strings.Fields(m.Text)
	if len(f) == 0 {
		t.send(lineHelp)
		return LineUnclear
	}
	switch word := strings.ToUpper(strings.Trim(f[0], ".,!?")); word {
	case "LIST", "ALL":
		if len(m.Open) == 0 {
			t.send("Nothing is open.")
			return LineEmpty
		}
		return t.list(count(len(m.Open), "alert")+" open:", m.Open)
	case "MORE":
		return t.more()
	case "YES":
		return t.confirm(m, f[1:])
	case "MAIL":
		return t.mailWish(f[1:])
	case "HELP", "":
		t.send(lineHelp)
		return LineHelped
	default:
		return t.numbered(m, f)
	}
}

func (t *lineTurn) more() Reason {
	if len(t.l.Rest) == 0 {
		t.send("That was all.")
		return LineEmpty
	}
	rest := t.l.Rest
	t.l.Rest = nil
	t.l.Rest = t.sendSome("", rest)
	return LineListed
}

// numbered does something with one alert. A bare OK is about the last one
// shown.
func (t *lineTurn) numbered(m *LineText, f []string) Reason {
	n, err := strconv.ParseUint(strings.Trim(f[0], ".,:#"), 10, 16)
	rest := f[1:]
	if err != nil {
		n, rest = uint64(t.l.LastShown), f
		if strings.ToUpper(strings.Trim(f[0], ".,!")) != "OK" {
			t.send("Not understood. " + lineHelp)
			return LineUnclear
		}
	}
	num := t.find(uint16(n))
	if num == nil {
		t.send(fmt.Sprintf("There is no number %d. Reply LIST for what is open.", n))
		return LineUnclear
	}
	t.l.LastShown = num.N
	if len(rest) == 0 {
		t.send(t.alertText(num, ""))
		return LineShown
	}
	return t.act(m, num, rest)
}

// act turns one instruction into an event of the household.
func (t *lineTurn) act(m *LineText, n *Numbered, words []string) Reason {
	verb := strings.ToUpper(strings.Trim(words[0], ".,:!"))
	note := strings.Join(words[1:], " ")
	action := Practice{By: t.l.Practitioner}
	said := ""
	switch verb {
	case "OK", "ACK", "TAKE":
		action.Ack = &AlertAction{Alert: n.Item.Alert, Note: note}
		said = "taken on"
	case "NOREPLY", "UNREACHED":
		action.Close = &AlertAction{Alert: n.Item.Alert, Outcome: CouldNotReach, Note: note}
		said = "couldn't reach, comes due again"
	case "CLOSE", "DONE":
		outcome, rest, ok := outcomeOf(words[1:])
		if !ok {
			t.send("Closed as what? phoned, booked, seen, sent, plan, reaction, referred, false, none or died. For example: " +
				fmt.Sprintf("%d CLOSE phoned", n.N))
			return LineUnclear
		}
		action.Close = &AlertAction{Alert: n.Item.Alert, Outcome: outcome, Note: rest}
		said = "closed: " + string(outcome)
	case "QUIET":
		days, err := strconv.Atoi(strings.TrimRight(note, " days"))
		if err != nil || days < 1 || days > 180 || n.Item.DogIndex < 0 {
			t.send(fmt.Sprintf("For how many days? 1 to 180, for example: %d QUIET 14", n.N))
			return LineUnclear
		}
		action.Quiet = &QuietDog{Dog: n.Item.DogIndex, Until: t.e.At.AddDate(0, 0, days).Unix()}
		said = fmt.Sprintf("quiet for %s. Red flags and signs still come", count(days, "day"))
	default:
		t.send("Not understood. " + lineHelp)
		return LineUnclear
	}
	if !t.confirmed && needsConfirming(n, &action) {
		return t.askToConfirm(n, strings.Join(words, " "), said)
	}
	key := fmt.Sprintf("%s/%d", t.e.Key, n.N)
	t.out.Commands = append(t.out.Commands, Command{
		Household: n.Item.Household, Event: Event{Key: key, At: t.e.At, Practice: &action},
	})
	t.send(fmt.Sprintf("%d %s: %s.", n.N, t.nameOf(n), said))
	return LineActed
}

func (t *lineTurn) nameOf(n *Numbered) string {
	if t.minimal() || n.Item.Dog == "" {
		return "alert"
	}
	return n.Item.Dog
}

// outcomeOf reads an outcome from the first word or words, and the note after
// it.
func outcomeOf(words []string) (Outcome, string, bool) {
	if len(words) == 0 {
		return "", "", false
	}
	text := lower(strings.Join(words, " "))
	for _, o := range Outcomes {
		if o != CouldNotReach && strings.HasPrefix(text, string(o)) {
			n := len(strings.Fields(string(o)))
			return o, strings.Join(words[n:], " "), true
		}
	}
	short := map[string]Outcome{
		"sent": SentToEmergency, "plan": PlanChanged, "changed": PlanChanged, "reaction": SuspectedReaction,
		"referred": Referred, "false": FalseAlarm, "none": NoAction, "nothing": NoAction, "booked": Booked,
		"seen": SeenByVet, "phoned": Phoned, "rang": Phoned, "called": Phoned, "died": DogDied,
	}
	o, ok := short[strings.Trim(lower(words[0]), ".,:")]
	return o, strings.Join(words[1:], " "), ok
}
