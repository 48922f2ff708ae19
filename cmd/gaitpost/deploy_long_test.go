//go:build long

package main

import (
	"debug/elf"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

// released builds the program as the Containerfile does.
func released(t *testing.T) string {
	t.Helper()
	text := deployFile(t, "Containerfile")
	m := regexp.MustCompile(`(?m)^RUN (CGO_ENABLED=0) go (build .*) -o /gaitpost (\./cmd/gaitpost)$`).FindStringSubmatch(text)
	require.NotNil(t, m)
	require.Equal(t, "build -trimpath -ldflags '-s -w'", m[2])
	out := filepath.Join(t.TempDir(), "gaitpost")
	build := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", out, m[3])
	build.Dir, build.Env = "../..", append(os.Environ(), m[1])
	said, err := build.CombinedOutput()
	require.NoError(t, err, string(said))
	return out
}

// The program of the container needs no other file, knows the zones of the world,
// and starts from the files of deploy/.
func TestTheReleasedProgramStandsAlone(t *testing.T) {
	program := released(t)
	file, err := elf.Open(program)
	require.NoError(t, err)
	defer file.Close()
	for _, p := range file.Progs {
		require.NotEqual(t, elf.PT_INTERP, p.Type, "it needs no other file")
	}
	libraries, err := file.ImportedLibraries()
	require.NoError(t, err)
	require.Empty(t, libraries)
	zones := exec.Command(program, "cadence", "0 10 * * 2", "--zone", "Australia/Lord_Howe", "--count", "1")
	zones.Env = []string{"ZONEINFO=/nowhere"}
	said, err := zones.CombinedOutput()
	require.NoError(t, err, string(said))
	startsFromItsFiles(t, program)
}
