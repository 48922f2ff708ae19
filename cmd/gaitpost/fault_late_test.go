package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/fake/smsprovider"
)

// The scheduler was down for three hours in which everybody's invitation fell
// due. Afterwards each goes out once, and never faster than the number may send.
func TestAfterThreeHoursDownNothingComesInABurst(t *testing.T) {
	t.Parallel()
	const owners = 25
	w := newWorld(t)
	w.apps = nil
	w.rewrite("rate: 100", "rate: 1")
	w.newApp(w.client)
	w.clock.to(london(t, "2026-03-03 05:00")) // quiet: they wait for the morning
	var list strings.Builder
	list.WriteString("households:\n")
	for i := range owners {
		fmt.Fprintf(&list, "  - owner: Ruth\n    phone: 07700 900%d\n    dogs:\n      - dog: Bramble\n", 500+i)
	}
	w.enrol(list.String())
	w.clock.to(london(t, "2026-03-03 11:00"))
	for range 3 * owners {
		w.settle()
		w.clock.advance(time.Second)
	}
	perSecond, perOwner := map[int64]int{}, map[string]int{}
	for _, m := range w.provider.Ledger() {
		if m.Direction == smsprovider.OutboundAPI {
			perSecond[m.Created.Unix()]++
			perOwner[m.To]++
		}
	}
	require.Len(t, perOwner, owners)
	for number, n := range perOwner {
		require.Equal(t, 1, n, number)
	}
	for at, n := range perSecond {
		require.LessOrEqual(t, n, 1, time.Unix(at, 0))
	}
}
