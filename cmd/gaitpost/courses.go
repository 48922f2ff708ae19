package main

import (
	"context"

	"gaitpost/internal/care"
	"gaitpost/internal/chart"
	"gaitpost/internal/contact"
	"gaitpost/internal/store"
)

// courses draws the courses of a clinic's dogs for mail.
type courses struct {
	store *store.Store
	rules *care.Rules
}

// picture is a dog's course as PNG, worse upwards as the practitioner's drawings
// have it; no bytes where the dog is gone.
func (c courses) picture(ctx context.Context, household contact.ID, dog int8) ([]byte, error) {
	l, err := c.store.Load(ctx, c.rules.Clinic, household)
	if err != nil {
		return nil, err
	}
	if int(dog) >= len(l.Household.Dogs) || dog < 0 {
		return nil, nil
	}
	d := &l.Household.Dogs[dog]
	base := d.Course.Baseline(c.rules.Thresholds)
	in := chart.PictureInput{Title: d.Name, Zone: c.rules.Zone, Threshold: c.rules.Thresholds.LevelAt, Foot: "Index 0-100, worse upwards. Not a validated instrument."}
	if base.Kind != 0 {
		in.HasBase, in.Baseline = true, base.Value
	}
	for _, r := range d.Course.Readings() {
		in.Points = append(in.Points, chart.Point{At: r.At, Value: float64(r.Index.Total), Scored: r.Index.Scored})
	}
	return chart.Picture(in)
}
