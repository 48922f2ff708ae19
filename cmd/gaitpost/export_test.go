package main

import (
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestExportFromTheCommandLine(t *testing.T) {
	t.Parallel()
	d := deployment(t)
	_, errs, code := asked(t, d, "enrol", written(t, "caseload.csv", invitedTable))
	require.Equal(t, 0, code, errs)
	out, errs, code := asked(t, d, "export", "--format", "csv")
	require.Equal(t, 0, code, errs)
	require.Regexp(t, `export: (\d+) of (\d+) households\n$`, errs)
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	require.NoError(t, err)
	require.Equal(t, "reference", rows[0][3])
	out, errs, code = asked(t, d, "export", "--format", "fhir", "--phone", "07700 900401", "--dog", "bramble")
	require.Equal(t, 0, code, errs)
	require.Equal(t, 1, strings.Count(out, `"resourceType":"Patient"`))
	require.NotContains(t, out, "900401")
	out, errs, code = asked(t, d, "export", "--format", "fhir", "--numbers")
	require.Equal(t, 0, code, errs)
	require.Contains(t, out, "900401")
	out, errs, code = asked(t, d, "export", "--format", "ical", "--phone", "07700 900401")
	require.Equal(t, 0, code, errs)
	require.True(t, strings.HasPrefix(out, "BEGIN:VCALENDAR\r\n") && strings.HasSuffix(out, "END:VCALENDAR\r\n"))
	for want, args := range map[string][]string{
		`--format is "pdf"`:             {"--format", "pdf"},
		"--dog needs --phone":           {"--format", "csv", "--dog", "Bramble"},
		"no household is enrolled with": {"--format", "csv", "--phone", "07700 900499"},
	} {
		_, errs, code := asked(t, d, append([]string{"export"}, args...)...)
		require.Equal(t, 1, code, want)
		require.Contains(t, errs, want)
	}
}
