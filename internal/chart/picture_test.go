package chart

import (
	"bytes"
	"image/color"
	"image/png"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

func sample(n int, f func(int) float64) []Point {
	var list []Point
	for i := range n {
		list = append(list, Point{At: int64(1772539200 + i*7*oneDay), Value: f(i), Scored: true})
	}
	return list
}

func TestAPictureIsAPNGOfTheSizeThatMessagesTake(t *testing.T) {
	in := PictureInput{Title: "Bramble, since February", Foot: "Not a validated instrument", Upward: true, HasBase: true, Baseline: 40,
		Points: sample(12, func(i int) float64 { return 50 - 3*float64(i) })}
	data, err := Picture(in)
	require.NoError(t, err)
	img, err := png.Decode(bytes.NewReader(data))
	require.NoError(t, err)
	require.Equal(t, 640, img.Bounds().Dx())
	require.Less(t, len(data), 60_000, "small enough for any message")
	again, err := Picture(in)
	require.NoError(t, err)
	require.Equal(t, data, again)
	if to := os.Getenv("GAITPOST_PICTURE"); to != "" {
		require.NoError(t, os.WriteFile(to, data, 0o600))
	}
}

// rowOf is the mean height at which a colour stands within columns.
func rowOf(t *testing.T, data []byte, from, to int, col color.RGBA) float64 {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(data))
	require.NoError(t, err)
	sum, n := 0.0, 0.0
	for x := from; x < to; x++ {
		for y := range img.Bounds().Dy() {
			if r, g, b, _ := img.At(x, y).RGBA(); uint8(r>>8) == col.R && uint8(g>>8) == col.G && uint8(b>>8) == col.B {
				sum, n = sum+float64(y), n+1
			}
		}
	}
	require.Positive(t, n, "the colour is in the picture")
	return sum / n
}

// A dog that gets better must be seen to: upwards for owners, downwards where
// worse is up.
func TestBetterIsUpForOwners(t *testing.T) {
	better := sample(10, func(i int) float64 { return 80 - 7*float64(i) })
	for _, upward := range []bool{true, false} {
		data, err := Picture(PictureInput{Points: better, Upward: upward})
		require.NoError(t, err)
		first, last := rowOf(t, data, pictureLeft, pictureLeft+60, blue), rowOf(t, data, pictureRight-60, pictureRight, blue)
		require.Equal(t, upward, last < first)
	}
}

func TestPicturesOfLittleOrOddData(t *testing.T) {
	for name, points := range map[string][]Point{
		"none": nil, "one": sample(1, func(int) float64 { return 40 }), "out of range": sample(3, func(i int) float64 { return float64(i*200 - 100) }),
		"no number": sample(2, func(int) float64 { return math.NaN() }), "missed": {{At: 1, Missed: true}},
	} {
		data, err := Picture(PictureInput{Title: "Ő 🐶 " + string(bytes.Repeat([]byte("long "), 60)), Points: points, Threshold: 50, HasBase: true})
		require.NoError(t, err, name)
		_, err = png.Decode(bytes.NewReader(data))
		require.NoError(t, err, name)
	}
}
