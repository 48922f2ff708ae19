package redistest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
)

const slots = 16384

// Cluster is a Redis Cluster on this machine.
type Cluster struct {
	Servers  []*Server // the masters, those that were promoted included
	Replicas []*Server // by their master's place
}

// StartCluster starts a cluster and stops it when the test ends.
func StartCluster(t testing.TB, masters int) *Cluster {
	t.Helper()
	c, err := RunCluster(t.TempDir(), masters)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Stop)
	return c
}

// RunCluster is StartCluster for callers that are no test.
func RunCluster(dir string, masters int) (*Cluster, error) {
	c := &Cluster{}
	for i := range masters {
		s, err := runNode(dir, i)
		if err != nil {
			c.Stop()
			return nil, err
		}
		c.Servers = append(c.Servers, s)
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if err := c.join(ctx); err != nil {
		c.Stop()
		return nil, err
	}
	return c, nil
}

// runNode starts the i-th server of a cluster, which knows no other yet.
func runNode(dir string, i int) (*Server, error) {
	return Run(dir,
		"--cluster-enabled", "yes", "--cluster-node-timeout", "2000",
		"--cluster-config-file", fmt.Sprintf("nodes-%d.conf", i),
		"--appenddirname", fmt.Sprintf("aof-%d", i),
		"--repl-diskless-sync-delay", "0",
		"--logfile", filepath.Join(dir, fmt.Sprintf("redis-%d.log", i)))
}

// join shares the slots out and waits until every master knows of all.
func (c *Cluster) join(ctx context.Context) error {
	host, port, _ := net.SplitHostPort(c.Servers[0].Addr)
	each := slots / len(c.Servers)
	for i, s := range c.Servers {
		node := redis.NewClient(&redis.Options{Addr: s.Addr})
		defer node.Close()
		last := (i+1)*each - 1
		if i == len(c.Servers)-1 {
			last = slots - 1
		}
		err := errors.Join(
			node.Do(ctx, "CLUSTER", "SET-CONFIG-EPOCH", i+1).Err(),
			node.ClusterAddSlotsRange(ctx, i*each, last).Err(),
		)
		if i > 0 {
			err = errors.Join(err, node.ClusterMeet(ctx, host, port).Err())
		}
		if err != nil {
			return fmt.Errorf("joining the cluster: %w", err)
		}
	}
	for _, s := range c.Servers {
		if err := s.awaitCluster(ctx, len(c.Servers)); err != nil {
			return err
		}
	}
	return nil
}

func (s *Server) awaitCluster(ctx context.Context, masters int) error {
	node := redis.NewClient(&redis.Options{Addr: s.Addr})
	defer node.Close()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		info, err := node.ClusterInfo(ctx).Result()
		if err == nil && strings.Contains(info, "cluster_state:ok") &&
			strings.Contains(info, fmt.Sprintf("cluster_size:%d", masters)) {
			return nil
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return fmt.Errorf("the cluster was not whole within %s", patience)
		}
	}
}

// Client returns a client of the cluster, closed when the test ends.
func (c *Cluster) Client(t testing.TB) *redis.ClusterClient {
	t.Helper()
	addrs := make([]string, len(c.Servers))
	for i, s := range c.Servers {
		addrs[i] = s.Addr
	}
	client := redis.NewClusterClient(&redis.ClusterOptions{Addrs: addrs})
	t.Cleanup(func() { _ = client.Close() })
	return client
}

// URL is the cluster's address as a setting gives it.
func (c *Cluster) URL() string {
	u := c.Servers[0].URL()
	for i, s := range c.Servers[1:] {
		u += string("?&"[min(i, 1)]) + "addr=" + s.Addr
	}
	return strings.Replace(u, "/0?", "?", 1)
}

// Stop ends every server of the cluster.
func (c *Cluster) Stop() {
	for _, s := range append(c.Servers, c.Replicas...) {
		s.Stop()
	}
}
