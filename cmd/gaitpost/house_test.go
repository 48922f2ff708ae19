package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const module = "gaitpost/"

// rooms says which of our own packages each package may import, and so which
// way knowledge flows: the pure rooms know nothing of the edges.
var rooms = map[string][]string{
	"internal/clinical":         {},
	"internal/signs":            {},
	"internal/sms":              {},
	"internal/contact":          {},
	"internal/cadence":          {},
	"dialog/answer":             {},
	"dialog":                    {"dialog/answer", "internal/clinical", "internal/sms"},
	"internal/care":             {"dialog", "dialog/answer", "internal/cadence", "internal/clinical", "internal/contact", "internal/signs"},
	"internal/clinic":           {"dialog", "internal/cadence", "internal/care", "internal/clinical", "internal/contact", "internal/sms"},
	"internal/store":            {"dialog", "internal/account", "internal/care", "internal/clinic", "internal/clinical", "internal/contact", "internal/signs"},
	"internal/store/redistest":  {},
	"internal/store/storetest":  {"internal/contact", "internal/store", "internal/store/redistest"},
	"internal/account":          {},
	"internal/desk":             {"dialog", "internal/account", "internal/cadence", "internal/care", "internal/clinic", "internal/clinical", "internal/contact", "internal/record", "internal/signs", "internal/store"},
	"internal/chart":            {},
	"internal/record":           {"dialog", "internal/cadence", "internal/care", "internal/chart", "internal/clinical", "internal/contact", "internal/signs"},
	"internal/synth":            {"dialog", "internal/care", "internal/clinical", "internal/contact"},
	"internal/fake/smsprovider": {"internal/sms"},
	"internal/fake/gateway":     {},
	"internal/fake/whatsapp":    {},
	"internal/fake/telegram":    {},
	"internal/fake/calls":       {},
	"bot":                       {"dialog", "internal/care", "internal/clinic", "internal/contact", "internal/signs", "internal/sms", "internal/store"},
	"bot/relay":                 {"bot", "dialog", "internal/care", "internal/contact"},
	"bot/whatsapp":              {"bot", "dialog", "internal/care", "internal/contact"},
	"bot/telegram":              {"bot", "dialog", "internal/care", "internal/contact"},
	"bot/email":                 {"bot", "internal/care", "internal/contact"},
	"bot/voice":                 {"bot", "bot/sms", "internal/care", "internal/contact"},
	"bot/channeltest":           {"bot", "dialog", "internal/care", "internal/contact"},
	"bot/sms":                   {"bot", "internal/care", "internal/contact", "internal/sms"},
	"scheduler":                 {"internal/cadence", "internal/care", "internal/clinic", "internal/contact", "internal/store"},
}

// libraries says which packages may import a library that would otherwise
// spread.
var libraries = map[string][]string{
	"github.com/redis/go-redis/":    {"internal/store", "internal/store/redistest", "internal/store/storetest", "cmd/"},
	"github.com/labstack/echo/":     {"bot", "bot/", "internal/desk", "cmd/"},
	"github.com/robfig/cron/":       {"scheduler", "internal/cadence"},
	"github.com/alicebob/miniredis": {"internal/store/storetest", "cmd/"},
}

type listed struct {
	ImportPath string
	Imports    []string
}

func packages(t *testing.T) []listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "./...")
	cmd.Dir = root(t)
	out, err := cmd.Output()
	require.NoError(t, err)
	var all []listed
	dec := json.NewDecoder(strings.NewReader(string(out)))
	for dec.More() {
		var p listed
		require.NoError(t, dec.Decode(&p))
		all = append(all, p)
	}
	return all
}

func root(t *testing.T) string {
	t.Helper()
	dir, err := filepath.Abs("../..")
	require.NoError(t, err)
	return dir
}

func TestImportsFollowTheHouse(t *testing.T) {
	t.Parallel()
	for _, p := range packages(t) {
		room := strings.TrimPrefix(p.ImportPath, module)
		if strings.HasPrefix(room, "cmd/") {
			continue
		}
		allowed, known := rooms[room]
		require.True(t, known, "package %s is not in the house: add it to rooms with what it may import", room)
		for _, imp := range p.Imports {
			if own, ok := strings.CutPrefix(imp, module); ok {
				require.Contains(t, allowed, own, "%s must not import %s", room, own)
			}
		}
	}
}

func TestLibrariesStayInTheirRooms(t *testing.T) {
	t.Parallel()
	for _, p := range packages(t) {
		room := strings.TrimPrefix(p.ImportPath, module)
		for _, imp := range p.Imports {
			for lib, where := range libraries {
				if !strings.HasPrefix(imp, lib) {
					continue
				}
				ok := slices.ContainsFunc(where, func(w string) bool {
					return room == w || strings.HasSuffix(w, "/") && strings.HasPrefix(room, w)
				})
				require.True(t, ok, "%s must not import %s", room, imp)
			}
		}
	}
}

// The clock is read in cmd alone and handed down, so that everything else can
// be tested at any hour.
func TestOnlyCmdReadsTheClock(t *testing.T) {
	t.Parallel()
	walkGo(t, func(path, src string) {
		if strings.HasPrefix(path, "cmd/") || strings.HasSuffix(path, "_test.go") || strings.Contains(path, "redistest") {
			return
		}
		for _, call := range []string{"time.Now(", "time.Since(", "time.Until("} {
			require.NotContains(t, src, call, "%s reads the clock", path)
		}
	})
}

func TestTestsDoNotSleep(t *testing.T) {
	t.Parallel()
	call := "time." + "Sleep("
	walkGo(t, func(path, src string) {
		if strings.HasSuffix(path, "_test.go") {
			require.NotContains(t, src, call, "%s sleeps", path)
		}
	})
}

func TestFilesStayReadable(t *testing.T) {
	t.Parallel()
	walkGo(t, func(path, src string) {
		require.LessOrEqual(t, strings.Count(src, "\n"), 500, "%s is too long to read at a sitting: split it", path)
	})
}

func walkGo(t *testing.T, visit func(path, src string)) {
	t.Helper()
	top := root(t)
	require.NoError(t, filepath.WalkDir(top, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && path != top {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(path, ".go") {
			return nil
		}
		src, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(top, path)
		visit(filepath.ToSlash(rel), string(src))
		return err
	}))
}
