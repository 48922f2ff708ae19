package care

import (
	"slices"
	"strings"
	"time"

	"gaitpost/internal/clinical"
)

// GivenLesson is a short lesson that a household has had.
type GivenLesson struct {
	ID string `cbor:"1,keyasint"` // the text of that name in the script "lesson"
	At int64  `cbor:"2,keyasint"`
}

// lesson is one short text to an owner, and when it fits: what the dog's plan,
// or what its owner told us, gives cause for it.
type lesson struct {
	id   string
	fits func(*lessonView) bool
}

// lessonView is what is known of a dog where a lesson is chosen.
type lessonView struct {
	d       *Dog
	last    clinical.Items // the latest answers
	checked int            // check-ins answered
	month   time.Month     // as on the northern half of the earth
}

// lessons are all lessons, what matters most first. Each fits by one plain
// reason; the texts are in the script "lesson".
var lessons = []lesson{
	{"people_painkillers", func(v *lessonView) bool { return true }},
	{"out_of_reach", func(v *lessonView) bool { return v.d.medicine() != nil }},
	{"growling", func(v *lessonView) bool { return v.level(clinical.Soreness) >= 2 }},
	{"floors", func(v *lessonView) bool { return v.awkward(PlaceFloors) || v.level(clinical.Steps) >= 2 }},
	{"weight_why", func(v *lessonView) bool { return v.d.onLossPlan() || v.d.BCS > 5 }},
	{"steps", func(v *lessonView) bool { return v.awkward(PlaceSteps) || v.level(clinical.Steps) >= 2 }},
	{"car", func(v *lessonView) bool { return v.awkward(PlaceCar) }},
	{"bed", func(v *lessonView) bool { return v.awkward(PlaceBed) || v.level(clinical.Night) >= 1 }},
	{"nails", func(v *lessonView) bool { return v.awkward(PlaceNails) || v.awkward(PlaceFloors) }},
	{"bowls", func(v *lessonView) bool { return v.awkward(PlaceBowls) }},
	{"garden", func(v *lessonView) bool { return v.awkward(PlaceGarden) }},
	{"other_pets", func(v *lessonView) bool { return v.awkward(PlacePets) }},
	{"getting_up", func(v *lessonView) bool { return v.level(clinical.Rising) >= 2 }},
	{"lifting", func(v *lessonView) bool { return v.level(clinical.Rising) >= 3 || v.level(clinical.Steps) >= 3 }},
	{"treats", func(v *lessonView) bool { return v.d.onLossPlan() }},
	{"weighing", func(v *lessonView) bool { return v.d.onLossPlan() }},
	{"kitchen_scale", func(v *lessonView) bool { return v.d.onLossPlan() }},
	{"everyone", func(v *lessonView) bool { return v.d.onLossPlan() && len(v.d.Weights) > 1 }},
	{"hydrotherapy", func(v *lessonView) bool { return v.does(AreaTherapy, "hydro", "water", "swim", "pool") }},
	{"after_session", func(v *lessonView) bool { return v.does(AreaTherapy) }},
	{"exercises", func(v *lessonView) bool { return v.d.reminds(RemindExercises) }},
	{"ask_supplement", func(v *lessonView) bool { return v.does(AreaSupplement) || v.d.elsewhere() }},
	{"warm_up", func(v *lessonView) bool { return v.level(clinical.Walking) >= 1 || v.does(AreaActivity) }},
	{"short_walks", func(v *lessonView) bool { return v.level(clinical.Walking) >= 2 || v.does(AreaActivity) }},
	{"good_day", func(v *lessonView) bool { return v.level(clinical.Limping) >= 2 }},
	{"ball", func(v *lessonView) bool { return v.level(clinical.Limping) >= 1 }},
	{"sniffing", func(v *lessonView) bool { return v.level(clinical.Walking) >= 2 }},
	{"harness", func(v *lessonView) bool { return v.level(clinical.Walking) >= 2 && v.level(clinical.Steps) >= 1 }},
	{"nights", func(v *lessonView) bool { return v.level(clinical.Night) >= 2 }},
	{"hands_over", func(v *lessonView) bool { return v.level(clinical.Soreness) >= 1 }},
	{"paws", func(v *lessonView) bool { return v.awkward(PlaceFloors) }},
	{"ramp", func(v *lessonView) bool { return v.awkward(PlaceCar) && v.checked >= 6 }},
	{"heat", func(v *lessonView) bool { return v.month >= time.June && v.month <= time.August }},
	{"cold", func(v *lessonView) bool { return v.month >= time.November || v.month <= time.February }},
	{"signs_of_pain", func(v *lessonView) bool { return v.checked >= 2 }},
	{"film", func(v *lessonView) bool { return v.checked >= 4 }},
	{"muscle", func(v *lessonView) bool { return v.d.Muscle >= 2 || v.checked >= 8 }},
	{"days_and_months", func(v *lessonView) bool { return v.checked >= 8 }},
	{"one_question", func(v *lessonView) bool { return v.checked >= 10 }},
}

// Lessons lists the names of all lessons, as the script "lesson" has them.
func Lessons() []string {
	list := make([]string, len(lessons))
	for i, l := range lessons {
		list[i] = l.id
	}
	return list
}

// level is the latest answer to an item, 0 where there is none.
func (v *lessonView) level(i clinical.Item) clinical.Level {
	if l := v.last[i]; l.Answered() {
		return l
	}
	return 0
}

// awkward reports whether a place at home still waits to be mended.
func (v *lessonView) awkward(p Place) bool {
	return slices.ContainsFunc(v.d.House, func(h HomeTask) bool { return h.Place == p && h.State == TaskOpen })
}

// does reports whether something in an area is going on, by the name of which
// one of the words is part; without words, anything.
func (v *lessonView) does(a Area, words ...string) bool {
	return slices.ContainsFunc(v.d.Plan, func(e Entry) bool {
		if e.Area != a || e.Status != Active {
			return false
		}
		return len(words) == 0 || slices.ContainsFunc(words, func(w string) bool { return strings.Contains(lower(e.What), w) })
	})
}

// reminds reports whether a reminder of a kind is going on.
func (d *Dog) reminds(k ReminderKind) bool {
	found := false
	d.eachReminder(func(_ *Entry, m *Reminder) { found = found || m.Kind == k })
	return found
}

// elsewhere reports whether something is given that this practice did not give.
func (d *Dog) elsewhere() bool {
	return slices.ContainsFunc(d.Plan, func(e Entry) bool { return e.Status == Active && e.Source != FromHere })
}

// lessonFor is the next lesson that fits a dog and the household has not had,
// "" for none.
func (t *turn) lessonFor(dog int8) string {
	d := &t.h.Dogs[dog]
	last, ok := d.Course.Last()
	if !ok {
		return "" // what fits is not known before a first check-in
	}
	v := &lessonView{d: d, last: last.Items, checked: int(d.Done), month: t.season()}
	for _, l := range lessons {
		if !t.hadLesson(l.id) && l.fits(v) {
			return l.id
		}
	}
	return ""
}

func (t *turn) hadLesson(id string) bool {
	return slices.ContainsFunc(t.h.Lessons, func(g GivenLesson) bool { return g.ID == id })
}

// season is the month as the northern half of the earth has it.
func (t *turn) season() time.Month {
	m, zone := t.today().Month, t.zone().String()
	for _, south := range []string{"Australia/", "Antarctica/", "Pacific/Auckland", "Africa/Johannesburg", "Africa/Windhoek",
		"America/Argentina/", "America/Santiago", "America/Montevideo"} {
		if strings.HasPrefix(zone, south) {
			return (m+5)%12 + 1
		}
	}
	return m
}

// placeLesson places the household's next lesson, where one fits.
func (t *turn) placeLesson(dog int8) {
	every := t.r.Extras.Lesson
	if every == 0 || t.h.Dogs[dog].placed(PromptLesson) || t.lessonFor(dog) == "" {
		return
	}
	from := t.consentDay()
	if n := len(t.h.Lessons); n > 0 {
		from = dayOf(t.h.Lessons[n-1].At, t.zone())
	}
	t.placeExtra(dog, PromptLesson, from+int32(max(every, leastBetweenLessons)))
}

// giveLesson sends the lesson that fits now, unless another dog's has had the
// week.
func (t *turn) giveLesson(contact, dog int8) {
	id := t.lessonFor(dog)
	if n := len(t.h.Lessons); id == "" || n > 0 && dayNumber(t.today())-dayOf(t.h.Lessons[n-1].At, t.zone()) < leastBetweenLessons {
		return
	}
	if t.sayStep(contact, dog, ForPrompt, string(PromptLesson), id) == "" {
		return
	}
	t.h.Lessons = append(slices.Clip(t.h.Lessons), GivenLesson{ID: id, At: t.at})
	t.note(FactPrompt, dog, "sent", slot(PromptLesson, dog, t.today()))
}
