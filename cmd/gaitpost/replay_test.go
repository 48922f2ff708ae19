package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/store"
)

// A household's log, decided again turn by turn, gives the same household: its
// alerts, its dogs' courses, its conversations.
func TestReplayingTheLogGivesTheSameAlerts(t *testing.T) {
	t.Parallel()
	w := demoAfter(t, 8)
	cases, total, err := w.turns.Caseload(t.Context(), w.rules.Clinic, 0, 100)
	require.NoError(t, err)
	require.Greater(t, total, 30)
	alerts, turns := 0, 0
	for _, c := range cases {
		log, err := w.turns.ReadLog(t.Context(), w.rules.Clinic, c.ID, 0, 10_000)
		require.NoError(t, err)
		again, err := store.Replay(w.rules, c.ID, log)
		require.NoError(t, err)
		stored, err := w.turns.Load(t.Context(), w.rules.Clinic, c.ID)
		require.NoError(t, err)
		require.ElementsMatch(t, stored.Household.Alerts, again.Alerts)
		for i, d := range stored.Household.Dogs {
			require.Equal(t, d.Course, again.Dogs[i].Course)
			require.Equal(t, d.Due, again.Dogs[i].Due)
			require.ElementsMatch(t, d.Plan, again.Dogs[i].Plan)
			require.ElementsMatch(t, d.Weights, again.Dogs[i].Weights)
		}
		for i, c := range stored.Household.Contacts {
			require.Equal(t, c.Consent, again.Contacts[i].Consent)
			require.Equal(t, c.Talk.Open, again.Contacts[i].Talk.Open)
		}
		proof, err := w.turns.Prove(t.Context(), w.rules, c.ID)
		require.NoError(t, err)
		require.Empty(t, proof.Differences)
		require.Equal(t, len(log), proof.Redecided)
		alerts += len(again.Alerts)
		turns += len(log)
	}
	require.Positive(t, alerts)
	require.Greater(t, turns, 1000, "a replay of nothing would pass")
}
