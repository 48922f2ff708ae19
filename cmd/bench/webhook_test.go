package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A short form of the measure: it runs whole, every request is taken, and its
// last line can be read. Its figures mean nothing.
func TestWebhookInShort(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, measureWebhook(context.Background(), &out, webhookOptions{
		rounds: 1, conns: 16, households: 2000, burst: 200 * time.Millisecond, repeats: 1,
	}))
	lines := strings.Split(strings.TrimSpace(out.String()), "\n")
	var res webhookResult
	require.NoError(t, json.Unmarshal([]byte(lines[len(lines)-1]), &res))
	require.Positive(t, res.Ratio)
	require.Positive(t, res.P99Ratio)
	require.Positive(t, res.Webhook.PerSecond.Median)
	require.Positive(t, res.Bare.P99ms.Median)
	require.NotNil(t, res.Duplicates)
	require.Positive(t, res.DuplicateRatio)
	require.Positive(t, res.SharedRatio)
	require.Positive(t, res.CPURatio)
	require.InDelta(t, 2, res.RoundTrips, 0, "load and commit")
	for reason := range res.Reasons {
		require.Contains(t, []string{"answered", "finished", "asked-again"}, reason, "every message answers what is asked")
	}
	require.NotZero(t, res.Reasons["finished"], "some of them end a check-in, which is then scored")
}

func TestTheMeasureRefusesWhatIsTooSmall(t *testing.T) {
	err := measureWebhook(context.Background(), io.Discard, webhookOptions{rounds: 1, conns: 1, households: 10})
	require.ErrorContains(t, err, "2000")
}

func TestAnythingButAYesEndsTheMeasure(t *testing.T) {
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(503) }))
	defer s.Close()
	b := &burst{addr: s.Listener.Addr().String(), conns: 2, last: time.Second,
		reqs: [][]byte{[]byte("POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\n\r\n")}}
	_, err := b.run(context.Background())
	require.ErrorContains(t, err, "503")
}

// Quartiles as R's default (type 7) gives them: quantile(c(1,2,3,4,10)).
func TestSpread(t *testing.T) {
	require.Equal(t, spread{3, 2, 4}, spreadOf([]float64{10, 1, 3, 2, 4}))
	require.Equal(t, spread{2.5, 1.75, 3.25}, spreadOf([]float64{4, 3, 2, 1}))
	require.Equal(t, spread{7, 7, 7}, spreadOf([]float64{7}))
}

func TestEveryVariantStandsBetweenTwoOfTheBase(t *testing.T) {
	var ran []string
	v := func(name string) variant {
		return variant{name, func(context.Context) (outcome, error) {
			ran = append(ran, name)
			return outcome{perSecond: float64(len(ran)), p99: time.Duration(len(ran))}, nil
		}}
	}
	pairs, err := compare(context.Background(), 3, v("base"), v("a"), v("b"))
	require.NoError(t, err)
	require.Len(t, ran, 13)
	for i, name := range ran {
		require.Equal(t, i%2 == 0, name == "base", ran)
	}
	require.Len(t, pairs["a"], 3)
	for _, p := range pairs["b"] {
		require.InDelta(t, 1, p.ratio(), 1e-9, "a base that drifts evenly cancels out")
	}
}
