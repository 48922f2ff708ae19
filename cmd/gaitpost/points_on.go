//go:build faultpoints

package main

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/http/httptrace"
	"os"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"github.com/redis/go-redis/v9"

	"gaitpost/internal/store"
)

// With the tag faultpoints the program stands still at one named point, says so
// on standard error, and waits to be killed; and its clock may be set. Tests of
// crashes build it so.
//
// A point is what was about to be done or just done, such as "bot/commit
// before". GAITPOST_TEST_POINT names it and the visit it stands still at, as
// "bot/commit before@3"; GAITPOST_TEST_CLOCK is added to the machine's clock.

var (
	awaited, visit, _ = strings.Cut(os.Getenv("GAITPOST_TEST_POINT"), "@")
	visits            atomic.Int32
)

func at(point string) {
	if point != awaited || strconv.Itoa(int(visits.Add(1))) != visit {
		return
	}
	fmt.Fprintf(os.Stderr, "{\"msg\":\"standing at a point\",\"for\":%q}\n", point)
	select {} // until it is killed
}

func clock() func() time.Time {
	shift, _ := time.ParseDuration(cmp.Or(os.Getenv("GAITPOST_TEST_CLOCK"), "0s"))
	return func() time.Time { return time.Now().Add(shift) }
}

type originKey struct{}

// onRequests marks what a request does as the bot's, and a report's as such.
func onRequests(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		origin := "bot"
		if strings.HasSuffix(r.URL.Path, "/status") {
			origin = "report"
		}
		at(origin + "/request before")
		h.ServeHTTP(&pointWriter{w, origin}, r.WithContext(context.WithValue(r.Context(), originKey{}, origin)))
		_ = http.NewResponseController(w).Flush()
		at(origin + "/answer after")
	})
}

type pointWriter struct {
	http.ResponseWriter
	origin string
}

func (w *pointWriter) WriteHeader(status int) {
	at(w.origin + "/answer before")
	w.ResponseWriter.WriteHeader(status)
}

// providerClient makes the provider's requests, past points.
func providerClient() *http.Client {
	return &http.Client{Transport: pointTransport{}}
}

type pointTransport struct{}

func (pointTransport) RoundTrip(r *http.Request) (*http.Response, error) {
	name := "out/send"
	if r.Method == http.MethodGet {
		name = "out/lookup"
	}
	at(name + " before")
	ctx := httptrace.WithClientTrace(r.Context(), &httptrace.ClientTrace{
		WroteRequest: func(httptrace.WroteRequestInfo) { at(name + " written") },
	})
	resp, err := http.DefaultTransport.RoundTrip(r.WithContext(ctx))
	if err == nil {
		at(name + " after")
	}
	return resp, err
}

func onCalls(c redis.UniversalClient) { c.AddHook(pointHook{}) }

type pointHook struct{}

func (pointHook) DialHook(next redis.DialHook) redis.DialHook { return next }

func (pointHook) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error {
		name := nameOfCall(ctx, cmd, "house")
		at(name + " before")
		err := next(ctx, cmd)
		if something(cmd) {
			at(name + " after")
		}
		return err
	}
}

func (pointHook) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		names := map[string]bool{}
		for _, cmd := range cmds {
			names[nameOfCall(ctx, cmd, "due")] = true
		}
		for name := range names {
			at(name + " before")
		}
		err := next(ctx, cmds)
		for _, cmd := range cmds {
			if name := nameOfCall(ctx, cmd, "due"); names[name] && something(cmd) {
				delete(names, name)
				at(name + " after")
			}
		}
		return err
	}
}

// something reports whether a call succeeded and, of those that look for work,
// whether it found any.
func something(cmd redis.Cmder) bool {
	if cmd.Err() != nil {
		return false
	}
	switch c := cmd.(type) {
	case *redis.XStreamSliceCmd:
		return len(c.Val()) > 0
	case *redis.XAutoClaimWithDeletedCmd:
		entries, _, _ := c.Val()
		return len(entries) > 0
	case *redis.Cmd:
		if list, ok := c.Val().([]any); ok {
			return len(list) > 0
		}
		if n, ok := c.Val().(int64); ok {
			return n > 0
		}
	}
	return true
}

// nameOfCall names a call of the store by who makes it and what it does.
func nameOfCall(ctx context.Context, cmd redis.Cmder, by string) string {
	args := make([]string, len(cmd.Args()))
	for i, a := range cmd.Args() {
		args[i], _ = a.(string)
	}
	all := strings.Join(args, " ")
	if origin, ok := ctx.Value(originKey{}).(string); ok {
		by = origin
	}
	switch cmd.Name() {
	case "mget":
		return by + "/load"
	case "xreadgroup":
		return queueOf(all) + "/read"
	case "xautoclaim":
		return queueOf(all) + "/takeover"
	case "evalsha":
		return nameOfScript(store.ScriptOf(args[1]), args, all, by)
	}
	return by + "/" + cmd.Name()
}

func nameOfScript(script string, args []string, all, by string) string {
	switch script {
	case "commit":
		if len(args) > 3 && strings.Contains(args[3], ":line:") {
			return "line/commit"
		}
		return by + "/commit"
	case "claim":
		return "due/claim"
	case "bucket":
		return "out/token"
	}
	return queueOf(all) + "/" + script
}

// queueOf tells the practitioners' queues from a channel's.
func queueOf(args string) string {
	switch {
	case strings.Contains(args, ":out:line"):
		return "line"
	case strings.Contains(args, ":out:house"):
		return "command"
	}
	return "out"
}
