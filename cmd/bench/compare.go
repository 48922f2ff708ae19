package main

import (
	"cmp"
	"context"
	"math/rand/v2"
	"slices"
	"time"
)

// variant is one thing to be measured.
type variant struct {
	name string
	run  func(ctx context.Context) (outcome, error)
}

// pair is one burst of a variant between two of the base.
type pair struct {
	variant, before, after outcome
}

// ratio is the variant's throughput in terms of the base's around it.
func (p pair) ratio() float64 {
	return p.variant.perSecond / ((p.before.perSecond + p.after.perSecond) / 2)
}

// p99Ratio is the same of the 99th percentile of latency.
func (p pair) p99Ratio() float64 {
	return float64(p.variant.p99) / (float64(p.before.p99+p.after.p99) / 2)
}

// compare measures every variant between two bursts of the base, in a random
// order each round.
func compare(ctx context.Context, rounds int, base variant, variants ...variant) (map[string][]pair, error) {
	pairs := map[string][]pair{}
	before, err := base.run(ctx)
	if err != nil {
		return nil, err
	}
	for range rounds {
		for _, i := range rand.Perm(len(variants)) {
			v := variants[i]
			got, err := v.run(ctx)
			if err != nil {
				return nil, err
			}
			after, err := base.run(ctx)
			if err != nil {
				return nil, err
			}
			pairs[v.name] = append(pairs[v.name], pair{got, before, after})
			before = after
		}
	}
	return pairs, nil
}

// spread is a median with its quartiles.
type spread struct {
	Median float64 `json:"median"`
	Q1     float64 `json:"q1"`
	Q3     float64 `json:"q3"`
}

func spreadOf(values []float64) spread {
	v := slices.Clone(values)
	slices.SortFunc(v, cmp.Compare[float64])
	return spread{quantile(v, .5), quantile(v, .25), quantile(v, .75)}
}

// quantile interpolates between sorted values.
func quantile(v []float64, q float64) float64 {
	at := q * float64(len(v)-1)
	i := int(at)
	if i+1 >= len(v) {
		return v[len(v)-1]
	}
	return v[i] + (v[i+1]-v[i])*(at-float64(i))
}

// figures are one side's throughput and latency.
type figures struct {
	PerSecond spread `json:"per_second"`
	P50ms     spread `json:"p50_ms"`
	P99ms     spread `json:"p99_ms"`
	// CPUus is what this process, servers and load together, needs for a request.
	CPUus spread `json:"cpu_us"`
	// RedisUs is what Redis needs for it.
	RedisUs spread `json:"redis_cpu_us"`
}

func figuresOf(all []outcome) figures {
	var rate, p50, p99, cpu, redis []float64
	for _, o := range all {
		rate = append(rate, o.perSecond)
		p50 = append(p50, float64(o.p50)/float64(time.Millisecond))
		p99 = append(p99, float64(o.p99)/float64(time.Millisecond))
		cpu = append(cpu, float64(o.cpu)/float64(time.Microsecond))
		redis = append(redis, float64(o.redis)/float64(time.Microsecond))
	}
	return figures{spreadOf(rate), spreadOf(p50), spreadOf(p99), spreadOf(cpu), spreadOf(redis)}
}

// perRequest is the processor time of a request, Redis' included, µs.
func (f figures) perRequest() float64 { return f.CPUus.Median + f.RedisUs.Median }
