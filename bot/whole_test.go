package bot_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/alicebob/miniredis/v2"
	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/bot"
	"gaitpost/bot/sms"
	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

// street is everything at once: the stand-in of the provider, the server, the
// sender, the lines and the store, joined as in a real deployment.
type street struct {
	gauges
	provider *smsprovider.Provider
	store    *store.Store
	sender   *bot.Sender
	lines    *bot.Lines
	server   *bot.Server
	rules    *care.Rules
	mu       sync.Mutex
	now      time.Time
}

func (s *street) clock() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

func (s *street) pass(d time.Duration) time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = s.now.Add(d)
	return s.now
}

// toServer lets the provider's posts to the public address reach the server.
type toServer struct{ s *street }

func (t toServer) RoundTrip(r *http.Request) (*http.Response, error) {
	w := httptest.NewRecorder()
	in := r.Clone(r.Context())
	in.RequestURI = r.URL.RequestURI()
	t.s.server.ServeHTTP(w, in)
	return w.Result(), nil
}

func newStreet(t testing.TB, client redis.UniversalClient, change func(*smsprovider.Options)) *street {
	s := &street{gauges: newGauges(t), now: noon, rules: harbour()}
	clock := s.clock
	o := smsprovider.Options{
		Accounts: []smsprovider.Account{{SID: account, Token: token, Numbers: []smsprovider.Number{{E164: ourNumber, Hook: hookURL, Retries: 1}}}},
		Client:   &http.Client{Transport: toServer{s}}, Now: clock, Interim: true,
	}
	if change != nil {
		change(&o)
	}
	var err error
	s.provider, err = smsprovider.New(o)
	require.NoError(t, err)
	api := httptest.NewServer(s.provider)
	t.Cleanup(api.Close)

	s.rules.Scripts, err = dialog.Builtin()
	require.NoError(t, err)
	s.rules.Limits = care.DefaultLimits()
	s.rules.Phone, s.rules.Emergency = "01632 960000", "01632 960111"
	hasher, err := contact.NewHasher([]byte("an invented secret of the tests"))
	require.NoError(t, err)
	s.store, err = store.Open(t.Context(), store.Options{Client: client, Hasher: hasher, AllowVolatile: true})
	require.NoError(t, err)

	ch, err := sms.New(sms.Config{Account: account, AuthToken: token, Number: ourNumber, API: api.URL, PublicURL: hookURL})
	require.NoError(t, err)
	dir, err := bot.NewDirectory(bot.Clinic{Rules: s.rules, Outlets: []bot.Outlet{
		{Name: "texts", Channel: ch, Number: phone(ourNumber), Rate: store.Rate{PerSecond: 100, Burst: 100}},
	}})
	require.NoError(t, err)
	s.server, err = bot.NewServer(bot.ServerOptions{
		Directory: dir, Turns: s.store, Metrics: s.metrics, Log: s.log, Now: clock, Deadline: 3 * time.Second,
	})
	require.NoError(t, err)
	s.sender, err = bot.NewSender(bot.SenderOptions{
		Kind: contact.SMS, Consumer: "sender-1", Directory: dir, Outbox: s.store, Spans: s.store.Spans(),
		Tokens: s.store, Turns: s.store, Metrics: s.metrics, Log: s.log, Now: clock, Timeout: 200 * time.Millisecond,
	})
	require.NoError(t, err)
	s.lines, err = bot.NewLines(bot.LinesOptions{
		Consumer: "lines-1", Directory: dir, Outbox: s.store, Spans: s.store.Spans(),
		Turns: s.store, Metrics: s.metrics, Log: s.log, Now: clock,
	})
	require.NoError(t, err)
	return s
}

func standIn(t testing.TB) *redis.Client {
	c := redis.NewClient(&redis.Options{Addr: miniredis.RunT(t).Addr(), ContextTimeoutEnabled: true})
	t.Cleanup(func() { _ = c.Close() })
	return c
}

// settle lets everything happen that is under way.
func (s *street) settle(t testing.TB) {
	for range 10 {
		n, err := s.lines.Drain(t.Context())
		require.NoError(t, err)
		m, err := s.sender.Drain(t.Context())
		require.NoError(t, err)
		if posted := s.provider.Advance(t.Context(), s.pass(10*time.Second)); n+m+posted == 0 {
			return
		}
	}
}

func (s *street) texts(t testing.TB, from contact.Address, text string) smsprovider.Delivery {
	d, err := s.provider.From(t.Context(), smsprovider.Text{From: from.Value, To: ourNumber, Body: text})
	require.NoError(t, err)
	return d
}

// to is what a handset got from the application.
func (s *street) to(a contact.Address) []string {
	var got []string
	for _, m := range s.provider.Sent() {
		if m.To == a.Value {
			got = append(got, m.Body)
		}
	}
	return got
}

func (s *street) household(t testing.TB, a contact.Address) care.Household {
	l, err := s.store.Load(t.Context(), "harbour", s.store.ID("harbour", a))
	require.NoError(t, err)
	return l.Household
}

// An emergency from a number nobody knows: they get the numbers at once, the
// practice is told, and a reply of the practitioner's reaches the household.
func TestAnEmergencyGoesAllTheWayRound(t *testing.T) {
	s := newStreet(t, standIn(t), func(o *smsprovider.Options) { o.Disorder, o.Twice = true, true })
	d := s.texts(t, ruth, "He has collapsed and can't breathe")
	require.True(t, d.Taken)
	require.Equal(t, 1, d.Attempts)
	s.settle(t)
	require.NotEmpty(t, s.to(ruth), "the owner is answered")
	require.NotEmpty(t, s.to(lee), "the practitioner is told")

	h := s.household(t, ruth)
	require.NotEmpty(t, h.Sent)
	for _, m := range h.Sent {
		require.Equal(t, care.Delivered, m.Fate, "reports came in disorder and twice")
	}
	require.True(t, s.texts(t, lee, "1 OK ringing her").Taken)
	s.settle(t)
	h = s.household(t, ruth)
	require.NotEmpty(t, h.Alerts)
	require.Equal(t, care.Acknowledged, h.Alerts[0].State)
	require.Equal(t, "lee", h.Alerts[0].By)
	require.Empty(t, s.provider.Problems())
	s.quiet(t, ruth.Value[1:], lee.Value[1:], "collapsed", "ringing", token)
}

func TestAMessageSentTwiceByTheProviderIsTakenOnce(t *testing.T) {
	s := newStreet(t, standIn(t), nil)
	d := s.texts(t, ruth, "Is anybody there?")
	s.settle(t)
	before, sent := s.household(t, ruth), len(s.provider.Sent())
	for range 3 {
		again, err := s.provider.Replay(t.Context(), d.SID)
		require.NoError(t, err)
		require.Equal(t, 200, again.Status)
	}
	s.settle(t)
	require.Equal(t, before, s.household(t, ruth))
	require.Len(t, s.provider.Sent(), sent)
}

// The provider took a message and the answer was lost: it is found there.
func TestALostAnswerSendsNothingTwice(t *testing.T) {
	for _, kind := range []smsprovider.FaultKind{smsprovider.AcceptAndHang, smsprovider.AcceptAndCut, smsprovider.Cut, smsprovider.Answer500, smsprovider.Answer429} {
		t.Run(string(kind), func(t *testing.T) {
			s := newStreet(t, standIn(t), nil)
			s.provider.Inject(smsprovider.Fault{Kind: kind, Times: 1, To: ruth.Value})
			s.texts(t, ruth, "Is anybody there?")
			s.settle(t)
			require.Len(t, s.to(ruth), 1)
		})
	}
}

func TestAnOptOutAtTheProviderReachesTheHousehold(t *testing.T) {
	s := newStreet(t, standIn(t), nil)
	s.texts(t, ruth, "stop")
	require.True(t, s.provider.OptedOut(ourNumber, ruth.Value))
	s.settle(t)
	require.Empty(t, s.to(ruth), "the provider takes nothing for her")
	require.Equal(t, care.OptedOut, s.household(t, ruth).Contacts[0].Consent.State)
}

// Redis is killed while messages come in: each is either kept whole or told to
// the provider as not kept, and its next attempt is taken.
func TestRedisAway(t *testing.T) {
	server := redistest.Start(t, "--appendfsync", "always")
	client := redis.NewClient(&redis.Options{
		Addr: server.Addr, ContextTimeoutEnabled: true, DialTimeout: 200 * time.Millisecond, MaxRetries: 1,
	})
	t.Cleanup(func() { _ = client.Close() })
	s := newStreet(t, client, func(o *smsprovider.Options) { o.Accounts[0].Numbers[0].Retries = 0 })
	require.True(t, s.texts(t, ruth, "Before.").Taken)
	keys := client.DBSize(t.Context()).Val()
	server.Kill()
	d := s.texts(t, ruth, "MARKED while it is away.")
	require.Equal(t, 503, d.Status)
	require.False(t, d.Taken)
	require.GreaterOrEqual(t, s.count(t, "webhook_requests_total", "reason", "store-away"), 1)
	server.Restart(t)
	// The client tries a lost server only now and then.
	require.Eventually(t, func() bool { return client.Ping(t.Context()).Err() == nil }, 10*time.Second, 20*time.Millisecond)
	require.Equal(t, keys, client.DBSize(t.Context()).Val(), "nothing is half written")
	require.Zero(t, s.provider.Redeliver(t.Context()), "the provider's next attempt is taken")
	require.Len(t, s.household(t, ruth).Seen, 2*8)
	s.quiet(t, "MARKED", ruth.Value[1:])
}

// Two round trips for an ordinary message: load and commit.
func TestAMessageCostsTwoRoundTrips(t *testing.T) {
	client := standIn(t)
	s := newStreet(t, client, nil)
	s.texts(t, ruth, "The first one.")
	var trips counting
	client.AddHook(&trips)
	require.True(t, s.texts(t, ruth, "And another.").Taken)
	require.Equal(t, []string{"mget", "evalsha"}, trips.names)
}

// counting counts what goes to Redis.
type counting struct{ names []string }

func (c *counting) DialHook(next redis.DialHook) redis.DialHook { return next }

func (c *counting) ProcessHook(next redis.ProcessHook) redis.ProcessHook {
	return func(ctx context.Context, cmd redis.Cmder) error {
		c.names = append(c.names, cmd.Name())
		return next(ctx, cmd)
	}
}

func (c *counting) ProcessPipelineHook(next redis.ProcessPipelineHook) redis.ProcessPipelineHook {
	return func(ctx context.Context, cmds []redis.Cmder) error {
		names := make([]string, len(cmds))
		for i, cmd := range cmds {
			names[i] = cmd.Name()
		}
		c.names = append(c.names, strings.Join(names, "+"))
		return next(ctx, cmds)
	}
}
