package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/clinic"
	"gaitpost/internal/contact"
	"gaitpost/internal/fake/smsprovider"
	"gaitpost/internal/store"
)

// The program of the fault tests: as it is released, but that it can stand still
// at named points and has its own clock. It is built once.
var faultBuild struct {
	sync.Once
	dir string
	err error
}

func faultBinary(t *testing.T) string {
	t.Helper()
	faultBuild.Do(func() {
		if faultBuild.dir, faultBuild.err = os.MkdirTemp("", "gaitpost"); faultBuild.err != nil {
			return
		}
		args := []string{"build", "-tags", "faultpoints", "-o", filepath.Join(faultBuild.dir, "gaitpost")}
		if raceDetector {
			args = append(args, "-race")
		}
		if out, err := exec.Command("go", append(args, ".")...).CombinedOutput(); err != nil {
			faultBuild.err = fmt.Errorf("building the program: %w: %s", err, out)
		}
	})
	require.NoError(t, faultBuild.err)
	return filepath.Join(faultBuild.dir, "gaitpost")
}

func removeFaultBinary() {
	if faultBuild.dir != "" {
		_ = os.RemoveAll(faultBuild.dir)
	}
}

// rig is a practice whose program runs as processes of its own, to be killed.
// The ledger is the provider's: it knows nothing of ours.
type rig struct {
	t        *testing.T
	provider *smsprovider.Provider
	store    *store.Store // the test's own way in
	client   redis.UniversalClient
	rules    *care.Rules
	addr     string // where every process that takes requests listens in turn
	environ  map[string]string
	shift    time.Duration
	mu       sync.Mutex
	next     int // household
}

// newRig makes a rig on a Redis. It is a Tuesday noon there.
func newRig(t *testing.T, redisURL string) *rig {
	r := &rig{t: t, shift: time.Until(london(t, "2026-03-03 12:00")).Round(time.Second)}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	r.addr = l.Addr().String()
	require.NoError(t, l.Close())
	r.provider, err = smsprovider.New(smsprovider.Options{
		Accounts: []smsprovider.Account{{SID: worldAccount, Token: worldToken, Numbers: []smsprovider.Number{
			{E164: worldNumber, Hook: "http://" + r.addr + "/hook/hillside/texts", AdvancedOptOut: true, Copies: 3},
		}}}, Now: r.now,
		Client: &http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: 64}},
	})
	require.NoError(t, err)
	api := httptest.NewServer(r.provider)
	t.Cleanup(api.Close)
	config := filepath.Join(t.TempDir(), "hillside.yaml")
	require.NoError(t, os.WriteFile(config, fmt.Appendf(nil, worldSettings, "http://"+r.addr, api.URL), 0o600))
	r.environ = map[string]string{
		"GAITPOST_CONFIG": config, "GAITPOST_REDIS_URL": redisURL, "GAITPOST_CONTACT_KEY": worldKey,
		"HILLSIDE_TOKEN": worldToken, "GAITPOST_TEST_CLOCK": r.shift.String(),
	}
	r.open(redisURL)
	return r
}

func (r *rig) now() time.Time { return time.Now().Add(r.shift) }

// open opens the test's own way into the store.
func (r *rig) open(redisURL string) {
	builtin, err := dialog.Builtin()
	require.NoError(r.t, err)
	clinics, problems := clinic.Load(r.environ["GAITPOST_CONFIG"], func(n string) string { return r.environ[n] }, builtin)
	require.NoError(r.t, refuse(problems))
	r.rules = clinics[0].Rules
	r.client, err = store.NewClient(redisURL)
	require.NoError(r.t, err)
	r.t.Cleanup(func() { _ = r.client.Close() })
	r.store, err = store.Open(r.t.Context(), store.Options{
		Client: r.client, Hasher: mustHasher(r.t), AllowVolatile: true, Versions: newInForce(clinics, nil, discarded).versionsOf,
	})
	require.NoError(r.t, err)
}

// process is one process of the program.
type process struct {
	cmd      *exec.Cmd
	metrics  string // address, once it is ready
	log      *lockedBuffer
	ready    chan struct{} // closed once it takes requests
	standing chan struct{} // closed once it stands at its point
	ended    chan struct{}
}

// start starts a process that stands still at a point, "" for none.
func (r *rig) start(point string, args ...string) *process {
	r.t.Helper()
	p := &process{
		log: &lockedBuffer{}, ready: make(chan struct{}), standing: make(chan struct{}), ended: make(chan struct{}),
		cmd: exec.Command(faultBinary(r.t), append([]string{"serve", "--listen", r.addr, "--metrics-listen", ""}, args...)...),
	}
	p.cmd.Env = append(os.Environ(), "GAITPOST_TEST_POINT="+point)
	for k, v := range r.environ {
		p.cmd.Env = append(p.cmd.Env, k+"="+v)
	}
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	errs, err := p.cmd.StderrPipe()
	require.NoError(r.t, err)
	require.NoError(r.t, p.cmd.Start())
	go p.follow(errs)
	r.t.Cleanup(p.kill)
	return p
}

// follow reads what the process says.
func (p *process) follow(errs io.Reader) {
	lines := bufio.NewScanner(errs)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var entry struct{ Msg, For, Level, Address string }
		if json.Unmarshal(lines.Bytes(), &entry) != nil || entry.Level != "INFO" && !strings.HasPrefix(entry.Msg, "settings: ") {
			_, _ = p.log.Write(append(lines.Bytes(), '\n'))
		}
		switch {
		case entry.Msg == "listening" && entry.For == "metrics":
			p.metrics = entry.Address
		case entry.Msg == "listening" && entry.For == "requests":
			close(p.ready)
		case entry.Msg == "standing at a point":
			close(p.standing)
		}
	}
	_ = p.cmd.Wait()
	close(p.ended)
}

// kill ends the process at once, as kill -9 does.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.ended
}

// slack is for a busy machine, on top of a time that a test holds to.
const slack = time.Second

// patience is how long anything may take that a fault test waits for.
const patience = 40*time.Second + takeover

// seen waits for something, or fails with what the process said.
func (r *rig) seen(p *process, what <-chan struct{}, name string) {
	r.t.Helper()
	select {
	case <-what:
	case <-p.ended:
		r.t.Fatalf("the process ended by itself, before %s: %s", name, p.log.String())
	case <-time.After(patience):
		r.t.Fatalf("%s was not seen within %s: %s", name, patience, p.log.String())
	}
}

// eventually waits until something holds, looking now and then.
func (r *rig) eventually(what string, holds func() bool) {
	r.t.Helper()
	require.Eventually(r.t, holds, patience, 50*time.Millisecond, what)
}

// part starts a process that does only a part of the work.
func (r *rig) part(role, point string, args ...string) *process {
	r.t.Helper()
	p := r.start(point, append([]string{"--role", role, "--listen", "127.0.0.1:0", "--metrics-listen", "127.0.0.1:0"}, args...)...)
	r.seen(p, p.ready, "readiness of the "+role)
	return p
}

// sum adds up a metric of a process, over all labels.
func (r *rig) sum(p *process, name string) (total float64) {
	r.t.Helper()
	resp, err := http.Get("http://" + p.metrics + "/metrics")
	require.NoError(r.t, err)
	defer resp.Body.Close()
	lines := bufio.NewScanner(resp.Body)
	for lines.Scan() {
		if strings.HasPrefix(lines.Text(), "gaitpost_"+name+"{") {
			fields := strings.Fields(lines.Text())
			n, err := strconv.ParseFloat(fields[len(fields)-1], 64)
			require.NoError(r.t, err)
			total += n
		}
	}
	return total
}

// received counts what each number was sent.
func (r *rig) received() map[string]int {
	got := map[string]int{}
	for _, m := range r.provider.Sent() {
		got[m.To]++
	}
	return got
}

// handset is the i-th invented number; Ofcom's range for drama ends before that
// many, so that the rest are of no country's making.
func handset(i int) string { return fmt.Sprintf("+4477009%05d", i) }

// enrol enrols one more household, whose owner agreed at the practice, and
// returns its telephone number. prepare is called before anything is sent there.
func (r *rig) enrol(ctx context.Context, prepare func(number string)) (string, error) {
	number := r.number()
	if prepare != nil {
		prepare(number)
	}
	return number, r.enrolAt(ctx, number)
}

// number is a telephone number that nobody has had yet.
func (r *rig) number() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.next++
	return handset(999 + r.next)
}

func (r *rig) enrolAt(ctx context.Context, number string) error {
	a := contact.Address{Channel: contact.SMS, Value: number}
	id := r.store.ID("hillside", a)
	for i, p := range []care.Practice{
		{By: "lee", Enrol: &care.Enrolment{
			Owner: care.Owner{Name: "Ruth", Address: a, ID: id, Via: "texts"}, Dogs: []care.EnrolledDog{{Name: "Bramble", BCS: 6, Grams: 31_000}},
		}},
		{By: "lee", Consent: &care.RecordConsent{State: care.Agreed, How: "in person"}},
	} {
		_, err := r.store.Do(ctx, r.rules, id, care.Event{Key: fmt.Sprintf("enrol/%s/%d", number, i), At: r.now(), Practice: &p})
		if err != nil {
			return fmt.Errorf("enrolling: %w", err)
		}
	}
	return nil
}

// settled waits until nothing is under way any more. It returns how many
// messages were set aside.
func (r *rig) settled() (aside int) {
	r.t.Helper()
	r.eventually("everything settles", func() bool {
		aside = 0
		for _, q := range []store.Queue{store.Messages(contact.SMS), store.Notices, store.Commands} {
			b, err := r.store.Backlog(r.t.Context(), q)
			if err != nil || b.Waiting+b.Pending+b.Retrying > 0 {
				return false
			}
			aside += b.Aside
		}
		return true
	})
	return aside
}
