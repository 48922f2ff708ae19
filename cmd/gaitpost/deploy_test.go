package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/redis/go-redis/v9"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"gaitpost/internal/store"
	"gaitpost/internal/store/redistest"
)

const deployDir = "../../deploy/"

func deployFile(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(deployDir + name)
	require.NoError(t, err)
	return string(text)
}

// composeService is what the tests look at of a service.
type composeService struct {
	Image       string
	Command     []string
	User        string
	Restart     string
	ReadOnly    bool     `yaml:"read_only"`
	CapDrop     []string `yaml:"cap_drop"`
	Security    []string `yaml:"security_opt"`
	Ports       []string
	Secrets     []any
	Volumes     []string
	Environment map[string]string
	Networks    any
	Healthcheck struct{ Test []string }
	DependsOn   map[string]struct{ Condition string } `yaml:"depends_on"`
	StopGrace   string                                `yaml:"stop_grace_period"`
}

type composeFile struct {
	Services map[string]composeService
	Networks map[string]struct{ Internal bool }
	Secrets  map[string]struct{ File string }
}

func readCompose(t *testing.T) composeFile {
	t.Helper()
	var c composeFile
	require.NoError(t, yaml.Unmarshal([]byte(deployFile(t, "compose.yaml")), &c))
	require.Len(t, c.Services, 5)
	return c
}

func TestTheComposeFileOpensNothingItNeedNot(t *testing.T) {
	t.Parallel()
	c := readCompose(t)
	for name, s := range c.Services {
		require.Equal(t, "unless-stopped", s.Restart, name)
		require.True(t, s.ReadOnly, name)
		require.Equal(t, []string{"ALL"}, s.CapDrop, name)
		require.Contains(t, s.Security, "no-new-privileges:true", name)
		require.Equal(t, name == "proxy", len(s.Ports) > 0, "only the proxy is reached from outside: %s", name)
		for _, v := range s.Volumes {
			from, _, _ := strings.Cut(v, ":")
			if file, ok := strings.CutPrefix(from, "./"); ok && file != "clinics" {
				require.FileExists(t, deployDir+file)
				require.True(t, strings.HasSuffix(v, ":ro"), v)
			}
		}
		for variable := range s.Environment {
			require.NotRegexp(t, `(KEY|KEYS|URL|TOKEN|SECRET)$`, variable, "%s: a secret comes as a file", name)
		}
		if name != "proxy" {
			require.NotEmpty(t, s.Healthcheck.Test, name)
			require.Regexp(t, `^[1-9][0-9]*:[1-9]`, s.User, "nobody is root")
			require.Equal(t, "60s", s.StopGrace, name)
		}
	}
	require.Equal(t, []any{"store"}, c.Services["redis"].Networks)
	require.True(t, c.Networks["store"].Internal)
	require.True(t, c.Networks["front"].Internal)
	for name, s := range c.Secrets {
		require.True(t, strings.HasPrefix(s.File, "./secrets/"), name)
	}
	require.Contains(t, deployFile(t, "../.gitignore"), "deploy/secrets/")
}

// The commands of the compose file are ones that the program takes, and together
// they do all of its work.
func TestTheComposeFileRunsEveryRole(t *testing.T) {
	t.Parallel()
	c := readCompose(t)
	proxy := c.Services["proxy"].Networks.(map[string]any)["front"].(map[string]any)["ipv4_address"].(string)
	var does []string
	for _, name := range []string{"bot", "sender", "scheduler"} {
		s := c.Services[name]
		require.Equal(t, "serve", s.Command[0])
		cmd := newServeCmd(env{})
		require.NoError(t, cmd.ParseFlags(s.Command[1:]), name)
		does = append(does, cmd.Flag("role").Value.String())
		require.Equal(t, ":9090", cmd.Flag("metrics-listen").Value.String(), "which Prometheus and the health check ask")
		require.Equal(t, []string{"CMD", "/gaitpost", "ready"}, s.Healthcheck.Test)
		require.Equal(t, "service_healthy", s.DependsOn["redis"].Condition)
		require.Equal(t, name == "bot", cmd.Flag("trust-proxy").Changed)
		if name == "bot" {
			require.Equal(t, "["+proxy+"/32]", cmd.Flag("trust-proxy").Value.String(), "nobody but the proxy says where a client is")
			require.Equal(t, "bot"+cmd.Flag("listen").Value.String(), c.Services["proxy"].Environment["GAITPOST_UPSTREAM"])
		}
		for variable := range s.Environment {
			name := strings.TrimSuffix(variable, "_FILE")
			require.True(t, slices.ContainsFunc(environment, func(k envKey) bool { return k.name == name }), "%s is no setting of the program", variable)
		}
		for _, secret := range s.Secrets {
			require.Contains(t, c.Secrets, secret)
		}
	}
	require.ElementsMatch(t, []string{string(roleBot), string(roleSender), string(roleScheduler)}, does)
	require.Equal(t, []string{"redis-server", "/etc/redis/redis.conf"}, c.Services["redis"].Command)
}

func TestTheProxyOpensThreePaths(t *testing.T) {
	t.Parallel()
	text := deployFile(t, "Caddyfile")
	var paths []string
	for _, m := range regexp.MustCompile(`(?m)^\s*@\w+ path (.*)$`).FindAllStringSubmatch(text, -1) {
		paths = append(paths, strings.Fields(m[1])...)
	}
	require.Equal(t, []string{"/desk/live", "/hook/*", "/desk", "/desk/*", "/healthz"}, paths)
	require.Regexp(t, `(?s)handle \{\s*respond 404\s*\}`, text)
	require.Contains(t, text, "max_size 1MB")
	require.Contains(t, text, "flush_interval -1")
	require.NotContains(t, text, "trusted_proxies", "what a client says of its address is not believed")
	caddy, err := exec.LookPath("caddy")
	if err != nil {
		t.Skip("there is no caddy here: .ci/run has its own read the Caddyfile")
	}
	out, err := exec.Command(caddy, "adapt", "--validate", "--config", deployDir+"Caddyfile").CombinedOutput()
	require.NoError(t, err, string(out))
}

func TestTheUnitsOfSystemdHold(t *testing.T) {
	t.Parallel()
	unit := deployFile(t, "systemd/gaitpost@.service")
	_, line, ok := strings.Cut(unit, "ExecStart=/usr/local/bin/gaitpost serve ")
	require.True(t, ok)
	line, _, _ = strings.Cut(line, "\n")
	cmd := newServeCmd(env{})
	require.NoError(t, cmd.ParseFlags(strings.Fields(line)))
	for _, m := range regexp.MustCompile(`(?m)^Environment=(GAITPOST_[A-Z_]+)=`).FindAllStringSubmatch(unit, -1) {
		name := strings.TrimSuffix(m[1], "_FILE")
		require.True(t, slices.ContainsFunc(environment, func(k envKey) bool { return k.name == name }), m[1])
	}
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("there is no systemd-analyze here: what systemd makes of the units is not checked")
	}
	dir := t.TempDir()
	for _, name := range []string{"gaitpost@.service", "gaitpost.target"} {
		text := strings.ReplaceAll(deployFile(t, "systemd/"+name), "/usr/local/bin/gaitpost", os.Args[0])
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	for _, part := range roles {
		file := filepath.Join(dir, "gaitpost@"+string(part)+".service")
		require.NoError(t, os.Symlink(filepath.Join(dir, "gaitpost@.service"), file))
		out, err := exec.Command(analyze, "verify", "--man=no", "--recursive-errors=no", file).CombinedOutput()
		require.NoError(t, err, string(out))
		require.NotContains(t, string(out), "gaitpost@", "systemd has nothing to say of it")
	}
	out, err := exec.Command(analyze, "security", "--offline=true", "--threshold=20", filepath.Join(dir, "gaitpost@bot.service")).CombinedOutput()
	require.NoError(t, err, "exposed above 2.0 of 10: %s", out)
}

// names is every metric that the program has.
func metricNames(t *testing.T) map[string]bool {
	t.Helper()
	w := newWorld(t)
	descs := make(chan *prometheus.Desc)
	go func() { w.apps[0].Registry.Describe(descs); close(descs) }()
	names := map[string]bool{"up": true}
	for d := range descs {
		m := regexp.MustCompile(`fqName: "([^"]+)"`).FindStringSubmatch(d.String())
		require.NotNil(t, m)
		for _, suffix := range []string{"", "_bucket", "_sum", "_count"} {
			names[m[1]+suffix] = true
		}
	}
	return names
}

var metricName = regexp.MustCompile(`\b(gaitpost_[a-z_]+|go_[a-z_]+|process_[a-z_]+|up)\b`)

// Every metric that a rule or a picture asks for is one that the program has; and
// what it can tell of trouble has a rule.
func TestRulesAndDashboardAskForMetricsThatAreThere(t *testing.T) {
	t.Parallel()
	names := metricNames(t)
	var rules struct {
		Groups []struct {
			Rules []struct {
				Alert, Expr, For    string
				Labels, Annotations map[string]string
			}
		}
	}
	require.NoError(t, yaml.Unmarshal([]byte(deployFile(t, "prometheus/alerts.yaml")), &rules))
	asked := map[string]bool{}
	for _, r := range rules.Groups[0].Rules {
		found := metricName.FindAllString(r.Expr, -1)
		require.NotEmpty(t, found, r.Alert)
		for _, name := range found {
			require.True(t, names[name], "%s asks for %s", r.Alert, name)
			asked[name] = true
		}
		require.Contains(t, []string{"page", "ticket"}, r.Labels["severity"], r.Alert)
		require.NotEmpty(t, r.Annotations["summary"], r.Alert)
		require.NotEmpty(t, r.Annotations["what"], "%s: what is to be done", r.Alert)
	}
	for _, lag := range []string{"gaitpost_webhook_lag_seconds", "gaitpost_due_lag_seconds", "gaitpost_outbox_oldest_seconds",
		"gaitpost_provider_failing_seconds", "gaitpost_scheduler_last_round_timestamp_seconds", "gaitpost_redis_durable"} {
		require.True(t, asked[lag], lag)
	}
	for _, reason := range []string{"internal", "store-away"} {
		source, err := os.ReadFile("../../bot/hook.go")
		require.NoError(t, err)
		require.Contains(t, string(source), `care.Reason = "`+reason+`"`, "the rule WebhooksFail names it")
	}

	var board struct {
		Panels []struct {
			Title   string
			ID      int
			GridPos struct{ X, Y, W, H int }
			Targets []struct{ Expr string }
		}
	}
	require.NoError(t, json.Unmarshal([]byte(deployFile(t, "grafana/dashboard.json")), &board))
	ids := map[int]bool{}
	for _, p := range board.Panels {
		require.False(t, ids[p.ID], p.Title)
		ids[p.ID] = true
		require.LessOrEqual(t, p.GridPos.X+p.GridPos.W, 24, p.Title)
		require.NotEmpty(t, p.Targets, p.Title)
		for _, target := range p.Targets {
			for _, name := range metricName.FindAllString(target.Expr, -1) {
				require.True(t, names[name], "%s asks for %s", p.Title, name)
			}
		}
	}
	require.GreaterOrEqual(t, len(ids), 20)

	var scrape struct {
		Rules []string `yaml:"rule_files"`
		Jobs  []struct {
			Name    string                       `yaml:"job_name"`
			Targets []struct{ Targets []string } `yaml:"static_configs"`
		} `yaml:"scrape_configs"`
	}
	require.NoError(t, yaml.Unmarshal([]byte(deployFile(t, "prometheus/prometheus.yaml")), &scrape))
	require.FileExists(t, deployDir+"prometheus/"+scrape.Rules[0])
	require.Equal(t, "gaitpost", scrape.Jobs[0].Name, "which the rules name")
	for _, target := range scrape.Jobs[0].Targets[0].Targets {
		service, port, _ := strings.Cut(target, ":")
		require.Contains(t, readCompose(t).Services, service)
		require.Equal(t, "9090", port)
	}
}

func TestTheContainerIsOneStaticFileThatNobodyOwns(t *testing.T) {
	t.Parallel()
	_, last, ok := strings.Cut(deployFile(t, "Containerfile"), "\nFROM scratch\n")
	require.True(t, ok)
	require.Contains(t, last, "ca-certificates.crt", "providers are spoken to over TLS")
	require.Regexp(t, `(?m)^USER [1-9][0-9]*:[1-9]`, last)
	require.NotRegexp(t, `(?m)^RUN`, last, "there is nothing that could be run in it")
	m := regexp.MustCompile(`(?m)^CMD (\[.*\])$`).FindStringSubmatch(last)
	require.NotNil(t, m)
	var args []string
	require.NoError(t, json.Unmarshal([]byte(m[1]), &args))
	require.NoError(t, newServeCmd(env{}).ParseFlags(args[1:]))

}

// A start from the very files of deploy/. The long tests start the program that the
// Containerfile builds.
func TestTheServiceStartsFromItsOwnFiles(t *testing.T) {
	t.Parallel()
	startsFromItsFiles(t, os.Args[0])
}

// startsFromItsFiles starts Redis with redis.conf and redis-users.acl, and the
// program under the settings of gaitpost.env.example and the clinic's example, as
// the unit of systemd starts it.
func startsFromItsFiles(t *testing.T, program string) {
	dir := t.TempDir()
	word := "an-invented-word"
	sum := sha256.Sum256([]byte(word))
	acl := strings.ReplaceAll(deployFile(t, "redis-users.acl"), strings.Repeat("0", 64), hex.EncodeToString(sum[:]))
	put := func(name, text string) string {
		file := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
		return file
	}
	port := freePort(t)
	conf := strings.Replace(deployFile(t, "redis.conf"), "\ndir /data\n", "\ndir "+dir+"\n", 1)
	server := exec.Command("redis-server", put("redis.conf", conf), "--bind", "127.0.0.1", "--port", port,
		"--aclfile", put("users.acl", acl))
	require.NoError(t, server.Start())
	t.Cleanup(func() { _ = server.Process.Kill(); _ = server.Wait() })
	address := fmt.Sprintf("redis://gaitpost:%s@127.0.0.1:%s/0", word, port)
	o, err := redis.ParseURL(address)
	require.NoError(t, err)
	c := redis.NewClient(o)
	defer c.Close()
	require.Eventually(t, func() bool { return c.Ping(context.Background()).Err() == nil }, 10*time.Second, 20*time.Millisecond)
	info, err := c.Info(context.Background(), "persistence", "memory").Result()
	require.NoError(t, err)
	for _, want := range []string{"aof_enabled:1", "maxmemory_policy:noeviction"} {
		require.Contains(t, info, want)
	}
	require.ErrorContains(t, c.FlushAll(context.Background()).Err(), "NOPERM", "the program's user may not")
	o.Username, o.Password = "", ""
	nobody := redis.NewClient(o)
	defer nobody.Close()
	require.ErrorContains(t, nobody.Ping(context.Background()).Err(), "NOAUTH", "and nobody without a word, which the health check counts as up")

	environ := []string{"PATH=/nowhere", asCommand + "=1"}
	for line := range strings.Lines(deployFile(t, "gaitpost.env.example")) {
		name, value, ok := strings.Cut(strings.TrimSpace(line), "=")
		if !ok || strings.HasPrefix(name, "#") {
			continue
		}
		switch name {
		case "GAITPOST_CONFIG":
			// The secrets' files are the test's own.
			settings := strings.ReplaceAll(deployFile(t, "clinic.example.yaml"), "/run/secrets/", dir+"/")
			for _, m := range regexp.MustCompile(`(?m)_file: `+dir+`/(\S+)$`).FindAllStringSubmatch(settings, -1) {
				put(m[1], "an-invented-secret")
			}
			value = put("clinic.yaml", settings)
		case "GAITPOST_REDIS_URL":
			value = address
		case "GAITPOST_CONTACT_KEY_FILE":
			value = put("contact-key", worldKey)
		case "GAITPOST_SEAL_KEYS_FILE":
			make := exec.Command(program, "keys", "new")
			make.Env = []string{asCommand + "=1"}
			said, err := make.Output()
			require.NoError(t, err)
			value = put("seal-keys", string(said))
		case "HARBOUR_STREET_RELAY_SECRET":
			value = "whsec_" + "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSwMfKQ9r8GKYo="
		}
		environ = append(environ, name+"="+value)
	}
	metrics := "127.0.0.1:" + freePort(t)
	serve := exec.Command(program, "serve", "--role", "all", "--listen", "127.0.0.1:0", "--metrics-listen", metrics, "--trust-proxy", "127.0.0.1/32")
	var log lockedBuffer
	serve.Env, serve.Stderr = environ, &log
	require.NoError(t, serve.Start())
	t.Cleanup(func() { _ = serve.Process.Kill() })
	ready := func() string {
		ask := exec.Command(program, "ready", "--url", "http://"+metrics+"/readyz")
		ask.Env = []string{asCommand + "=1"}
		said, _ := ask.CombinedOutput()
		return string(said)
	}
	require.Eventually(t, func() bool { return strings.HasPrefix(ready(), "ready\n") }, 20*time.Second, 100*time.Millisecond, "%s%s", ready(), &log)
	require.NoError(t, server.Process.Kill())
	require.Eventually(t, func() bool { return strings.Contains(ready(), "Redis does not answer") }, 20*time.Second, 100*time.Millisecond)
	require.Contains(t, ready(), "gaitpost: the process can't do its work just now")
	require.NotContains(t, log.String(), word)
}

func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	_, port, err := net.SplitHostPort(l.Addr().String())
	require.NoError(t, err)
	return port
}

// The drill of deploy/RUNNING.md for Redis' own files: copied while the service runs,
// as it says there, they give another Redis in which nothing is missing.
func TestACopyOfTheAppendOnlyFilesIsABackup(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	server, err := redistest.Run(dir)
	require.NoError(t, err)
	t.Cleanup(server.Stop)
	w := newWorldOn(t, &world{redis: server, url: server.URL()})
	w.agreed()
	w.answersAll(ruthsPhone)
	require.Contains(t, deployFile(t, "RUNNING.md"), "CONFIG SET auto-aof-rewrite-percentage 0")
	require.Contains(t, deployFile(t, "RUNNING.md"), "appendonlydir")
	require.NoError(t, w.client.ConfigSet(t.Context(), "auto-aof-rewrite-percentage", "0").Err())
	copied := t.TempDir()
	require.NoError(t, os.CopyFS(filepath.Join(copied, "appendonlydir"), os.DirFS(filepath.Join(dir, "appendonlydir"))))

	again, err := redistest.Run(copied)
	require.NoError(t, err)
	t.Cleanup(again.Stop)
	st, err := store.Open(t.Context(), store.Options{Client: again.Client(t), Hasher: mustHasher(t)})
	require.NoError(t, err)
	was := w.household(ruthsPhone)
	is, err := st.Load(t.Context(), "hillside", was.ID)
	require.NoError(t, err)
	require.Equal(t, was, is)
	entries, err := st.ReadLog(t.Context(), "hillside", was.ID, 0, 10000)
	require.NoError(t, err)
	require.Equal(t, w.log(ruthsPhone), entries)
	w.url = again.URL()
	require.Contains(t, w.command("audit"), "1 household")
}

func TestReadySaysThatNothingAnswers(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	require.ErrorContains(t, askReady(t.Context(), &out, "http://127.0.0.1:1/readyz"), "nothing answers at http://127.0.0.1:1/readyz")
	require.ErrorContains(t, askReady(t.Context(), &out, "://"), "--url is")
	require.Empty(t, out.String())
}
