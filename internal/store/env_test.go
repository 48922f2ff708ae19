package store

import (
	"context"
	"fmt"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/store/redistest"
)

const secret = "an invented secret of the tests"

// Servers that the tests of this package share; each test begins with none of
// the others' data.
var shared struct {
	dir     string
	once    [3]sync.Once
	server  *redistest.Server
	cluster *redistest.Cluster
	heirs   *redistest.Cluster // a master died, and its replica took over
	err     [3]error
}

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "store")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	shared.dir = dir
	code := m.Run()
	if shared.server != nil {
		shared.server.Stop()
	}
	for _, c := range []*redistest.Cluster{shared.cluster, shared.heirs} {
		if c != nil {
			c.Stop()
		}
	}
	_ = os.RemoveAll(dir)
	os.Exit(code)
}

// realServer is a client of an emptied real server.
func realServer(t testing.TB) *redis.Client {
	shared.once[0].Do(func() {
		_ = os.Mkdir(shared.dir+"/one", 0o700)
		shared.server, shared.err[0] = redistest.Run(shared.dir + "/one")
	})
	require.NoError(t, shared.err[0])
	c := shared.server.Client(t)
	require.NoError(t, c.FlushAll(context.Background()).Err())
	return c
}

// realCluster is a client of an emptied cluster of three masters.
func realCluster(t testing.TB) *redis.ClusterClient {
	shared.once[1].Do(func() {
		_ = os.Mkdir(shared.dir+"/three", 0o700)
		shared.cluster, shared.err[1] = redistest.RunCluster(shared.dir+"/three", 3)
	})
	require.NoError(t, shared.err[1])
	return emptied(t, shared.cluster)
}

// failedOver is a client of an emptied cluster, one of whose masters was killed
// and followed by its replica.
func failedOver(t testing.TB) *redis.ClusterClient {
	shared.once[2].Do(func() {
		_ = os.Mkdir(shared.dir+"/six", 0o700)
		if shared.heirs, shared.err[2] = redistest.RunReplicated(shared.dir+"/six", 3); shared.err[2] == nil {
			shared.err[2] = shared.heirs.FailOver(1)
		}
	})
	require.NoError(t, shared.err[2])
	return emptied(t, shared.heirs)
}

func emptied(t testing.TB, cluster *redistest.Cluster) *redis.ClusterClient {
	c := cluster.Client(t)
	flush := func(ctx context.Context, m *redis.Client) error { return m.FlushAll(ctx).Err() }
	require.NoError(t, c.ForEachMaster(context.Background(), flush))
	return c
}

func standIn(t testing.TB) *redis.Client {
	c := redis.NewClient(&redis.Options{Addr: miniredis.RunT(t).Addr()})
	t.Cleanup(func() { _ = c.Close() })
	return c
}

func hasher(t testing.TB, key string) *contact.Hasher {
	h, err := contact.NewHasher([]byte(key))
	require.NoError(t, err)
	return h
}

// openOn opens a store whose turns are those of plainTurn.
func openOn(t testing.TB, c redis.UniversalClient) *Store {
	s, err := Open(context.Background(), Options{Client: c, Hasher: hasher(t, secret), AllowVolatile: true})
	require.NoError(t, err)
	s.turn, s.lineTurn = plainTurn, plainLine
	return s
}

// onEach runs a test on a real server, a real cluster, one after a failover, and
// the stand-in that the demo uses.
func onEach(t *testing.T, f func(t *testing.T, s *Store)) {
	t.Run("server", func(t *testing.T) { f(t, openOn(t, realServer(t))) })
	t.Run("cluster", func(t *testing.T) { f(t, openOn(t, realCluster(t))) })
	t.Run("failed-over", func(t *testing.T) { f(t, openOn(t, failedOver(t))) })
	t.Run("stand-in", func(t *testing.T) { f(t, openOn(t, standIn(t))) })
}

// onReal is onEach without the stand-in, for what that can't do.
func onReal(t *testing.T, f func(t *testing.T, s *Store)) {
	t.Run("server", func(t *testing.T) { f(t, openOn(t, realServer(t))) })
	t.Run("cluster", func(t *testing.T) { f(t, openOn(t, realCluster(t))) })
	t.Run("failed-over", func(t *testing.T) { f(t, openOn(t, failedOver(t))) })
}

// Invented people and numbers (Ofcom's range for drama).
var (
	rules = &care.Rules{Clinic: "hillside"}
	noon  = time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)
	ruth  = contact.Address{Channel: contact.SMS, Value: "+447700900101"}
	owen  = contact.Address{Channel: contact.SMS, Value: "+447700900102"}
)

func owner(n int) contact.Address {
	return contact.Address{Channel: contact.SMS, Value: fmt.Sprintf("+4477009%05d", n)}
}

func says(from contact.Address, key, text string) care.Event {
	return care.Event{Key: key, At: noon, Message: &care.MessageIn{From: from, Via: "texts", ID: key, Text: text}}
}

func enrols(a contact.Address) care.Event {
	return care.Event{Key: "enrol/" + a.Value, At: noon, Practice: &care.Practice{
		By: "lee", Enrol: &care.Enrolment{Owner: care.Owner{Name: "Ruth", Address: a, Via: "texts"}},
	}}
}

// plainTurn is a decider that uses everything a turn can: it answers each
// message, keeps the words, and wants to be asked again in an hour. "help!"
// raises an alert; an enrolment makes the household one of the practice's.
func plainTurn(r *care.Rules, h care.Household, e care.Event) care.Result {
	if h.Seen.Has(e.Key) {
		return care.Result{Household: h, Reason: care.Repeated}
	}
	h.Seq++
	h.Seen = h.Seen.With(e.Key, 5)
	res := care.Result{Reason: care.Answered, Next: e.At.Add(time.Hour)}
	switch {
	case e.Message != nil:
		res.Facts = []care.Fact{{Kind: care.FactWords, Text: e.Message.Text, ID: e.Message.ID}, {Kind: care.FactAnswer, Code: "night", Number: 2}}
		res.Send = []care.Message{{
			ID: fmt.Sprintf("%s-%x", h.ID, h.Seq), To: e.Message.From, Via: "texts", Text: "Thank you.",
			Purpose: care.ForReply, NotAfter: e.At.Add(12 * time.Hour),
		}}
		if e.Message.Text == "help!" {
			h.AlertSeq++
			a := care.Alert{N: h.AlertSeq, Dog: -1, Reason: care.RedFlag, Urgency: care.Now, Opened: e.At.Unix(), Updated: e.At.Unix(), Sentence: "An invented sentence."}
			h.Alerts = append(slices.Clone(h.Alerts), a)
			res.Rank = 1000
			res.Notices = []care.Notice{{Key: fmt.Sprintf("%s/%d", h.ID, a.N), To: "lee", At: e.At, What: care.NoticeNew, Item: care.Item{Household: h.ID, Alert: a.N, Sentence: a.Sentence}}}
		}
	case e.Practice != nil && e.Practice.Enrol != nil:
		h.Stranger, h.Enrolled = false, e.At.Unix()
		h.Contacts = slices.Clone(h.Contacts)
		h.Contacts[0].Name = e.Practice.Enrol.Owner.Name
		res.Reason = care.PracticeDone
	case e.Tick != nil:
		res.Reason = care.Prompted
		res.Next = time.Time{}
	}
	res.Household = h
	return res
}

// plainLine is a decider of a line that answers everything, and turns "ack"
// into one command.
func plainLine(r *care.Rules, l care.Line, e care.LineEvent) care.LineResult {
	if slices.Contains(l.Seen, e.Key) {
		return care.LineResult{Line: l, Reason: care.Repeated}
	}
	l.Seq++
	l.Seen = append(slices.Clone(l.Seen), e.Key)
	res := care.LineResult{Reason: care.PracticeDone}
	if e.Notice != nil {
		l.NextNumber++
		l.Numbers = append(slices.Clone(l.Numbers), care.Numbered{N: l.NextNumber, Item: e.Notice.Item})
	}
	if e.Text != nil && e.Text.Text == "ack" {
		i := l.Numbers[0].Item
		res.Commands = []care.Command{{Household: i.Household, Event: care.Event{
			Key: "ack/" + e.Key, At: e.At, Practice: &care.Practice{By: l.Practitioner, Ack: &care.AlertAction{Alert: i.Alert}},
		}}}
	}
	res.Send = []care.Message{{ID: fmt.Sprintf("line-%d", l.Seq), To: owen, Via: "texts", Text: "1 Bramble", Purpose: care.ForStaff}}
	res.Line = l
	return res
}

// do is Do that must go well.
func do(t testing.TB, s *Store, a contact.Address, e care.Event) care.Result {
	t.Helper()
	res, err := s.Do(context.Background(), rules, s.ID(rules.Clinic, a), e)
	require.NoError(t, err)
	return res
}

// readAll reads what nobody has had yet from every partition.
func readAll(t testing.TB, s *Store, q Queue, consumer string) []Entry {
	t.Helper()
	var all []Entry
	for _, span := range s.Spans() {
		got, err := s.Read(context.Background(), Take{Queue: q, Partitions: span, Consumer: consumer, Max: 1000})
		require.NoError(t, err)
		all = append(all, got...)
	}
	return all
}

// dump is everything that is stored, by key, expiry left out.
func dump(t testing.TB, s *Store) map[string]string {
	t.Helper()
	ctx := context.Background()
	all := map[string]string{}
	for _, k := range allKeys(t, s) {
		switch typ := s.rdb.Type(ctx, k).Val(); typ {
		case "string":
			all[k] = s.rdb.Get(ctx, k).Val()
		case "list":
			all[k] = fmt.Sprint(s.rdb.LRange(ctx, k, 0, -1).Val())
		case "zset":
			all[k] = fmt.Sprint(s.rdb.ZRangeWithScores(ctx, k, 0, -1).Val())
		case "stream":
			all[k] = fmt.Sprint(s.rdb.XRange(ctx, k, "-", "+").Val())
		case "hash":
			all[k] = fmt.Sprint(s.rdb.HGetAll(ctx, k).Val())
		default:
			t.Fatalf("key %s has the unforeseen type %s", k, typ)
		}
	}
	return all
}

func allKeys(t testing.TB, s *Store) []string {
	t.Helper()
	ctx := context.Background()
	var mu sync.Mutex
	var keys []string
	require.NoError(t, s.eachMaster(ctx, func(ctx context.Context, c redis.Cmdable) error {
		got, err := c.Keys(ctx, "*").Result()
		mu.Lock()
		defer mu.Unlock()
		keys = append(keys, got...)
		return err
	}))
	slices.Sort(keys)
	return keys
}
