// Command bench measures what Gaitpost costs, each measure in one run against a
// base of its own, since absolute figures drift from run to run. The last line
// of each is one JSON object.
package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"

	"github.com/spf13/cobra"
)

// gcPercent is how the service sets the collector.
const gcPercent = 400

func main() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	root := &cobra.Command{
		Use:           "bench",
		Short:         "Measure what the service costs",
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	// One line per measure, in alphabetical order; each lives in its own file.
	root.AddCommand(
		newDeskCmd(),
		newDueCmd(),
		newMemoryCmd(),
		newOutboxCmd(),
		newStartCmd(),
		newWebhookCmd(),
	)
	err := root.ExecuteContext(ctx)
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}
