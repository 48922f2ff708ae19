package clinical

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// ErrTooFew is returned where there is not enough data for a figure.
var ErrTooFew = errors.New("too few readings")

// ErrNoSpread is returned where all values are equal, so that a ratio of spreads
// has no meaning.
var ErrNoSpread = errors.New("all readings are equal")

// Alpha is Cronbach's alpha of a covariance matrix of items: k/(k−1) · (1 − trace ÷
// sum) (Cronbach, Psychometrika 1951;16:297-334). Errors wrap ErrTooFew for fewer
// than two items and ErrNoSpread for a sum that is not above 0.
func Alpha(covariance [][]float64) (float64, error) {
	k := len(covariance)
	if k < 2 {
		return 0, fmt.Errorf("alpha needs two items: %w", ErrTooFew)
	}
	var trace, sum float64
	for i, row := range covariance {
		if len(row) != k {
			return 0, fmt.Errorf("row %d has %d columns, not %d: %w", i+1, len(row), k, ErrTooFew)
		}
		trace += row[i]
		for _, v := range row {
			sum += v
		}
	}
	if !(sum > 0) {
		return 0, fmt.Errorf("alpha: %w", ErrNoSpread)
	}
	f := float64(k)
	return f / (f - 1) * (1 - trace/sum), nil
}

// Covariance is the covariance matrix of items given as columns of equal length
// (one value per subject).
func Covariance(columns [][]float64) [][]float64 {
	m := make([][]float64, len(columns))
	for i := range columns {
		m[i] = make([]float64, len(columns))
		for k := range columns {
			m[i][k] = stat.Covariance(columns[i], columns[k], nil)
		}
	}
	return m
}

// WithoutItem is a covariance matrix with one item left out.
func WithoutItem(covariance [][]float64, item int) [][]float64 {
	var m [][]float64
	for i, row := range covariance {
		if i == item {
			continue
		}
		r := append([]float64{}, row[:item]...)
		m = append(m, append(r, row[item+1:]...))
	}
	return m
}

// Agreement is a two-way analysis of variance of subjects by occasions, and the
// intraclass correlations made of it (Shrout and Fleiss, Psychol Bull
// 1979;86:420-428). Correlations can be below 0 where subjects hardly differ.
type Agreement struct {
	Subjects, Occasions int

	Between  float64 // mean square between subjects
	Within   float64 // mean square within subjects
	Occasion float64 // mean square between occasions
	Error    float64 // residual mean square

	OneWay   float64 // ICC(1,1): occasions are not the same for all subjects
	Random   float64 // ICC(2,1): a sample of occasions, absolute agreement
	Fixed    float64 // ICC(3,1): these occasions, consistency
	OneWayK  float64 // the same three for the mean of all occasions
	RandomK  float64
	FixedK   float64
	Standard float64 // standard error of measurement, √Error
}

// AgreementOf analyses rows of subjects, each with one value per occasion. Errors
// wrap ErrTooFew for fewer than two subjects or occasions or a ragged table, and
// ErrNoSpread where everything is equal.
func AgreementOf(rows [][]float64) (Agreement, error) {
	a := Agreement{Subjects: len(rows)}
	if a.Subjects < 2 || len(rows[0]) < 2 {
		return a, fmt.Errorf("agreement needs two subjects and two occasions: %w", ErrTooFew)
	}
	a.Occasions = len(rows[0])
	for i, r := range rows {
		if len(r) != a.Occasions {
			return a, fmt.Errorf("subject %d has %d occasions, not %d: %w", i+1, len(r), a.Occasions, ErrTooFew)
		}
	}
	a.meanSquares(rows)
	n, k := float64(a.Subjects), float64(a.Occasions)
	one := a.Between + (k-1)*a.Within
	two := a.Between + (k-1)*a.Error + k*(a.Occasion-a.Error)/n
	three := a.Between + (k-1)*a.Error
	twoK := a.Between + (a.Occasion-a.Error)/n
	if !(one > 0) || !(three > 0) || !(a.Between > 0) || !(two > 0) || !(twoK > 0) {
		return a, fmt.Errorf("agreement: %w", ErrNoSpread)
	}
	a.OneWay = (a.Between - a.Within) / one
	a.Random = (a.Between - a.Error) / two
	a.Fixed = (a.Between - a.Error) / three
	a.OneWayK = (a.Between - a.Within) / a.Between
	a.RandomK = (a.Between - a.Error) / twoK
	a.FixedK = (a.Between - a.Error) / a.Between
	a.Standard = math.Sqrt(a.Error)
	return a, nil
}

func (a *Agreement) meanSquares(rows [][]float64) {
	n, k := float64(a.Subjects), float64(a.Occasions)
	grand := 0.0
	occasion := make([]float64, a.Occasions)
	for _, r := range rows {
		for c, v := range r {
			grand += v / (n * k)
			occasion[c] += v / n
		}
	}
	var between, occasions, within float64
	for _, r := range rows {
		m, _ := Mean(r)
		between += k * (m - grand) * (m - grand)
		for _, v := range r {
			within += (v - m) * (v - m)
		}
	}
	for _, m := range occasion {
		occasions += n * (m - grand) * (m - grand)
	}
	a.Between = between / (n - 1)
	a.Within = within / (n * (k - 1))
	a.Occasion = occasions / (k - 1)
	a.Error = max(0, (within-occasions)/((n-1)*(k-1)))
}

// Repeatability is the noise of one reading within a subject, from repeated
// readings of many subjects under unchanged conditions (Bland and Altman, Lancet
// 1986;i:307-310).
type Repeatability struct {
	Within      float64 // within-subject standard deviation, units of the data
	Low, High   float64 // its 95 % confidence limits (chi-squared)
	Coefficient float64 // 1.96·√2·Within: two readings differ by less, 19 times of 20
	OneWay      float64 // ICC(1,1), subjects may have unequal numbers of readings
	Subjects    int     // with two readings or more
	Readings    int     // of those subjects
}

// RepeatabilityOf works it out; each row is one subject, and rows of fewer than two
// readings are passed by. Errors wrap ErrTooFew without two usable subjects.
func RepeatabilityOf(rows [][]float64) (Repeatability, error) {
	var r Repeatability
	var within, sum, squares float64
	var usable [][]float64
	for _, row := range rows {
		if len(row) < 2 {
			continue
		}
		usable = append(usable, row)
		r.Subjects++
		r.Readings += len(row)
		squares += float64(len(row) * len(row))
		m, _ := Mean(row)
		for _, v := range row {
			sum += v
			within += (v - m) * (v - m)
		}
	}
	if r.Subjects < 2 {
		return r, fmt.Errorf("repeatability needs two subjects with two readings each: %w", ErrTooFew)
	}
	n, k := float64(r.Readings), float64(r.Subjects)
	df := n - k
	ms := within / df
	r.Within = math.Sqrt(ms)
	chi := distuv.ChiSquared{K: df}
	r.Low, r.High = math.Sqrt(within/chi.Quantile(0.975)), math.Sqrt(within/chi.Quantile(0.025))
	r.Coefficient = SmallestDetectable(r.Within)
	between := 0.0
	for _, row := range usable {
		m, _ := Mean(row)
		between += float64(len(row)) * (m - sum/n) * (m - sum/n)
	}
	between /= k - 1
	n0 := (n - squares/n) / (k - 1) // mean readings per subject, for unequal numbers
	if d := between + (n0-1)*ms; d > 0 {
		r.OneWay = (between - ms) / d
	}
	return r, nil
}

// Limits are the limits of agreement of two ways of measuring, in the data's
// units: the mean of the differences first − second, their standard deviation, and
// mean ± 1.96 SD.
type Limits struct{ Mean, SD, Low, High float64 }

// LimitsOfAgreement works them out from pairs (Bland and Altman 1986). Errors wrap
// ErrTooFew for fewer than two pairs.
func LimitsOfAgreement(first, second []float64) (Limits, error) {
	if len(first) != len(second) || len(first) < 2 {
		return Limits{}, fmt.Errorf("limits of agreement need two pairs: %w", ErrTooFew)
	}
	d := make([]float64, len(first))
	for i := range d {
		d[i] = first[i] - second[i]
	}
	mean, sd := stat.MeanStdDev(d, nil)
	return Limits{Mean: mean, SD: sd, Low: mean - 1.96*sd, High: mean + 1.96*sd}, nil
}

// WeightedKappa is the agreement of two raters beyond chance (Cohen, Psychol Bull
// 1968;70:213-220). table holds counts or proportions; disagreement the weight of
// each kind of disagreement, 0 on the diagonal. Errors wrap ErrTooFew for tables
// that are not square and alike, and ErrNoSpread where chance alone cannot disagree.
func WeightedKappa(table, disagreement [][]float64) (float64, error) {
	k := len(table)
	if k < 2 || len(disagreement) != k {
		return 0, fmt.Errorf("kappa needs two square tables of one size: %w", ErrTooFew)
	}
	rows, cols := make([]float64, k), make([]float64, k)
	total := 0.0
	for i := range table {
		if len(table[i]) != k || len(disagreement[i]) != k {
			return 0, fmt.Errorf("kappa: row %d: %w", i+1, ErrTooFew)
		}
		for c, v := range table[i] {
			rows[i] += v
			cols[c] += v
			total += v
		}
	}
	var observed, chance float64
	for i := range table {
		for c, w := range disagreement[i] {
			observed += w * table[i][c] * total
			chance += w * rows[i] * cols[c]
		}
	}
	if !(chance > 0) {
		return 0, fmt.Errorf("kappa: %w", ErrNoSpread)
	}
	return 1 - observed/chance, nil
}

// DistanceWeights are disagreement weights |i − k|^power for k categories: 1 linear,
// 2 quadratic; 0 gives unweighted kappa.
func DistanceWeights(categories int, power float64) [][]float64 {
	w := make([][]float64, categories)
	for i := range w {
		w[i] = make([]float64, categories)
		for k := range w[i] {
			if i != k {
				w[i][k] = math.Pow(math.Abs(float64(i-k)), power)
			}
		}
	}
	return w
}
