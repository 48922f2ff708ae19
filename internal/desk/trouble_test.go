package desk

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

// What of the service itself has stopped stands on Today, for everybody of that
// practice, until it works again; a page that is open is told.
func TestTodaySaysWhatHasStopped(t *testing.T) {
	t.Parallel()
	b := newBench(t, nil)
	ctx := context.Background()
	stuck := care.Trouble{Kind: care.StuckProvider, Channel: "text", Since: tuesday.Add(-10 * time.Minute)}
	vet := b.signedIn("hillside", account.Vet)
	vet.get("/desk/today").ok().hasNot("#g-trouble")
	before, err := b.desk.watching.today(ctx, "hillside")
	require.NoError(t, err)

	require.NoError(t, b.store.NoteTold(ctx, "hillside", stuck))
	vet.get("/desk/today").ok().has("#g-trouble", "Since Tue 09:50", `the provider of the channel "text" takes none`, "Whoever runs the server has to look")
	b.signedIn("hillside", account.Reception).get("/desk/today").ok().has("#g-trouble li", "Owners may not get")
	b.signedIn("valley", account.Vet).get("/desk/today").ok().hasNot("#g-trouble")
	during, err := b.desk.watching.today(ctx, "hillside")
	require.NoError(t, err)
	require.NotEqual(t, before, during)

	require.NoError(t, b.store.ForgetTold(ctx, "hillside", stuck))
	vet.get("/desk/today").ok().hasNot("#g-trouble")
	after, err := b.desk.watching.today(ctx, "hillside")
	require.NoError(t, err)
	require.Equal(t, before, after)
}
