package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"github.com/spf13/cobra"
)

// readyReads bounds what is read of an answer.
const readyReads = 64 << 10

func newReadyCmd(e env) *cobra.Command {
	var url string
	cmd := &cobra.Command{
		Use:   "ready",
		Short: "Ask a running process whether it can do its work, and what is wrong",
		Long: `Ready asks a process of the service whether it can do its work, and prints what it
says, a sentence a line. It ends with 0 where it is ready and with 1 where it is
not or does not answer, so that containers and monitors can use it.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return askReady(cmd.Context(), e.stdout, url) },
	}
	cmd.Flags().StringVar(&url, "url", "http://127.0.0.1:9090/readyz", "where the process answers (see --metrics-listen)")
	return cmd
}

func askReady(ctx context.Context, out io.Writer, url string) error {
	ctx, cancel := context.WithTimeout(ctx, 2*readyTimeout)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, nil)
	if err != nil {
		return fmt.Errorf("--url is %q; it is like http://127.0.0.1:9090/readyz", url)
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		return fmt.Errorf("nothing answers at %s: it is not running, or its --metrics-listen is another address", url)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(io.LimitReader(resp.Body, readyReads))
	if err != nil {
		return fmt.Errorf("the answer of %s broke off", url)
	}
	fmt.Fprintln(out, strings.TrimSpace(string(text)))
	if resp.StatusCode != http.StatusOK {
		return errors.New("the process can't do its work just now")
	}
	return nil
}
