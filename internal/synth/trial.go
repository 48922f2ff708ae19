package synth

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"gaitpost/internal/care"
)

// Latents are the latent indices of stable dogs, in equal parts.
var Latents = []float64{20, 30, 40}

// TrialReasons are the alert reasons that read the index.
var TrialReasons = []care.AlertReason{care.Level, care.Rise, care.Drift, care.Jump}

var trialSteps = []float64{10, 15, 20, 30}

const (
	missedShare = 0.10
	closedAfter = 7 * 24 * 3600 // s; how long an alert stays open
	week        = 7 * 24 * 3600
	begin       = 1767225600 // 2026-01-01, any Thursday would do
	catchWeeks  = 26         // how long a change may take to be caught
	driftWeeks  = 52
	driftPoints = 20
)

// TrialOptions say what is tried on whom.
type TrialOptions struct {
	Rules    *care.Rules
	Dogs     int // stable ones, and for each change; 3 to 1,000,000
	Weeks    int // a stable dog is followed after its baseline; 12 to 1,040
	Seed     uint64
	Progress func(dogs int) // called from several goroutines
}

// Total is how many dogs a trial runs.
func (o TrialOptions) Total() int { return o.Dogs * (2 + len(trialSteps)) }

// TrialReport is what came of it. Shares are 0 to 1.
type TrialReport struct {
	StableFlaggedShare float64                      `json:"stable_flagged_share"`
	Stable             []StableReport               `json:"stable"`
	AlertsPerDogYear   map[care.AlertReason]float64 `json:"alerts_per_dog_year"`
	Steps              []StepReport                 `json:"steps"`
	Drift              DriftReport                  `json:"drift"`
	DogWeeks           int                          `json:"dog_weeks"`
	DogWeeksPerSecond  float64                      `json:"dog_weeks_per_second"`
}

// StableReport is the burden of stable dogs at one latent index.
type StableReport struct {
	Latent       float64 `json:"latent"`
	CheckIns     int     `json:"check_ins"`
	FlaggedShare float64 `json:"flagged_share"`
}

// StepReport is how a lasting rise is caught: by any of the four reasons, as an
// alert that opens once it has begun. Check-ins are answered ones since then;
// 0 where fewer than so many dogs were caught in half a year.
type StepReport struct {
	Points         float64       `json:"points"`
	Dogs           int           `json:"dogs"`
	CaughtWithin2  float64       `json:"caught_within_2"`
	Caught         float64       `json:"caught"`
	MedianCheckIns float64       `json:"median_checkins"`
	P90CheckIns    float64       `json:"p90_checkins"`
	ByLatent       []LatentCatch `json:"by_latent"`
}

// LatentCatch is the share caught within two at one latent index.
type LatentCatch struct {
	Latent        float64 `json:"latent"`
	CaughtWithin2 float64 `json:"caught_within_2"`
}

// DriftReport is how a slow rise over a year is caught.
type DriftReport struct {
	Points         float64 `json:"points"`
	Weeks          int     `json:"weeks"`
	Dogs           int     `json:"dogs"`
	Caught         float64 `json:"caught"`
	MedianCheckIns float64 `json:"median_checkins"`
	P90CheckIns    float64 `json:"p90_checkins"`
}

// Trial runs the rules on stable dogs, on dogs that worsen by a step and on
// dogs that drift. The same options give the same report, on any number of
// cores.
func Trial(o TrialOptions) (TrialReport, error) {
	if o.Dogs < len(Latents) || o.Dogs > 1_000_000 {
		return TrialReport{}, fmt.Errorf("%d dogs: want 3 to 1000000", o.Dogs)
	}
	if o.Weeks < 12 || o.Weeks > 1040 {
		return TrialReport{}, fmt.Errorf("%d weeks: want 12 to 1040", o.Weeks)
	}
	if o.Progress == nil {
		o.Progress = func(int) {}
	}
	var r TrialReport
	o.stable(&r)
	for i, points := range trialSteps {
		r.Steps = append(r.Steps, o.step(&r, uint64(i)+2, points))
	}
	o.drift(&r)
	return r, nil
}

// each runs one function for every dog of a group, both cores busy. Every dog
// has a generator of its own, so that the order does not matter.
func (o TrialOptions) each(group uint64, run func(i int, rng *rand.Rand)) {
	var wg sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wg.Go(func() {
			done := 0
			for i := w; i < o.Dogs; i += workers {
				run(i, rand.New(rand.NewPCG(o.Seed<<8|group, uint64(i))))
				if done++; done == 100 {
					o.Progress(done)
					done = 0
				}
			}
			o.Progress(done)
		})
	}
	wg.Wait()
}

// life is one simulated dog with the rules that watch it.
type life struct {
	rng    *rand.Rand
	noise  Noise
	latent float64
	watch  *care.Watch
	at     int64
	weeks  int
}

func (o TrialOptions) born(i int, rng *rand.Rand) *life {
	l := &life{rng: rng, noise: QuietNoise(), latent: Latents[i%len(Latents)], watch: care.NewWatch(o.Rules), at: begin}
	for n := 0; n < o.Rules.Thresholds.BaselineN; {
		if _, answered := l.live(0); answered {
			n++
		}
	}
	return l
}

// live lets a week pass with the dog at its latent index plus points, and
// returns what the check-in opened, if there was one.
func (l *life) live(points float64) (opened []care.AlertReason, answered bool) {
	l.at += week
	l.weeks++
	if l.rng.Float64() < missedShare {
		return nil, false
	}
	items := l.noise.Answers(l.rng, l.latent+points)
	opened, _, err := l.watch.CheckIn(l.at, items, closedAfter)
	if err != nil { // the time only moves forward and the items are in range
		panic(err)
	}
	return opened, true
}

// count is what one stable dog gave.
type count struct {
	weeks, checkIns, flagged int
	reasons                  [4]int
}

func (o TrialOptions) stable(r *TrialReport) {
	counts := make([]count, o.Dogs)
	o.each(1, func(i int, rng *rand.Rand) {
		l := o.born(i, rng)
		c := &counts[i]
		for range o.Weeks {
			opened, answered := l.live(0)
			if !answered {
				continue
			}
			c.checkIns++
			if len(opened) > 0 {
				c.flagged++
			}
			for _, reason := range opened {
				c.reasons[slices.Index(TrialReasons, reason)]++
			}
		}
		c.weeks = l.weeks
	})
	r.Stable = make([]StableReport, len(Latents))
	flagged := make([]int, len(Latents))
	total, all := 0, 0
	var reasons [4]int
	for i, c := range counts {
		k := i % len(Latents)
		r.Stable[k].CheckIns += c.checkIns
		flagged[k] += c.flagged
		total += c.checkIns
		all += c.flagged
		r.DogWeeks += c.weeks
		for n := range reasons {
			reasons[n] += c.reasons[n]
		}
	}
	for k := range r.Stable {
		r.Stable[k].Latent = Latents[k]
		r.Stable[k].FlaggedShare = float64(flagged[k]) / float64(r.Stable[k].CheckIns)
	}
	r.StableFlaggedShare = float64(all) / float64(total)
	r.AlertsPerDogYear = map[care.AlertReason]float64{}
	years := float64(o.Dogs) * float64(o.Weeks) / 52.18
	for n, reason := range TrialReasons {
		r.AlertsPerDogYear[reason] = float64(reasons[n]) / years
	}
}

// caughtAfter is how many answered check-ins it took until an alert opened, 0
// for never in so many weeks. An alert that was open when the change began
// catches nothing until it is closed.
func (l *life) caughtAfter(weeks int, points func(week int) float64) int {
	n := 0
	for w := range weeks {
		opened, answered := l.live(points(w))
		if !answered {
			continue
		}
		n++
		if len(opened) > 0 {
			return n
		}
	}
	return 0
}

// settle lets a dog live on unchanged for a while, so that the change does not
// always meet a baseline that has just been made.
func (l *life) settle() {
	for range l.rng.IntN(26) {
		l.live(0)
	}
}

func (o TrialOptions) step(r *TrialReport, group uint64, points float64) StepReport {
	after, weeks := make([]int, o.Dogs), make([]int, o.Dogs)
	o.each(group, func(i int, rng *rand.Rand) {
		l := o.born(i, rng)
		l.settle()
		after[i] = l.caughtAfter(catchWeeks, func(int) float64 { return points })
		weeks[i] = l.weeks
	})
	s := StepReport{Points: points, Dogs: o.Dogs}
	within, dogs := make([]int, len(Latents)), make([]int, len(Latents))
	for i, n := range after {
		r.DogWeeks += weeks[i]
		dogs[i%len(Latents)]++
		if n == 1 || n == 2 {
			within[i%len(Latents)]++
		}
	}
	all := 0
	for k, latent := range Latents {
		all += within[k]
		s.ByLatent = append(s.ByLatent, LatentCatch{latent, float64(within[k]) / float64(dogs[k])})
	}
	s.CaughtWithin2 = float64(all) / float64(o.Dogs)
	s.Caught, s.MedianCheckIns, s.P90CheckIns = quantiles(after)
	return s
}

func (o TrialOptions) drift(r *TrialReport) {
	after, weeks := make([]int, o.Dogs), make([]int, o.Dogs)
	o.each(uint64(len(trialSteps))+2, func(i int, rng *rand.Rand) {
		l := o.born(i, rng)
		after[i] = l.caughtAfter(driftWeeks, func(w int) float64 { return driftPoints * float64(w+1) / driftWeeks })
		weeks[i] = l.weeks
	})
	for _, w := range weeks {
		r.DogWeeks += w
	}
	r.Drift = DriftReport{Points: driftPoints, Weeks: driftWeeks, Dogs: o.Dogs}
	r.Drift.Caught, r.Drift.MedianCheckIns, r.Drift.P90CheckIns = quantiles(after)
}

// quantiles gives the share caught, and the check-ins by which half and nine
// tenths of all dogs were; 0 where that many never were.
func quantiles(after []int) (caught, median, p90 float64) {
	var got []int
	for _, n := range after {
		if n > 0 {
			got = append(got, n)
		}
	}
	slices.Sort(got)
	at := func(share float64) float64 {
		i := int(share*float64(len(after))+0.999999) - 1
		if i < 0 || i >= len(got) {
			return 0
		}
		return float64(got[i])
	}
	return float64(len(got)) / float64(len(after)), at(0.5), at(0.9)
}
