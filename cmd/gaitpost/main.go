// Command gaitpost runs a veterinary practice's text-message check-ins for
// arthritic dogs, and the tools to set them up, try them and check them.
package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"
)

// env is everything a command may touch outside its arguments. Tests hand in
// their own; only main hands in the real ones. The clock is handed down from
// here: no other package reads it.
type env struct {
	stdin  io.Reader
	stdout io.Writer
	stderr io.Writer
	getenv func(string) string
	now    func() time.Time
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], env{
		stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr,
		getenv: os.Getenv, now: clock(),
	})
	stop()
	os.Exit(code)
}

// run executes one command line and returns the process exit code: 0 done,
// 1 the command failed or found problems, and says which on stderr.
func run(ctx context.Context, args []string, e env) int {
	root := newRootCmd(e)
	root.SetArgs(args)
	root.SetIn(e.stdin)
	root.SetOut(e.stdout)
	root.SetErr(e.stderr)
	if err := root.ExecuteContext(ctx); err != nil {
		fmt.Fprintln(e.stderr, "gaitpost:", err)
		return 1
	}
	return 0
}

func newRootCmd(e env) *cobra.Command {
	root := &cobra.Command{
		Use:           "gaitpost",
		Short:         "Weekly text-message check-ins for dogs with osteoarthritis",
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	// One line per command, in alphabetical order; each lives in its own file.
	root.AddCommand(
		newAccountCmd(e),
		newAnswerCmd(e),
		newAuditCmd(e),
		newBackupCmd(e),
		newCadenceCmd(e),
		newCheckConfigCmd(e),
		newContactCmd(e),
		newDemoCmd(e),
		newEnrolCmd(e),
		newEraseCmd(e),
		newExportCmd(e),
		newKeysCmd(e),
		newLostPhoneCmd(e),
		newPlanCmd(e),
		newPlanChangeCmd(e),
		newReadyCmd(e),
		newRegisterHookCmd(e),
		newReliabilityCmd(e),
		newReportCmd(e),
		newRestoreCmd(e),
		newRulesCmd(e),
		newScriptCmd(e),
		newServeCmd(e),
		newSimulateCmd(e),
		newTrendCmd(e),
		newTriageCmd(e),
		newTryCmd(e),
		newWeightCmd(e),
	)
	return root
}
