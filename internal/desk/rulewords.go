package desk

import (
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
)

// settingNames say what a setting is, in the words of the trade, by the end of
// its path.
var settingNames = map[string]string{
	"index.level_at":                       "High index: alert from",
	"index.level_clears_below":             "High index: over again below",
	"index.level_baseline_below":           "High index: only where the dog’s baseline is below",
	"index.rise_mean":                      "Rise: mean of two check-ins above baseline by",
	"index.rise_single":                    "Rise: one check-in above baseline by",
	"index.drift_lambda":                   "Drift: weight of the newest check-in",
	"index.drift_width":                    "Drift: width of the limit, in noise",
	"index.jump_levels":                    "Jump: one item worse by, in levels",
	"index.provisional_extra":              "Added to limits while the baseline is provisional",
	"index.baseline_checkins":              "Check-ins that make a baseline",
	"index.provisional_checkins":           "Check-ins that make a provisional one",
	"index.bedding_in_days":                "Days of bedding-in after a change of plan",
	"index.sigma_default":                  "Noise assumed at first",
	"index.sigma_floor":                    "Least noise assumed",
	"index.sigma_window":                   "Check-ins that noise is measured over",
	"index.sigma_from":                     "Check-ins until a dog’s own noise counts",
	"index.meaningful_change":              "Meaningful change",
	"index.stays_at":                       "No gain: stays at or above",
	"index.stays_weeks":                    "No gain: for so many weeks",
	"index.running_days":                   "Days within which check-ins count as running",
	"alerts.escalate_after":                "Emergency: next in line is told after",
	"alerts.follow_up_after":               "Emergency: owner is asked after",
	"alerts.follow_up_wait":                "Emergency: answer is awaited for",
	"alerts.safety_question_after":         "Unanswered safety question: same-day sign after",
	"alerts.remind_after":                  "Unfinished check-in: reminder after",
	"alerts.close_after":                   "Unfinished check-in: closed after",
	"alerts.prompt_window":                 "A late prompt still goes out within",
	"alerts.silent_checkins":               "Silence: unanswered check-ins running",
	"alerts.missed_doses":                  "Doses: missed in a week",
	"alerts.reopen_by":                     "A closed alert opens again when worse by",
	"alerts.late_opening":                  "Opening is late when further off than",
	"alerts.handover_for":                  "Prompts wait after staff wrote for",
	"alerts.one_by_one_first":              "First check-ins asked one question at a time",
	"alerts.prompt_at":                     "Time of day of prompts without a cadence",
	"alerts.despair_pause":                 "Pause of cheerful texts after talk of putting to sleep",
	"records.keep_years":                   "Clinical record kept after an erasure, years",
	"alerts.flood_burst":                   "Texts from one number answered in a burst",
	"alerts.flood_refill":                  "After a burst, one more every",
	"alerts.signs_only_days":               "Signs-only texts, days after a new medicine",
	"reminders.injection_days":             "Repeat injection: every so many days",
	"reminders.tablets_days":               "Tablets to collect: every so many days",
	"reminders.test_days":                  "Blood or urine test: every so many days",
	"reminders.exercises_days":             "Exercises: every so many days",
	"reminders.supplement_days":            "Supplement: every so many days",
	"reminders.weighin_days":               "Weigh-in of the plan: every so many days",
	"reminders.other_days":                 "Other reminders: every so many days",
	"reminders.ask_again_after":            "Not done: asked once more after so many days",
	"reminders.overdue_after":              "Not done: overdue after so many days",
	"reminders.conversations_a_week":       "Conversations we open with a household a week",
	"extras.lesson_days":                   "Short lessons: days from one to the next (0: none)",
	"extras.summary_days":                  "Summary to the owner: days from one to the next (0: none)",
	"extras.activities_after":              "What matters to the owner: asked so many days after consent (0: not)",
	"extras.house_after":                   "Round the house: so many days after an awkward place was named (0: not)",
	"cadences.checkin.cron":                "Check-in: when",
	"cadences.checkin.gap":                 "Check-in: at least apart",
	"cadences.weighin.cron":                "Weigh-in: when",
	"cadences.weighin.gap":                 "Weigh-in: at least apart",
	"cadences.weighin_loss.cron":           "Weigh-in on a weight-loss plan: when",
	"cadences.weighin_loss.gap":            "Weigh-in on a weight-loss plan: at least apart",
	"cadences.reassessment.cron":           "Reassessment: when",
	"cadences.reassessment.gap":            "Reassessment: at least apart",
	"weight.home_scale_sd":                 "Error of a scale at home (standard deviation)",
	"weight.clinic_scale_sd":               "Error of the clinic’s scale (standard deviation)",
	"weight.pace_low":                      "Weight loss: slowest pace of the band a week",
	"weight.pace_high":                     "Weight loss: fastest pace of the band a week",
	"weight.progress":                      "Weight loss: still counts as progress a week",
	"weight.too_fast_days":                 "Weight loss: too fast over so many days",
	"weight.plateau_days":                  "Weight loss: none over so many days",
	"weight.month_loss":                    "Off plan: lost in a month",
	"weight.half_year_loss":                "Off plan: lost in half a year",
	"weight.pace_weigh_ins":                "Weigh-ins that pace is measured over",
	"weight.ask_again_beyond":              "A weigh-in is asked again when off by",
	"costs.currency":                       "Currency",
	"costs.sent_segment":                   "Price of a segment sent",
	"costs.received_segment":               "Price of a segment received",
	"costs.minutes.phoned":                 "Usual minutes: phoned",
	"costs.minutes.couldnt_reach":          "Usual minutes: couldn’t reach",
	"costs.minutes.booked":                 "Usual minutes: booked",
	"costs.minutes.seen":                   "Usual minutes: seen",
	"costs.minutes.sent_to_emergency_care": "Usual minutes: sent to emergency care",
	"costs.minutes.plan_changed":           "Usual minutes: plan changed",
	"costs.minutes.suspected_reaction":     "Usual minutes: suspected reaction",
	"costs.minutes.referred":               "Usual minutes: referred",
	"costs.minutes.false_alarm":            "Usual minutes: false alarm",
	"costs.minutes.no_action_needed":       "Usual minutes: no action needed",
	"costs.minutes.died":                   "Usual minutes: died",
	"digest":                               "Digest: when",
	"quiet_hours":                          "Quiet hours",
	"hours":                                "Opening hours",
	"closures":                             "Closures",
}

// settingName is what a setting is called on the page.
func settingName(key string) string {
	if n, ok := settingNames[strings.TrimPrefix(key, "thresholds.")]; ok {
		return n
	}
	parts := strings.Split(key, ".")
	return capital(strings.ReplaceAll(parts[len(parts)-1], "_", " "))
}

var cronDays = map[string]string{"sun": "Sunday", "mon": "Monday", "tue": "Tuesday", "wed": "Wednesday", "thu": "Thursday",
	"fri": "Friday", "sat": "Saturday", "0": "Sunday", "1": "Monday", "2": "Tuesday", "3": "Wednesday", "4": "Thursday",
	"5": "Friday", "6": "Saturday", "7": "Sunday"}

// cronInWords says an expression as people do, or gives it back where it is more
// than times of days of the week.
func cronInWords(expr string) string {
	f := strings.Fields(expr)
	if len(f) != 5 || f[2] != "*" || f[3] != "*" {
		return expr
	}
	minute, err1 := strconv.Atoi(f[0])
	hour, err2 := strconv.Atoi(f[1])
	if err1 != nil || err2 != nil {
		return expr
	}
	at := time.Date(2000, 1, 1, hour, minute, 0, 0, time.UTC).Format(" at 15:04")
	if f[4] == "*" {
		return "Every day" + at
	}
	var days []string
	for _, d := range strings.Split(strings.ToLower(f[4]), ",") {
		from, to, span := strings.Cut(d, "-")
		switch {
		case span && cronDays[from] != "" && cronDays[to] != "":
			days = append(days, cronDays[from]+" to "+cronDays[to])
		case !span && cronDays[from] != "":
			days = append(days, cronDays[from]+"s")
		default:
			return expr
		}
	}
	return strings.Join(days, ", ") + at
}

// ruleLine is one row of what is sent when.
type ruleLine struct{ What, When, Whom string }

// sentWhen says what is sent beside the cadences, in the order of urgency.
func sentWhen(c *clinic.Clinic) []ruleLine {
	l := c.Rules.Limits
	after := func(d time.Duration) string { return waitWords(d) }
	return []ruleLine{
		{"Emergency", "at once, at any hour; next in line after " + after(l.EscalateAfter), "whom the rota names, then the last resort"},
		{"Emergency, follow-up", after(l.FollowUpAfter) + " after the emergency reply", "the owner, once"},
		{"Same-day sign, high or rising index, call-back", "at once in opening hours, otherwise at opening", "the first in line"},
		{"Digest", cronInWords(c.Rules.Cadences.Digest.String()) + "; nothing where nothing is open", "practitioners who receive it"},
		{"Reminder of an unfinished check-in", after(l.RemindAfter) + " after it was sent; closed after " + after(l.CloseAfter), "the owner, once"},
		{"Signs-only text", "days " + daysWords(l.SignsOnlyDays) + " after a new or restarted medicine, at " + l.PromptAt.String(), "the owner"},
		{"Reassessment after a change of plan", plural(c.Rules.Thresholds.BeddingInDays, "day") + " after it, at " + l.PromptAt.String(), "the owner"},
	}
}

func waitWords(d time.Duration) string {
	switch {
	case d >= 48*time.Hour && d%(24*time.Hour) == 0:
		return plural(int(d/(24*time.Hour)), "day")
	case d >= time.Hour && d%time.Hour == 0:
		return plural(int(d/time.Hour), "hour")
	}
	return plural(int(d/time.Minute), "minute")
}

func daysWords(days []int) string {
	var out []string
	for _, d := range days {
		out = append(out, itoa(d))
	}
	return strings.Join(out, ", ")
}

// closuresOf lists the closures that are not over, as the settings write them.
func closuresOf(settings []clinic.Setting) []string {
	for _, s := range settings {
		if s.Key == "closures" {
			return strings.Split(s.Value, "; ")
		}
	}
	return nil
}

// yearOf counts how often a cadence fires in the next 52 weeks.
func yearOf(k cadence.Cadence, r *care.Rules, from time.Time) int {
	n := 0
	for after, last := from, (cadence.LocalDate{}); n < 1000; n++ {
		f := k.NextFiring(after, last, r.Zone)
		if f.At.IsZero() || f.At.After(from.AddDate(0, 0, 364)) {
			return n
		}
		after, last = f.At, f.Date
	}
	return n
}

// Before is the change that the newest one can be undone to; 0 is the file.
func (p *rulesPage) Before() int { return max(p.Seen-1, 0) }
