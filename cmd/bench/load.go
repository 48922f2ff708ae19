package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"time"
)

// burst is one stretch of load on one server.
type burst struct {
	addr  string
	conns int
	last  time.Duration // how long it lasts at most
	reqs  [][]byte      // whole HTTP requests, each sent once, in order
	// before and after, where set, are called next to the load itself.
	before func() error
	after  func()
}

// outcome is what a burst measured.
type outcome struct {
	sent      int // requests answered; the first so many of the burst's
	perSecond float64
	p50, p99  time.Duration
	cpu       time.Duration // of this process, servers and load, for each request
	redis     time.Duration // of Redis, for each request; where it was measured
}

// run puts the load on. Any answer but 200 is an error: it would measure
// something else. The client writes and reads by hand, so that it takes as
// little as can be of the processors that it shares with the server.
func (b *burst) run(ctx context.Context) (outcome, error) {
	conns := make([]net.Conn, b.conns)
	for i := range conns {
		c, err := net.Dial("tcp", b.addr)
		if err != nil {
			return outcome{}, fmt.Errorf("connecting to the server: %w", err)
		}
		defer c.Close()
		conns[i] = c
	}
	var next atomic.Int64
	took := make([][]time.Duration, b.conns)
	failed := make([]error, b.conns)
	if b.before != nil {
		if err := b.before(); err != nil {
			return outcome{}, err
		}
	}
	used := cpuTime()
	began := time.Now()
	end := began.Add(b.last)
	var wg sync.WaitGroup
	for i, c := range conns {
		took[i] = make([]time.Duration, 0, 2*len(b.reqs)/b.conns)
		wg.Go(func() {
			r := bufio.NewReader(c)
			for at := time.Now(); at.Before(end) && ctx.Err() == nil; {
				n := int(next.Add(1)) - 1
				if n >= len(b.reqs) {
					return
				}
				if failed[i] = exchange(c, r, b.reqs[n]); failed[i] != nil {
					return
				}
				now := time.Now()
				took[i] = append(took[i], now.Sub(at))
				at = now
			}
		})
	}
	wg.Wait()
	elapsed := time.Since(began)
	used = cpuTime() - used
	if b.after != nil {
		b.after()
	}
	if err := errors.Join(append(failed, ctx.Err())...); err != nil {
		return outcome{}, err
	}
	all := slices.Concat(took...)
	if len(all) == 0 {
		return outcome{}, errors.New("nothing was answered")
	}
	slices.Sort(all)
	return outcome{
		sent: len(all), perSecond: float64(len(all)) / elapsed.Seconds(),
		p50: all[len(all)/2], p99: all[len(all)*99/100], cpu: used / time.Duration(len(all)),
	}, nil
}

// cpuTime is how long this process has had a processor, by itself and for it.
// Unlike throughput it says the same on a machine with other work.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// exchange sends one request and reads its answer.
func exchange(c net.Conn, r *bufio.Reader, req []byte) error {
	if _, err := c.Write(req); err != nil {
		return fmt.Errorf("sending a request: %w", err)
	}
	status, length := 0, 0
	for first := true; ; first = false {
		line, err := r.ReadSlice('\n')
		if err != nil {
			return fmt.Errorf("reading an answer: %w", err)
		}
		line = bytes.TrimRight(line, "\r\n")
		switch {
		case first && len(line) > 12:
			status, _ = strconv.Atoi(string(line[9:12]))
		case len(line) == 0:
			if status != 200 {
				return fmt.Errorf("the server answered %d", status)
			}
			_, err := r.Discard(length)
			return err
		case len(line) > 16 && bytes.EqualFold(line[:16], []byte("Content-Length: ")):
			length, _ = strconv.Atoi(string(line[16:]))
		}
	}
}
