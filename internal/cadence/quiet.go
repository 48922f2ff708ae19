package cadence

import "time"

// Quiet is the time of day in which nothing automatic is sent: from From up to,
// but not including, To, in local time. It may pass midnight (21:00 to 08:00);
// equal ends mean there are no quiet hours.
type Quiet struct{ From, To MinuteOfDay }

// Contains says whether a time of day is quiet.
func (q Quiet) Contains(m MinuteOfDay) bool {
	if q.From <= q.To {
		return q.From <= m && m < q.To
	}
	return m >= q.From || m < q.To
}

// Delay returns the earliest instant at or after t outside the quiet hours in
// zone, and whether that is later than t. Clock changes are taken into account.
// Apply it last, after everything else has decided when to send.
func (q Quiet) Delay(t time.Time, zone *time.Location) (time.Time, bool) {
	if !q.Contains(minuteOf(wallIn(t, zone))) {
		return t, false
	}
	out, _ := earliest(t, zone, q.nextAllowed)
	return out, true
}

func (q Quiet) nextAllowed(w time.Time) (time.Time, bool) {
	m := minuteOf(w)
	if !q.Contains(m) {
		return w, true
	}
	end := dateOf(w)
	if m >= q.To { // after From on the evening before
		end = end.AddDays(1)
	}
	return end.wall(q.To), true
}

func minuteOf(w time.Time) MinuteOfDay { return MinuteOfDay(w.Hour()*60 + w.Minute()) }
