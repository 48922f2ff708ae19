package care

import (
	"fmt"
	"time"

	"gaitpost/internal/clinical"
)

// reviewAfter is when a change meant to help is judged where no review date was
// set: four weeks of bedding-in and as many of check-ins after it.
const reviewAfter = 8 * 7 * 24 * time.Hour

// reviewAt is when an entry is reviewed, Unix seconds.
func (e *Entry) reviewAt() int64 {
	if e.Review != 0 {
		return e.Review
	}
	return e.Started + int64(reviewAfter/time.Second)
}

// Effect compares a dog's index before and after an entry of its plan began.
// Only entries that were expected to change comfort have one.
func (d *Dog) Effect(t clinical.Thresholds, e Entry) clinical.Effect {
	ch := clinical.Change{At: e.Started, Alters: true}
	for _, o := range d.Plan {
		if o.ID == e.ID || !o.wasGiven() {
			continue
		}
		ch.OtherStart = append(ch.OtherStart, o.Started)
		if o.Ended != 0 {
			ch.OtherStart = append(ch.OtherStart, o.Ended)
		}
		if o.Comfort && o.Started > e.Started && (ch.Until == 0 || o.Started < ch.Until) {
			ch.Until = o.Started
		}
		if o.Comfort && o.Started < e.Started && o.Started > ch.Since {
			ch.Since = o.Started
		}
	}
	sigma, _ := d.Course.Sigma(t)
	return clinical.EffectOf(t, sigma, d.Course.Readings(), ch)
}

// judgeGain raises no gain: a change that was meant to help and has not by its
// review, or a dog that stays high.
func (t *turn) judgeGain(dog, contact int8) {
	d, th := &t.h.Dogs[dog], t.thresholds(dog)
	for _, e := range d.Plan {
		if !e.Comfort || e.Status != Active {
			continue
		}
		effect := d.Effect(th, e)
		if clinical.GainByReview(th, effect, e.reviewAt(), t.at) == clinical.NoGainReview {
			t.raise(evidence{dog: dog, reason: NoGain, urgency: ForDigest, contact: contact,
				sentence: fmt.Sprintf("%s was meant to help: mean index %.1f before and %.1f after; %.0f points better would be meaningful",
					e.What, effect.MeanBefore, effect.MeanAfter, th.MeaningfulChange)})
			return
		}
	}
	state, lowest, n := clinical.StaysHigh(th, d.Course.Readings())
	if state == clinical.NoGainStays {
		t.raise(evidence{dog: dog, reason: NoGain, urgency: ForDigest, contact: contact,
			sentence: fmt.Sprintf("index at %.1f or above on %d check-ins over %d weeks", lowest, n, th.StaysWeeks)})
		return
	}
	t.clearReason(dog, NoGain, 0)
}
