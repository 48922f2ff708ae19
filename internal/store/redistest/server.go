// Package redistest starts real Redis servers for tests: one server, or a
// cluster, on free ports of this machine, keeping their data in the test's own
// directory. A test that needs one fails with a sentence where redis-server is
// not installed.
package redistest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
)

// ErrMissing says that there is no redis-server to start.
var ErrMissing = errors.New("redis-server is not installed; these tests need a real one (Debian and Ubuntu: apt-get install redis-server)")

// patience is how long a server may take until it answers.
const patience = 20 * time.Second

// Server is one running redis-server.
type Server struct {
	Addr string // host:port

	dir   string
	args  []string
	cmd   *exec.Cmd
	alive io.Closer // closing it ends the watcher, which ends the server
}

// Start starts a server that keeps an append-only file, and stops it when the
// test ends. args are further settings, as redis-server takes them.
func Start(t testing.TB, args ...string) *Server {
	t.Helper()
	s, err := Run(t.TempDir(), args...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Stop)
	return s
}

// Run is Start for callers that are no test, such as TestMain: data goes to
// dir, and the caller stops the server.
func Run(dir string, args ...string) (*Server, error) {
	if _, err := exec.LookPath("redis-server"); err != nil {
		return nil, ErrMissing
	}
	var err error
	for range 5 { // another process may take the free port first
		s := &Server{dir: dir, args: args}
		if s.Addr, err = freeAddr(); err != nil {
			return nil, err
		}
		if err = s.start(); err == nil {
			return s, nil
		}
	}
	return nil, err
}

func freeAddr() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", fmt.Errorf("finding a free port: %w", err)
	}
	defer l.Close()
	return l.Addr().String(), nil
}

func (s *Server) start() error {
	_, port, _ := net.SplitHostPort(s.Addr)
	args := append([]string{
		"--port", port, "--bind", "127.0.0.1", "--dir", s.dir, "--save", "",
		"--appendonly", "yes", "--appendfsync", "everysec", "--auto-aof-rewrite-percentage", "0",
		"--logfile", filepath.Join(s.dir, "redis.log"), "--daemonize", "no",
	}, s.args...)
	s.cmd = exec.Command("redis-server", args...)
	if err := s.cmd.Start(); err != nil {
		return fmt.Errorf("starting redis-server: %w", err)
	}
	ended := make(chan struct{})
	go func(c *exec.Cmd) { _ = c.Wait(); close(ended) }(s.cmd)
	s.watch()
	if err := s.await(ended); err != nil {
		s.Stop()
		return err
	}
	return nil
}

// watch lets the server end with this process, however that ends: a shell
// waits for the end of its input, which this process holds open.
func (s *Server) watch() {
	w := exec.Command("sh", "-c", "read x; kill -9 "+strconv.Itoa(s.cmd.Process.Pid)+" 2>/dev/null")
	in, err := w.StdinPipe()
	if err != nil || w.Start() != nil {
		return
	}
	go func() { _ = w.Wait() }()
	s.alive = in
}

// await polls until the server answers and has its data loaded.
func (s *Server) await(ended <-chan struct{}) error {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for {
		if answers(s.Addr) {
			return nil
		}
		select {
		case <-tick.C:
		case <-ended:
			return fmt.Errorf("redis-server ended at once: %s", s.lastWords())
		case <-ctx.Done():
			return fmt.Errorf("redis-server did not answer within %s: %s", patience, s.lastWords())
		}
	}
}

// answers asks by hand: a client would log every attempt.
func answers(addr string) bool {
	c, err := net.DialTimeout("tcp", addr, time.Second)
	if err != nil {
		return false
	}
	defer c.Close()
	reply := make([]byte, 5)
	if _, err := c.Write([]byte("PING\r\n")); err != nil {
		return false
	}
	_, err = io.ReadFull(c, reply)
	return err == nil && string(reply) == "+PONG" // not while it loads its data
}

func (s *Server) lastWords() string {
	b, _ := os.ReadFile(filepath.Join(s.dir, "redis.log"))
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	return lines[len(lines)-1]
}

// Client returns a client of the server, closed when the test ends.
func (s *Server) Client(t testing.TB) *redis.Client {
	t.Helper()
	c := redis.NewClient(&redis.Options{Addr: s.Addr, PoolSize: 64})
	t.Cleanup(func() { _ = c.Close() })
	return c
}

// URL is the server's address as a setting gives it.
func (s *Server) URL() string { return "redis://" + s.Addr + "/0" }

// Kill ends the server at once, as kill -9 does: what it had not written is lost.
func (s *Server) Kill() {
	if s.cmd == nil {
		return
	}
	_ = s.cmd.Process.Kill()
	s.gone()
	s.cmd = nil
	if s.alive != nil {
		_ = s.alive.Close()
		s.alive = nil
	}
}

// gone waits until the port is free again.
func (s *Server) gone() {
	tick := time.NewTicker(2 * time.Millisecond)
	defer tick.Stop()
	for range tick.C {
		c, err := net.DialTimeout("tcp", s.Addr, time.Second)
		if err != nil {
			return
		}
		_ = c.Close()
	}
}

// PID is the running server's process id.
func (s *Server) PID() int { return s.cmd.Process.Pid }

// Pause lets the server hang: connections stay, and nothing is answered until
// Resume. A paused server can be killed.
func (s *Server) Pause() error { return s.cmd.Process.Signal(syscall.SIGSTOP) }

// Resume lets a paused server go on.
func (s *Server) Resume() error { return s.cmd.Process.Signal(syscall.SIGCONT) }

// Restart starts a killed server again, with its data, at the same address.
func (s *Server) Restart(t testing.TB) {
	t.Helper()
	if err := s.start(); err != nil {
		t.Fatal(err)
	}
}

// Stop ends the server.
func (s *Server) Stop() { s.Kill() }
