package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
)

type startOptions struct {
	dogs, rounds int
	program      string
}

func newStartCmd() *cobra.Command {
	var o startOptions
	cmd := &cobra.Command{
		Use:   "start",
		Short: "Measure how long the service takes to be ready with many dogs stored",
		Long: `Start starts two redis-servers of its own, one with many dogs stored and one with
none, without a file since storing them is not what is measured. It then starts the
program's serve on each in turn and measures from the start of the process until
/readyz says that it is ready.

ratio is the time with many in terms of the time with none, each between two of
the latter.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return measureStart(cmd.Context(), cmd.OutOrStdout(), o)
		},
	}
	f := cmd.Flags()
	f.IntVar(&o.dogs, "dogs", 1_000_000, "how many dogs are stored")
	f.IntVar(&o.rounds, "rounds", 7, "how many pairs of starts")
	f.StringVar(&o.program, "program", "", "the gaitpost program; built from the source beside it where it is not given")
	return cmd
}

// startResult is the last line of the measure.
type startResult struct {
	Bench   string  `json:"bench"`
	Ratio   float64 `json:"ratio"`
	Ratios  spread  `json:"ratio_spread"`
	ManyMs  spread  `json:"ready_ms"`
	NoneMs  spread  `json:"ready_with_none_ms"`
	Dogs    int     `json:"dogs"`
	Rounds  int     `json:"rounds"`
	Seconds float64 `json:"wall_seconds"`
}

func measureStart(ctx context.Context, out io.Writer, o startOptions) error {
	began := time.Now()
	if o.dogs < 16 || o.rounds < 1 {
		return errors.New("want at least 16 dogs and 1 round")
	}
	none, err := newGround(ctx, "--appendonly", "no")
	if err != nil {
		return err
	}
	defer none.close()
	if o.program == "" {
		o.program = filepath.Join(none.dir, "gaitpost")
		if text, err := exec.CommandContext(ctx, "go", "build", "-o", o.program, "gaitpost/cmd/gaitpost").CombinedOutput(); err != nil {
			return fmt.Errorf("building the program: %w: %s", err, text)
		}
	}
	many, err := enrol(ctx, o.dogs)
	if err != nil {
		return err
	}
	defer many.close()
	fmt.Fprintf(out, "%d dogs stored, set up in %.1f s\n", o.dogs, time.Since(began).Seconds())
	pairs, err := compare(ctx, o.rounds, variant{"none", none.starts(o.program)}, variant{"many", many.starts(o.program)})
	if err != nil {
		return err
	}
	res := startResult{Bench: "start", Dogs: o.dogs, Rounds: o.rounds}
	var ratios []float64
	for _, p := range pairs["many"] {
		ratios = append(ratios, 1/p.ratio()) // of times, not of rates
	}
	_, _, with, without := split(pairs["many"])
	res.Ratios, res.ManyMs, res.NoneMs = spreadOf(ratios), figuresOf(with).P50ms, figuresOf(without).P50ms
	res.Ratio = res.Ratios.Median
	res.Seconds = time.Since(began).Seconds()
	fmt.Fprintf(out, "ready after %.0f ms, with none stored after %.0f ms: ratio %.2f, quartiles %.2f to %.2f\n",
		res.ManyMs.Median, res.NoneMs.Median, res.Ratio, res.Ratios.Q1, res.Ratios.Q3)
	return last(out, res)
}

// starts measures one start of the program on a ground.
func (g *ground) starts(program string) func(context.Context) (outcome, error) {
	return func(ctx context.Context) (outcome, error) {
		took, err := g.start(ctx, program)
		return outcome{sent: 1, perSecond: 1 / took.Seconds(), p50: took, p99: took}, err
	}
}

// readyWithin is the longest that a start may take.
const readyWithin = 30 * time.Second

func (g *ground) start(ctx context.Context, program string) (time.Duration, error) {
	settings := filepath.Join(g.dir, "hillside.yaml")
	if err := os.WriteFile(settings, []byte(benchSettings), 0o600); err != nil {
		return 0, err
	}
	ctx, cancel := context.WithTimeout(ctx, readyWithin)
	defer cancel()
	cmd := exec.CommandContext(ctx, program, "serve", "--listen", "127.0.0.1:0", "--metrics-listen", "", "--allow-volatile")
	cmd.Env = append(os.Environ(), "GAITPOST_CONFIG="+settings, "GAITPOST_REDIS_URL="+g.redis.URL(),
		"GAITPOST_CONTACT_KEY="+benchSecret, "TOKEN="+benchToken)
	log, err := cmd.StderrPipe()
	if err != nil {
		return 0, err
	}
	began := time.Now()
	if err := cmd.Start(); err != nil {
		return 0, fmt.Errorf("starting the program: %w", err)
	}
	defer func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}()
	addr, err := listening(log)
	if err != nil {
		return 0, err
	}
	go func() { _, _ = io.Copy(io.Discard, log) }()
	for ctx.Err() == nil {
		resp, err := http.Get("http://" + addr + "/readyz")
		if err == nil {
			_ = resp.Body.Close()
			if resp.StatusCode == http.StatusOK {
				return time.Since(began), nil
			}
		}
	}
	return 0, errors.New("the program was not ready in time")
}

// listening reads the program's log until it says where it takes requests.
func listening(log io.Reader) (string, error) {
	var line string
	lines := bufio.NewScanner(log)
	for lines.Scan() {
		line = lines.Text()
		var entry struct{ Msg, For, Address string }
		if json.Unmarshal(lines.Bytes(), &entry) == nil && entry.Msg == "listening" && entry.For == "requests" {
			return entry.Address, nil
		}
	}
	return "", fmt.Errorf("the program ended: %s", line)
}
