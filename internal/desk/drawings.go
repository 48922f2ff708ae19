package desk

import (
	"html/template"
	"time"

	"gaitpost/internal/clinical"
)

// Drawings are the pictures that pages hold, made on the server. Each is one
// element of inline SVG without style attributes, since the page's policy
// forbids them; each stands beside a table of the same figures. One that is nil
// is left out, and its table opened.
type Drawings struct {
	Index  func(IndexInput) template.HTML
	Weight func(WeightInput) template.HTML
	Trend  func(TrendInput) template.HTML
}

// IndexInput is what a drawing of the index over time shows.
type IndexInput struct {
	Title  string
	Zone   *time.Location
	From   int64 // Unix seconds, the first and last instant shown
	To     int64
	Points []IndexPoint
	// Baselines are the baselines that held, oldest first, not overlapping.
	Baselines []BaselineSpan
	Threshold float64 // what the mean of two check-ins has to reach, points; 0 unknown
	SDC       float64 // smallest detectable change about the baseline, points
	Changes   []Mark  // changes of plan
	Bedding   []Span  // bedding-in after a change
}

// IndexPoint is one check-in that was asked for.
type IndexPoint struct {
	At       int64
	Missed   bool // not answered: a gap
	Scored   bool
	Index    float64
	Pain     float64
	Mobility float64
	HasPain  bool
	HasMob   bool
	Carried  bool
	Before   bool
	Alert    bool // an alert opened with it
}

// BaselineSpan is a baseline while it held.
type BaselineSpan struct {
	From, To int64
	Value    float64
	Kind     clinical.BaselineKind
}

// Span is a stretch of time.
type Span struct{ From, To int64 }

// Mark is something that happened at an instant, with a short name.
type Mark struct {
	At    int64
	Label string
}

// WeightInput is what a drawing of the weight shows.
type WeightInput struct {
	Title    string
	Zone     *time.Location
	WeighIns []clinical.WeighIn // oldest first
	Judged   clinical.WeightJudgement
	OnPlan   bool
	PlanFrom int64
	// Low and High are the pace aimed at, percent of body weight a week.
	Low, High float64
}

// TrendInput is what the small drawing of a list shows.
type TrendInput struct {
	Points      []TrendPoint
	Baseline    float64
	HasBaseline bool
	Zone        *time.Location
}
