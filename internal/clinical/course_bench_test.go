package clinical

import (
	"math/rand/v2"
	"testing"
)

// BenchmarkCourseAdd is one dog-week through the rules: scoring, baselines, noise
// and all four signals.
func BenchmarkCourseAdd(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 2))
	weeks := make([]Items, 1024)
	for i := range weeks {
		for k := range weeks[i] {
			weeks[i][k] = Level(rng.IntN(5))
		}
	}
	t := DefaultThresholds()
	var c Course
	c.BeginStretch(1_700_000_000, false)
	at := int64(1_700_000_000)
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if _, err := c.Add(t, Reading{At: at, Items: weeks[i%1024]}, false); err != nil {
			b.Fatal(err)
		}
		if at += 7 * secondsPerDay; at > 4_000_000_000 {
			c, at = Course{}, 1_700_000_000
		}
	}
}
