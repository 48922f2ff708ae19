package clinic

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
)

// numberKey is one number of the clinical rules. Its ends are written as in
// the file.
type numberKey struct {
	section, name string
	at            func(*care.Rules) any // *float64, *int, *time.Duration or *cadence.MinuteOfDay
	min, max      string
	field         string // of clinical.Thresholds, "" for the rest
	source        string
}

func (k numberKey) path() string { return "thresholds." + k.section + "." + k.name }

func (k numberKey) allowed() string { return k.min + " to " + k.max }

const (
	noScaleFigure = "grams; an assumption, no published figure was found"
	toSimulate    = "this project's own choice, judged by simulation"
	mids          = "published smallest important differences of owners' scores span 4.8 to 21.9 % of their scales (Innes et al., PLoS One 2023;18:e0280912; Alves and Innes, PLoS One 2023;18:e0291881)"
	ewma          = "Lucas and Saccucci, Technometrics 1990;32:1-12"
	lossBand      = "1 to 2 % a week: AAHA weight guidelines 2014 and 2021, from secondary pages"
	commonDays    = "days from one to the next where the plan does not say; common practice, no source"
	nsaidDays     = "adverse reactions to anti-inflammatories cluster at 14 to 30 days (Hampshire et al., JAVMA 2004;225:533-536)"
)

var numberTable = []numberKey{
	{"index", "level_at", func(r *care.Rules) any { return &r.Thresholds.LevelAt }, "0", "100", "LevelAt", toSimulate},
	{"index", "level_clears_below", func(r *care.Rules) any { return &r.Thresholds.LevelClearsBelow }, "0", "100", "LevelClearsBelow", toSimulate},
	{"index", "level_baseline_below", func(r *care.Rules) any { return &r.Thresholds.LevelBaselineBelow }, "0", "100", "LevelBaselineBelow", toSimulate},
	{"index", "rise_mean", func(r *care.Rules) any { return &r.Thresholds.RiseMean }, "0", "100", "RiseMean", "just beyond the meaningful change; " + toSimulate},
	{"index", "rise_single", func(r *care.Rules) any { return &r.Thresholds.RiseSingle }, "0", "100", "RiseSingle", toSimulate},
	{"index", "drift_lambda", func(r *care.Rules) any { return &r.Thresholds.DriftLambda }, "0.01", "1", "DriftLambda", ewma},
	{"index", "drift_width", func(r *care.Rules) any { return &r.Thresholds.DriftL }, "0.5", "6", "DriftL", ewma},
	{"index", "jump_levels", func(r *care.Rules) any { return &r.Thresholds.JumpLevels }, "0.5", "4", "JumpLevels", ownChoice},
	{"index", "provisional_extra", func(r *care.Rules) any { return &r.Thresholds.ProvisionalExtra }, "0", "50", "ProvisionalExtra", toSimulate},
	{"index", "baseline_checkins", func(r *care.Rules) any { return &r.Thresholds.BaselineN }, "2", "26", "BaselineN", toSimulate},
	{"index", "provisional_checkins", func(r *care.Rules) any { return &r.Thresholds.ProvisionalN }, "1", "26", "ProvisionalN", toSimulate},
	{"index", "bedding_in_days", func(r *care.Rules) any { return &r.Thresholds.BeddingInDays }, "0", "365", "BeddingInDays", ownChoice},
	{"index", "sigma_default", func(r *care.Rules) any { return &r.Thresholds.SigmaDefault }, "0.1", "50", "SigmaDefault", "√(1 − 0.85) × 20, an assumption: spread 20, repeatability 0.85"},
	{"index", "sigma_floor", func(r *care.Rules) any { return &r.Thresholds.SigmaFloor }, "0.1", "50", "SigmaFloor", ownChoice},
	{"index", "sigma_window", func(r *care.Rules) any { return &r.Thresholds.SigmaWindow }, "2", "26", "SigmaWindow", ownChoice},
	{"index", "sigma_from", func(r *care.Rules) any { return &r.Thresholds.SigmaMin }, "2", "26", "SigmaMin", ownChoice},
	{"index", "meaningful_change", func(r *care.Rules) any { return &r.Thresholds.MeaningfulChange }, "0", "100", "MeaningfulChange", mids},
	{"index", "stays_at", func(r *care.Rules) any { return &r.Thresholds.StaysAt }, "0", "100", "StaysAt", ownChoice},
	{"index", "stays_weeks", func(r *care.Rules) any { return &r.Thresholds.StaysWeeks }, "1", "104", "StaysWeeks", ownChoice},
	{"index", "running_days", func(r *care.Rules) any { return &r.Thresholds.RunningDays }, "1", "400", "RunningDays", ownChoice},

	{"weight", "home_scale_sd", func(r *care.Rules) any { return &r.Weight.HomeSD }, "1", "5000", "", noScaleFigure},
	{"weight", "clinic_scale_sd", func(r *care.Rules) any { return &r.Weight.ClinicSD }, "1", "5000", "", noScaleFigure},
	{"weight", "pace_low", func(r *care.Rules) any { return &r.Weight.PaceLow }, "0.1", "5", "", lossBand},
	{"weight", "pace_high", func(r *care.Rules) any { return &r.Weight.PaceHigh }, "0.1", "5", "", lossBand},
	{"weight", "progress", func(r *care.Rules) any { return &r.Weight.Progress }, "0.05", "5", "", "0.55 % a week was the mean in Marshall et al., Vet Res Commun 2010;34:241-253"},
	{"weight", "too_fast_days", func(r *care.Rules) any { return &r.Weight.TooFastDays }, "7", "90", "", ownChoice},
	{"weight", "plateau_days", func(r *care.Rules) any { return &r.Weight.PlateauDays }, "7", "180", "", ownChoice},
	{"weight", "month_loss", func(r *care.Rules) any { return &r.Weight.MonthLoss }, "1", "30", "", ownChoice},
	{"weight", "half_year_loss", func(r *care.Rules) any { return &r.Weight.HalfYearLoss }, "1", "50", "", ownChoice},
	{"weight", "pace_weigh_ins", func(r *care.Rules) any { return &r.Weight.Window }, "2", "26", "", ownChoice},
	{"weight", "ask_again_beyond", func(r *care.Rules) any { return &r.Weight.AskBeyond }, "2", "50", "", "five times the upper guideline rate, this project's own choice"},

	{"alerts", "escalate_after", func(r *care.Rules) any { return &r.Limits.EscalateAfter }, "1m", "60m", "", ownChoice},
	{"alerts", "follow_up_after", func(r *care.Rules) any { return &r.Limits.FollowUpAfter }, "5m", "2h", "", ownChoice},
	{"alerts", "follow_up_wait", func(r *care.Rules) any { return &r.Limits.FollowUpWait }, "5m", "60m", "", ownChoice},
	{"alerts", "safety_question_after", func(r *care.Rules) any { return &r.Limits.SafetyQuestionAfter }, "15m", "4h", "", ownChoice},
	{"alerts", "remind_after", func(r *care.Rules) any { return &r.Limits.RemindAfter }, "2h", "3d", "", ownChoice},
	{"alerts", "close_after", func(r *care.Rules) any { return &r.Limits.CloseAfter }, "12h", "7d", "", ownChoice},
	{"alerts", "prompt_window", func(r *care.Rules) any { return &r.Limits.PromptWindow }, "30m", "12h", "", ownChoice},
	{"alerts", "silent_checkins", func(r *care.Rules) any { return &r.Limits.SilentCheckIns }, "1", "8", "", ownChoice},
	{"alerts", "missed_doses", func(r *care.Rules) any { return &r.Limits.MissedDoses }, "1", "14", "", ownChoice},
	{"alerts", "reopen_by", func(r *care.Rules) any { return &r.Limits.ReopenBy }, "1", "50", "", "the meaningful change; " + mids},
	{"alerts", "late_opening", func(r *care.Rules) any { return &r.Limits.LateOpening }, "1h", "24h", "", ownChoice},
	{"alerts", "handover_for", func(r *care.Rules) any { return &r.Limits.HandoverFor }, "1h", "7d", "", ownChoice},
	{"alerts", "one_by_one_first", func(r *care.Rules) any { return &r.Limits.OneByOneFirst }, "0", "52", "", ownChoice},
	{"alerts", "prompt_at", func(r *care.Rules) any { return &r.Limits.PromptAt }, "06:00", "22:00", "", ownChoice},
	{"alerts", "despair_pause", func(r *care.Rules) any { return &r.Limits.DespairPause }, "1d", "60d", "", ownChoice},

	{"reminders", "injection_days", func(r *care.Rules) any { return &r.Reminders.Injection }, "7", "366", "", commonDays},
	{"reminders", "tablets_days", func(r *care.Rules) any { return &r.Reminders.Tablets }, "7", "366", "", commonDays},
	{"reminders", "test_days", func(r *care.Rules) any { return &r.Reminders.Test }, "7", "731", "", commonDays},
	{"reminders", "exercises_days", func(r *care.Rules) any { return &r.Reminders.Exercises }, "1", "92", "", commonDays},
	{"reminders", "supplement_days", func(r *care.Rules) any { return &r.Reminders.Supplement }, "7", "366", "", commonDays},
	{"reminders", "weighin_days", func(r *care.Rules) any { return &r.Reminders.WeighIn }, "7", "92", "", commonDays},
	{"reminders", "other_days", func(r *care.Rules) any { return &r.Reminders.Other }, "1", "366", "", commonDays},
	{"reminders", "ask_again_after", func(r *care.Rules) any { return &r.Reminders.AskAgain }, "1", "14", "", ownChoice},
	{"reminders", "overdue_after", func(r *care.Rules) any { return &r.Reminders.Overdue }, "3", "60", "", ownChoice},
	{"reminders", "conversations_a_week", func(r *care.Rules) any { return &r.Reminders.PerWeek }, "2", "4", "", "never more than one a day or four a week; " + ownChoice},
	{"extras", "lesson_days", func(r *care.Rules) any { return &r.Extras.Lesson }, "0", "92", "", "0 for none, and never more than one a week; " + ownChoice},
	{"extras", "summary_days", func(r *care.Rules) any { return &r.Extras.Summary }, "0", "92", "", "0 for none; " + ownChoice},
	{"extras", "activities_after", func(r *care.Rules) any { return &r.Extras.Activities }, "0", "28", "", "days after consent, 0 for not at all; " + ownChoice},
	{"extras", "house_after", func(r *care.Rules) any { return &r.Extras.House }, "0", "28", "", "days after a reassessment that named an awkward place, 0 for not by itself; " + ownChoice},
	{"records", "keep_years", func(r *care.Rules) any { return &r.KeepYears }, "1", "30", "", "common practice, no source; local rules come first"},
	{"alerts", "flood_burst", func(r *care.Rules) any { return &r.Limits.FloodBurst }, "0", "1000", "", ownChoice},
	{"alerts", "flood_refill", func(r *care.Rules) any { return &r.Limits.FloodRefill }, "1s", "10m", "", ownChoice},
}

const (
	signsOnlyPath    = "thresholds.alerts.signs_only_days"
	signsOnlyAllowed = "1 to 8 whole numbers of days from 1 to 90, each later than the one before"
)

func numberKeys() []Key {
	out := []Key{
		{"thresholds", false, "", "index, alerts", ""},
		{"thresholds.index", false, "", "numbers of the index rules", ""},
		{"thresholds.alerts", false, "", "waits and counts", ""},
		{"thresholds.reminders", false, "", "days between reminders, and how much a household hears", ""},
		{"thresholds.extras", false, "", "days between lessons and summaries, and when more is asked", ""},
		{"thresholds.records", false, "", "how long records are kept", ""},
	}
	defaults := defaultRules()
	for _, k := range numberTable {
		out = append(out, Key{k.path(), false, showQuantity(k.at(defaults)), k.allowed(), k.source})
	}
	return append(out, Key{signsOnlyPath, false, showDays(defaults.Limits.SignsOnlyDays), signsOnlyAllowed, nsaidDays})
}

// readNumber sets one number of the rules, if it is set and within its range.
func (f *file) readNumber(k numberKey, p place) {
	text, ok := f.text(p)
	if !ok {
		return
	}
	target := k.at(f.clinic.Rules)
	v, ok := parseQuantity(target, text)
	least, _ := parseQuantity(target, k.min)
	most, _ := parseQuantity(target, k.max)
	switch {
	case !ok:
		f.wrong(p, "this is not "+quantityName(target), k.allowed())
	case v < least || v > most:
		f.wrong(p, "this is out of range", k.allowed())
	default:
		setQuantity(target, v)
	}
}

func (f *file) readSignsOnlyDays(p place) {
	if p.node == nil {
		return
	}
	var days []int
	bad := false
	for _, item := range f.items(p) {
		text, ok := f.text(item)
		if !ok {
			bad = true
			continue
		}
		n, err := strconv.Atoi(strings.TrimSuffix(text, "d"))
		if err != nil || n < 1 || n > 90 || len(days) > 0 && n <= days[len(days)-1] {
			f.wrong(place{path: p.path, node: item.node, line: item.line}, "this is not a day that can follow here", signsOnlyAllowed)
			bad = true
			continue
		}
		days = append(days, n)
	}
	if !bad && (len(days) < 1 || len(days) > 8) {
		f.wrong(p, "at least one text is sent after a new medicine, and at most eight", signsOnlyAllowed)
		return
	}
	if !bad {
		f.clinic.Rules.Limits.SignsOnlyDays = days
	}
}

// parseQuantity reads a value of the kind that target points to, as a number to
// compare: seconds for a wait, minutes for a time of day.
func parseQuantity(target any, text string) (float64, bool) {
	switch target.(type) {
	case *float64:
		v, err := strconv.ParseFloat(text, 64)
		return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
	case *int:
		v, err := strconv.Atoi(text)
		return float64(v), err == nil
	case *time.Duration:
		d, ok := parseWait(text)
		return d.Seconds(), ok
	case *cadence.MinuteOfDay:
		m, err := cadence.ParseMinuteOfDay(text)
		return float64(m), err == nil
	}
	return 0, false
}

func setQuantity(target any, v float64) {
	switch t := target.(type) {
	case *float64:
		*t = v
	case *int:
		*t = int(v)
	case *time.Duration:
		*t = time.Duration(v * float64(time.Second))
	case *cadence.MinuteOfDay:
		*t = cadence.MinuteOfDay(v)
	}
}

func showQuantity(target any) string {
	switch t := target.(type) {
	case *float64:
		return strconv.FormatFloat(*t, 'g', -1, 64)
	case *int:
		return strconv.Itoa(*t)
	case *time.Duration:
		return showWait(*t)
	case *cadence.MinuteOfDay:
		return t.String()
	}
	return ""
}

func quantityName(target any) string {
	switch target.(type) {
	case *int:
		return "a whole number"
	case *time.Duration:
		return "a length of time like 15m, 2h or 3d"
	case *cadence.MinuteOfDay:
		return "a time of day like 10:00"
	}
	return "a number, written with a point"
}

// parseWait reads a length of time: Go's notation, and d for 24 hours.
func parseWait(text string) (time.Duration, bool) {
	if days, ok := strings.CutSuffix(text, "d"); ok {
		n, err := strconv.Atoi(days)
		return time.Duration(n) * 24 * time.Hour, err == nil && n >= 0 && n < 10000
	}
	d, err := time.ParseDuration(text)
	return d, err == nil
}

func showWait(d time.Duration) string {
	const day = 24 * time.Hour
	switch {
	case d >= 2*day && d%day == 0:
		return fmt.Sprintf("%dd", d/day)
	case d >= time.Hour && d%time.Hour == 0:
		return fmt.Sprintf("%dh", d/time.Hour)
	case d%time.Minute == 0:
		return fmt.Sprintf("%dm", d/time.Minute)
	}
	return d.String()
}

func showDays(days []int) string {
	s := make([]string, len(days))
	for i, d := range days {
		s[i] = strconv.Itoa(d)
	}
	return strings.Join(s, ", ")
}
