//go:build long

package main

import (
	"context"
	"fmt"
	"os/exec"
	"regexp"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/store/redistest"
)

// diskDelay is how long every flush to the slow disk takes: longer than the two
// seconds for which Redis holds writes back while one is under way.
const diskDelay = 5 * time.Second

// mayLose is what appendfsync everysec may lose of what was answered, by Redis'
// own documentation of persistence: "in the worst case scenario you can lose
// two seconds".
const mayLose = 2 * time.Second

// With appendfsync everysec and a disk that takes seconds to flush, Redis keeps
// back what it has not written yet. Killed then, it loses at most about the last
// two seconds of what was answered, and no household is half written.
//
// The machine itself stays up here: what had been written and not flushed would
// be lost with it too, and can't be taken away from a running machine.
func TestASlowDiskLosesAtMostTwoSeconds(t *testing.T) {
	strace, err := exec.LookPath("strace")
	if err != nil {
		t.Skip("strace is not installed: without it no disk can be made slow")
	}
	lost, worst := 0, time.Duration(0)
	for range 3 {
		server := redistest.Start(t, "--appendfsync", "everysec")
		s := newStorm(t, server.URL())
		s.launch("")
		before, calm := s.traffic(6)
		s.passes(60)
		quick := slowDisk(t, strace, s, server)
		s.passes(200) // more than is said in two seconds
		s.holdsBack()
		killed := time.Now() // the kill itself takes its time where a flush is under way
		server.Kill()
		quick() // a traced process that was killed keeps its port until it is let go
		calm()
		s.killed(s.up.Load())
		server.Restart(t)
		n, age := s.lostSince(killed, before)
		lost, worst = lost+n, max(worst, age)
		s.whole()
	}
	require.Positive(t, lost, "nothing was lost: the disk was not slow enough to show anything")
	t.Logf("%d answered messages were lost with three kills, the oldest answered %s before", lost, worst.Round(time.Millisecond))
}

// slowDisk makes every flush of a server take long, until the function it returns
// is called.
func slowDisk(t *testing.T, strace string, s *storm, server *redistest.Server) (quick func()) {
	t.Helper()
	cmd := exec.Command(strace, "-f", "-q", "-o", "/dev/null", "-e", "trace=fdatasync,fsync",
		"-e", fmt.Sprintf("inject=fdatasync,fsync:delay_enter=%d", diskDelay.Microseconds()), "-p", strconv.Itoa(server.PID()))
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	var said lockedBuffer
	cmd.Stderr = &said
	require.NoError(t, cmd.Start())
	ended := make(chan struct{})
	go func() { _ = cmd.Wait(); close(ended) }()
	quick = func() { _ = cmd.Process.Kill(); <-ended }
	t.Cleanup(quick)
	s.eventually("the disk is slow", func() bool {
		select {
		case <-ended:
			t.Skipf("strace may not look into other processes here: %s", said.String())
		default:
		}
		return s.persistence("aof_pending_bio_fsync") > 0 || s.nudge()
	})
	return quick
}

// nudge writes something, so that there is something to flush. It is false, for
// whoever waits.
func (s *storm) nudge() bool {
	_ = s.client.Set(s.t.Context(), "a nudge to the disk", 1, time.Hour).Err()
	return false
}

// persistence is one figure of what Redis says of its persistence.
func (s *storm) persistence(name string) int {
	info, err := s.client.Info(s.t.Context(), "persistence").Result()
	if err != nil {
		return 0
	}
	m := regexp.MustCompile(name + `:(\d+)`).FindStringSubmatch(info)
	if m == nil {
		return 0
	}
	n, err := strconv.Atoi(m[1])
	require.NoError(s.t, err)
	return n
}

// holdsBack waits until Redis has for a while kept back what it should write.
func (s *storm) holdsBack() {
	s.t.Helper()
	s.eventually("Redis holds writes back", func() bool { return s.persistence("aof_buffer_length") > 4096 })
}

// traffic lets owners write until calm is called, which gives up on whatever is
// not answered. The list is what each owner wrote and had answered, in order.
func (s *storm) traffic(workers int) (*answered, func()) {
	ctx, cancel := context.WithCancel(s.t.Context())
	list := &answered{by: map[string][]string{}}
	var all sync.WaitGroup
	for i := range workers {
		all.Go(func() {
			for n := 0; ctx.Err() == nil; n++ {
				if !s.owner(ctx, (n+i)%4 == 0) {
					return
				}
			}
		})
	}
	return list, func() {
		cancel()
		all.Wait()
		for _, m := range s.provider.Ledger() {
			if m.Taken {
				list.by[m.From] = append(list.by[m.From], m.SID)
			}
		}
	}
}

// answered are the messages answered 200, by who wrote them.
type answered struct{ by map[string][]string }

// lostSince counts what was answered and is in no log any more, and says how long
// before the kill the oldest of it was answered. Each household
// has lost a last part of what it wrote and nothing before, and that part was
// answered within the time that may be lost.
func (s *storm) lostSince(killed time.Time, a *answered) (lost int, oldest time.Duration) {
	s.t.Helper()
	for number, wrote := range a.by {
		kept := s.logged(number)
		require.LessOrEqual(s.t, len(kept), len(wrote)+1, "one may have been kept whose answer did not get through")
		n := min(len(kept), len(wrote))
		require.True(s.t, slices.Equal(wrote[:n], kept[:n]), "what is kept of %s is a first part of what was written", number)
		for _, sid := range wrote[n:] {
			s.mu.Lock()
			at, known := s.takenAt[sid]
			s.mu.Unlock()
			require.True(s.t, known)
			require.Less(s.t, killed.Sub(at), mayLose+slack, "lost, and answered long before")
			lost, oldest = lost+1, max(oldest, killed.Sub(at))
		}
	}
	require.NotEmpty(s.t, a.by, "nobody wrote anything")
	return lost, oldest
}
