package store

import (
	"context"
	_ "embed"

	"github.com/redis/go-redis/v9"
)

//go:embed scripts/commit.lua
var commitSource string

//go:embed scripts/claim.lua
var claimSource string

//go:embed scripts/forget.lua
var forgetSource string

//go:embed scripts/alias.lua
var aliasSource string

//go:embed scripts/ack.lua
var ackSource string

//go:embed scripts/aside.lua
var asideSource string

//go:embed scripts/retry.lua
var retrySource string

//go:embed scripts/revive.lua
var reviveSource string

//go:embed scripts/consumers.lua
var consumersSource string

//go:embed scripts/bucket.lua
var bucketSource string

var (
	commitScript    = newScript(commitSource)
	claimScript     = newScript(claimSource)
	forgetScript    = newScript(forgetSource)
	aliasScript     = newScript(aliasSource)
	ackScript       = newScript(ackSource)
	asideScript     = newScript(asideSource)
	retryScript     = newScript(retrySource)
	reviveScript    = newScript(reviveSource)
	consumersScript = newScript(consumersSource)
	bucketScript    = newScript(bucketSource)
)

var scripts = []script{commitScript, claimScript, forgetScript, aliasScript, ackScript,
	asideScript, retryScript, reviveScript, consumersScript, bucketScript, resealScript, reasideScript}

// ScriptOf names the script that a digest calls, "" for none of the store's: for
// those who watch the calls of a client.
func ScriptOf(digest string) string {
	names := map[string]script{
		"commit": commitScript, "claim": claimScript, "forget": forgetScript, "alias": aliasScript,
		"ack": ackScript, "aside": asideScript, "retry": retryScript, "revive": reviveScript,
		"consumers": consumersScript, "bucket": bucketScript,
	}
	for name, x := range names {
		if x.digest == digest {
			return name
		}
	}
	return ""
}

// loadScripts gives every master the scripts beforehand, so that the first
// calls are not sent twice.
func (s *Store) loadScripts(ctx context.Context) error {
	for _, x := range scripts {
		if err := s.rdb.ScriptLoad(ctx, x.source).Err(); err != nil {
			return wrap("loading the store's scripts", err)
		}
	}
	return nil
}

// script is a Lua script and the digest it is called by.
type script struct{ source, digest string }

func newScript(source string) script {
	return script{source: source, digest: redis.NewScript(source).Hash()}
}

// call is one run of a script.
type call struct {
	script script
	keys   []string
	args   []any
}

// run calls a script by its digest. A server that does not know it (it was
// restarted, or its scripts flushed) has run nothing, and gets the source.
func (s *Store) run(ctx context.Context, c call) *redis.Cmd {
	cmd := s.rdb.EvalSha(ctx, c.script.digest, c.keys, c.args...)
	if redis.HasErrorPrefix(cmd.Err(), "NOSCRIPT") {
		return s.rdb.Eval(ctx, c.script.source, c.keys, c.args...)
	}
	return cmd
}

// runGathered is run for calls of which many may come at a time: they share
// round trips. Where the context ends first, the call may have been made.
func (s *Store) runGathered(ctx context.Context, c call) *redis.Cmd {
	args := make([]any, 0, 3+len(c.keys)+len(c.args))
	args = append(args, "evalsha", c.script.digest, len(c.keys))
	for _, k := range c.keys {
		args = append(args, k)
	}
	cmd := redis.NewCmd(ctx, append(args, c.args...)...)
	cmd.SetFirstKeyPos(3)
	err := s.gather.do(ctx, cmd)
	switch {
	case err == nil:
		return cmd
	case redis.HasErrorPrefix(err, "NOSCRIPT"):
		return s.rdb.Eval(ctx, c.script.source, c.keys, c.args...)
	}
	failed := redis.NewCmd(ctx) // the other may still be under way
	failed.SetErr(err)
	return failed
}

// runAll calls scripts in one pipeline, in order for any one partition. Each
// reply carries its own error; a pipeline can't fall back by itself, so those
// that met a server without the script are sent again with the source.
func (s *Store) runAll(ctx context.Context, calls []call) []*redis.Cmd {
	cmds := make([]*redis.Cmd, len(calls))
	if len(calls) == 0 {
		return cmds
	}
	// The error of Pipelined is the first command's; each is looked at below.
	_, _ = s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for i, c := range calls {
			cmds[i] = p.EvalSha(ctx, c.script.digest, c.keys, c.args...)
		}
		return nil
	})
	var missing []int
	for i, cmd := range cmds {
		if redis.HasErrorPrefix(cmd.Err(), "NOSCRIPT") {
			missing = append(missing, i)
		}
	}
	if len(missing) == 0 {
		return cmds
	}
	_, _ = s.rdb.Pipelined(ctx, func(p redis.Pipeliner) error {
		for _, i := range missing {
			cmds[i] = p.Eval(ctx, calls[i].script.source, calls[i].keys, calls[i].args...)
		}
		return nil
	})
	return cmds
}
