package care_test

import (
	"strconv"
	"strings"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
)

// planChange reads "REMIND WHAT KIND key=value …" and "DONE WHAT [date]".
func (k *talk) planChange(f []string, where string) *care.PlanChange {
	p := &care.PlanChange{Dog: k.house.Dogs[0].Name, What: f[1]}
	switch f[0] {
	case "REMIND":
		p.Action = care.PlanReminders
		p.Reminders = append(k.remindersOf(f[1]), parseReminder(k, f[2:]))
	case "DONE":
		p.Action = care.PlanDone
		if len(f) > 2 {
			p.On = k.clock("at", f[2]+" 12:00").Unix()
		}
	default:
		k.t.Fatalf("%s: not understood", where)
	}
	return p
}

func (k *talk) remindersOf(what string) []care.Reminder {
	for _, d := range k.house.Dogs {
		for _, e := range d.Plan {
			if e.What == what {
				return e.Reminders
			}
		}
	}
	return nil
}

func parseReminder(k *talk, f []string) care.Reminder {
	m := care.Reminder{Kind: care.ReminderKind(f[0])}
	for _, opt := range f[1:] {
		key, value, _ := strings.Cut(opt, "=")
		switch key {
		case "every":
			n, err := strconv.Atoi(value)
			require.NoError(k.t, err)
			m.Every = int16(n)
		case "on":
			for _, d := range strings.Split(value, ",") {
				m.On = append(m.On, dayNumber(k, d))
			}
		case "cron":
			m.Cron = strings.ReplaceAll(value, "_", " ")
		case "note":
			m.Note = strings.ReplaceAll(value, "_", " ")
		default:
			k.t.Fatalf("reminder option %q is not known", opt)
		}
	}
	return m
}

func dayNumber(k *talk, date string) int32 {
	d, err := cadence.ParseLocalDate(date)
	require.NoError(k.t, err)
	return int32(cadence.Date(1970, time.January, 1).DaysUntil(d))
}

// expectKept wants a reminder fact since the last such line.
func (k *talk) expectKept(want, where string) {
	var seen []string
	for i, f := range k.facts {
		if f.Kind != care.FactReminder {
			continue
		}
		got := f.Code + " " + f.Text
		if strings.HasPrefix(got, want) {
			k.facts = k.facts[i+1:]
			return
		}
		seen = append(seen, got)
	}
	k.t.Fatalf("%s\nkept: %s", where, strings.Join(seen, "; "))
}
