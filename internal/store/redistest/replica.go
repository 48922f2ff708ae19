package redistest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
)

// StartReplica starts a server that follows another, and returns once it has
// all of its data. It ends with the test.
func StartReplica(t testing.TB, of *Server) *Server {
	t.Helper()
	host, port, _ := net.SplitHostPort(of.Addr)
	r := Start(t, "--replicaof", host+" "+port)
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if err := errors.Join(r.awaitInfo(ctx, "master_link_status:up"), of.awaitInfo(ctx, "state=online")); err != nil {
		t.Fatal(err)
	}
	return r
}

// awaitInfo waits until the server says something of its replication.
func (s *Server) awaitInfo(ctx context.Context, want string) error {
	return s.until(ctx, "saying "+want, func(c *redis.Client) bool {
		info, err := c.Info(ctx, "replication").Result()
		return err == nil && strings.Contains(info, want)
	})
}

// until asks a server until an answer satisfies.
func (s *Server) until(ctx context.Context, what string, ok func(*redis.Client) bool) error {
	c := redis.NewClient(&redis.Options{Addr: s.Addr, MaxRetries: -1})
	defer c.Close()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for !ok(c) {
		select {
		case <-tick.C:
		case <-ctx.Done():
			return fmt.Errorf("redis-server was not %s within %s", what, patience)
		}
	}
	return nil
}

// RunReplicated is RunCluster with a replica for every master.
func RunReplicated(dir string, masters int) (*Cluster, error) {
	c, err := RunCluster(dir, masters)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	for i := range masters {
		r, err := runNode(dir, masters+i)
		if err == nil {
			c.Replicas = append(c.Replicas, r)
			err = r.follow(ctx, c.Servers[i], masters)
		}
		if err != nil {
			c.Stop()
			return nil, err
		}
	}
	return c, nil
}

// follow makes a new server of a cluster a master's replica, and waits until it
// has all data.
func (s *Server) follow(ctx context.Context, master *Server, masters int) error {
	m := redis.NewClient(&redis.Options{Addr: master.Addr})
	defer m.Close()
	id, err := m.Do(ctx, "CLUSTER", "MYID").Text()
	if err != nil {
		return fmt.Errorf("asking a master who it is: %w", err)
	}
	host, port, _ := net.SplitHostPort(master.Addr)
	c := redis.NewClient(&redis.Options{Addr: s.Addr})
	defer c.Close()
	if err := c.ClusterMeet(ctx, host, port).Err(); err != nil {
		return fmt.Errorf("joining the cluster: %w", err)
	}
	if err := s.awaitCluster(ctx, masters); err != nil {
		return err
	}
	err = s.until(ctx, "a replica", func(c *redis.Client) bool { return c.ClusterReplicate(ctx, id).Err() == nil })
	if err != nil {
		return err
	}
	return errors.Join(s.awaitInfo(ctx, "master_link_status:up"), master.awaitInfo(ctx, "state=online"))
}

// FailOver kills the i-th master at once and waits until its replica has taken
// its place and the whole cluster serves again.
func (c *Cluster) FailOver(i int) error {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	heir := c.Replicas[i]
	c.Servers[i].Kill()
	if err := heir.awaitInfo(ctx, "role:master"); err != nil {
		return err
	}
	c.Servers[i] = heir
	c.Replicas = append(c.Replicas[:i:i], c.Replicas[i+1:]...)
	for _, s := range c.Servers {
		if err := s.awaitCluster(ctx, len(c.Servers)); err != nil {
			return err
		}
	}
	return nil
}
