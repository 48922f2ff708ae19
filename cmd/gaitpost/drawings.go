package main

import (
	"fmt"
	"html/template"

	"gaitpost/internal/chart"
	"gaitpost/internal/clinical"
	"gaitpost/internal/desk"
)

// drawings gives the desk the pictures of package chart. The tables that belong
// to them are the desk's own.
func drawings() desk.Drawings {
	return desk.Drawings{Index: indexDrawing, Weight: weightDrawing, Trend: trendDrawing}
}

// svg marks a drawing as safe to put into a page: package chart escapes every
// word that goes into it.
func svg(s string, _ chart.Table) template.HTML { return template.HTML(s) }

// indexDrawing is the index, and under it its two halves.
func indexDrawing(in desk.IndexInput) template.HTML {
	out := chart.IndexInput{Title: in.Title, Zone: in.Zone, From: in.From, To: in.To,
		Threshold: in.Threshold, Detectable: in.SDC}
	for _, p := range in.Points {
		out.Points = append(out.Points, chart.Point{At: p.At, Value: p.Index, Scored: p.Scored, Missed: p.Missed,
			Before: p.Before, Same: p.Carried, Alert: p.Alert,
			Pain: p.Pain, Mobility: p.Mobility, HasPain: p.HasPain, HasMobility: p.HasMob})
	}
	for _, b := range in.Baselines {
		out.Baselines = append(out.Baselines, chart.Baseline{From: b.From, To: b.To, Value: b.Value, Weak: b.Kind.Wide()})
	}
	for _, m := range in.Changes {
		out.Changes = append(out.Changes, chart.Event(m))
	}
	for _, s := range in.Bedding {
		out.Settling = append(out.Settling, chart.Span(s))
	}
	whole := svg(chart.Index(out))
	out.Title = "Pain and mobility apart"
	return whole + svg(chart.Halves(out))
}

func weightDrawing(in desk.WeightInput) template.HTML {
	out := chart.WeightInput{Title: in.Title, Zone: in.Zone, Target: in.Judged.Target.Grams.Kilograms(), Slow: in.Low, Fast: in.High}
	for _, w := range in.WeighIns {
		out.WeighIns = append(out.WeighIns, chart.WeighIn{At: w.At, Kg: w.Grams.Kilograms(), Home: w.Scale == clinical.Home})
	}
	if in.OnPlan {
		out.StartAt, out.Start = in.PlanFrom, in.Judged.Start.Kilograms()
		for _, m := range in.Judged.Milestones {
			out.Milestones = append(out.Milestones, chart.Milestone{Kg: m.Grams.Kilograms(), Label: fmt.Sprintf("%.3g %% lost", m.Percent)})
		}
	}
	return svg(chart.Weight(out))
}

func trendDrawing(in desk.TrendInput) template.HTML {
	out := chart.TrendInput{Zone: in.Zone, Baseline: in.Baseline, HasBaseline: in.HasBaseline}
	for _, p := range in.Points {
		out.Points = append(out.Points, chart.TrendPoint{At: p.At, Value: p.Index, Scored: true})
	}
	return svg(chart.Trend(out))
}
