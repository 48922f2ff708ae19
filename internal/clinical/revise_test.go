package clinical_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/clinical"
)

const revisedWeek = 7 * 24 * 3600

// revisedAt is the instant of the i-th weekly check-in.
func revisedAt(i int) int64 { return 1_770_000_000 + int64(i)*revisedWeek }

func revisedReading(i int, l clinical.Level) clinical.Reading {
	r := clinical.Reading{At: revisedAt(i)}
	for k := range r.Items {
		r.Items[k] = l
	}
	return r
}

// course adds weekly check-ins, all items of each at one level, -1 for none that
// week.
func revisedCourse(t *testing.T, levels ...int) clinical.Course {
	t.Helper()
	var c clinical.Course
	c.BeginStretch(revisedAt(0)-3600, false)
	for i, l := range levels {
		if l < 0 {
			continue
		}
		_, err := c.Add(clinical.DefaultThresholds(), revisedReading(i, clinical.Level(l)), false)
		require.NoError(t, err)
	}
	return c
}

// In a first stretch a revised course is the one that would have been.
func TestARevisedCourseIsTheOneThatWouldHaveBeen(t *testing.T) {
	t.Parallel()
	in := func(i int, l clinical.Level) *clinical.Reading { r := revisedReading(i, l); return &r }
	for _, c := range []struct {
		name     string
		was, now []int
		v        clinical.Revision
	}{
		{"put in between", []int{1, 1, -1, 1, 2, 3}, []int{1, 1, 2, 1, 2, 3}, clinical.Revision{In: in(2, 2)}},
		{"corrected", []int{1, 4, 1, 1, 2}, []int{1, 2, 1, 1, 2}, clinical.Revision{Out: revisedAt(1), In: in(1, 2)}},
		{"the newest corrected", []int{1, 1, 1, 4}, []int{1, 1, 1, 1}, clinical.Revision{Out: revisedAt(3), In: in(3, 1)}},
		{"withdrawn", []int{1, 4, 1, 1, 2}, []int{1, -1, 1, 1, 2}, clinical.Revision{Out: revisedAt(1)}},
		{"the newest withdrawn", []int{1, 1, 1, 4}, []int{1, 1, 1, -1}, clinical.Revision{Out: revisedAt(3)}},
		{"the only one withdrawn", []int{3}, []int{-1}, clinical.Revision{Out: revisedAt(0)}},
		{"into a full baseline", []int{1, 1, 1, -1, 1, 1, 1, 1, 1, 2, 2}, []int{1, 1, 1, 2, 1, 1, 1, 1, 1, 2, 2}, clinical.Revision{In: in(3, 2)}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, want := revisedCourse(t, c.was...), revisedCourse(t, c.now...)
			j, err := got.Revise(clinical.DefaultThresholds(), c.v)
			require.NoError(t, err)
			require.Equal(t, want.Readings(), got.Readings())
			require.Equal(t, want.Baseline(clinical.DefaultThresholds()), got.Baseline(clinical.DefaultThresholds()))
			require.InDelta(t, want.Now.EWMA, got.Now.EWMA, 1e-9)
			want.Now.Met, got.Now.Met = 0, 0 // a reading that counted as one of an alert still does
			require.Equal(t, want.Now, got.Now)
			if last, ok := want.Last(); ok {
				require.Equal(t, last.At, j.At)
			} else {
				require.Nil(t, j)
			}
		})
	}
}

func TestRevisionsThatCannotBe(t *testing.T) {
	t.Parallel()
	long := make([]int, 30)
	in := func(i int) *clinical.Reading { r := revisedReading(i, 1); return &r }
	stretched := revisedCourse(t, 1, 1, 1, 1)
	stretched.BeginStretch(revisedAt(2)+3600, true)
	for _, c := range []struct {
		name   string
		course clinical.Course
		v      clinical.Revision
		want   error
	}{
		{"nothing of that time", revisedCourse(t, 1, 1), clinical.Revision{Out: revisedAt(1) + 1}, clinical.ErrNoReading},
		{"a day that has one", revisedCourse(t, 1, 1), clinical.Revision{In: in(0)}, clinical.ErrSameDay},
		{"before the last change", stretched, clinical.Revision{Out: revisedAt(1)}, clinical.ErrEarlierStretch},
		{"put in before the last change", stretched, clinical.Revision{In: in(-1)}, clinical.ErrEarlierStretch},
		{"a long course", revisedCourse(t, long...), clinical.Revision{Out: revisedAt(20)}, clinical.ErrForgotten},
		{"a course said to be longer", revisedCourse(t, 1, 1, 1), clinical.Revision{Out: revisedAt(1), Incomplete: true}, clinical.ErrForgotten},
		{"out of range", revisedCourse(t, 1, 1), clinical.Revision{Out: revisedAt(1), In: func() *clinical.Reading { r := revisedReading(1, 5); return &r }()}, clinical.ErrLevel},
	} {
		before := c.course
		_, err := c.course.Revise(clinical.DefaultThresholds(), c.v)
		require.ErrorIs(t, err, c.want, c.name)
		require.Equal(t, before, c.course, c.name)
	}
}

// A check-in on paper from before enrolment is kept, and belongs to no baseline.
func TestAReadingFromBeforeTheFirstStretchIsPutIn(t *testing.T) {
	t.Parallel()
	c := revisedCourse(t, 1, 1, 1)
	early := revisedReading(-1, 4)
	_, err := c.Revise(clinical.DefaultThresholds(), clinical.Revision{In: &early})
	require.NoError(t, err)
	require.Len(t, c.Readings(), 4)
	require.Equal(t, 25.0, c.Baseline(clinical.DefaultThresholds()).Value)
}

// The newest reading of a long course can always be changed, since its traces
// are known; so can any of a stretch that is remembered whole.
func TestALongCourseIsRevisedAtItsEndAndInItsStretch(t *testing.T) {
	t.Parallel()
	levels := make([]int, 30)
	for i := range levels {
		levels[i] = 1 + i%2
	}
	got := revisedCourse(t, levels...)
	in := revisedReading(29, 4)
	levels[29] = 4
	want := revisedCourse(t, levels...)
	_, err := got.Revise(clinical.DefaultThresholds(), clinical.Revision{Out: revisedAt(29), In: &in})
	require.NoError(t, err)
	require.Equal(t, want, got)

	_, err = got.Revise(clinical.DefaultThresholds(), clinical.Revision{Out: revisedAt(29)})
	require.NoError(t, err)
	last, _ := got.Last()
	require.False(t, last.Index.Scored, "it stays as one without answers")

	got.BeginStretch(revisedAt(29)+3600, true)
	for i := 30; i < 36; i++ {
		_, err := got.Add(clinical.DefaultThresholds(), revisedReading(i, 2), false)
		require.NoError(t, err)
	}
	b := got.Old
	_, err = got.Revise(clinical.DefaultThresholds(), clinical.Revision{Out: revisedAt(31)})
	require.NoError(t, err)
	require.Equal(t, b, got.Old, "what was before the stretch stays")
	require.Len(t, got.Readings(), 25)
}
