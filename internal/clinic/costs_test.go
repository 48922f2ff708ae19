package clinic

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
)

func TestCosts(t *testing.T) {
	c, problems := load(t, plain(t)+"costs:\n  currency: GBP\n  sent_segment: 0.042\n  received_segment: 0\n  minutes: {phoned: 6, sent_to_emergency_care: 15, couldnt_reach: 2}\n")
	require.Empty(t, problems)
	costs := c.Rules.Costs
	require.Equal(t, "GBP", costs.Currency)
	require.InDelta(t, 0.042, *costs.Sent, 1e-12)
	require.Zero(t, *costs.Received, "free is a price")
	require.Equal(t, map[care.Outcome]int{care.Phoned: 6, care.SentToEmergency: 15, care.CouldNotReach: 2}, costs.Minutes)
	shown := map[string]string{}
	for _, s := range Explain(c) {
		shown[s.Key] = s.Value
	}
	require.Equal(t, "0.042", shown["costs.sent_segment"])
	require.Equal(t, "0", shown["costs.received_segment"])
	require.Equal(t, "2", shown["costs.minutes.couldnt_reach"])

	none, problems := load(t, plain(t))
	require.Empty(t, problems)
	require.Equal(t, care.Costs{}, none.Rules.Costs)
}

func TestBadCosts(t *testing.T) {
	for text, key := range map[string]string{
		"currency: pounds":                                 "costs.currency",
		"sent_segment: 0.04":                               "costs.sent_segment", // in which currency?
		"currency: GBP\n  sent_segment: -1":                "costs.sent_segment",
		"currency: GBP\n  sent_segment: NaN":               "costs.sent_segment",
		"currency: GBP\n  received_segment: \"0,04\"":      "costs.received_segment",
		"minutes: {phoned: 0}":                             "costs.minutes.phoned",
		"minutes: {booked: 481}":                           "costs.minutes.booked",
		"minutes: {seen: long}":                            "costs.minutes.seen",
		"minutes: {rang: 3}":                               "costs.minutes.rang",
		"minutes:\n    phoned: 3\n    false_alarm: twelve": "costs.minutes.false_alarm",
	} {
		_, problems := load(t, plain(t)+"costs:\n  "+text+"\n")
		require.Len(t, problems, 1, text)
		require.Equal(t, key, problems[0].Key, text)
		require.Equal(t, Wrong, problems[0].Severity, text)
		require.Positive(t, problems[0].Line, text)
	}
}
