package main

import (
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestRulesPrintsWhatIsInEffect(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	require.Contains(t, w.command("rules", "--changes"), "Nothing was changed at the desk")
	lee := w.desk()
	require.Equal(t, 303, lee.changes(0, "thresholds.index.level_at", "60"))
	require.Equal(t, 303, lee.changes(1, "cadences.checkin.cron", "0 15 * * thu"))

	out := w.command("rules")
	require.Regexp(t, `thresholds\.index\.level_at +60 +changed at the desk by Dr Lee, 2026-03-02 09:00; the file alone: 50`, out)
	require.Regexp(t, `cadences\.checkin\.cron +0 15 \* \* thu +changed at the desk`, out)
	require.Regexp(t, `name +Hillside Vets +the file`, out)
	require.NotContains(t, out, "level_clears_below")
	require.NotContains(t, out, worldToken)
	require.Regexp(t, `level_clears_below +45 +the default`, w.command("rules", "--all"))

	out = w.command("rules", "--clinic", "hillside", "--changes")
	require.Equal(t, `2  2026-03-02 09:00  Dr Lee: to try it
   cadences.checkin.cron: 0 10 * * tue -> 0 15 * * thu
1  2026-03-02 09:00  Dr Lee: to try it
   thresholds.index.level_at: 50 -> 60
`, out)

	// A change that no longer fits is not printed as if it were in effect.
	text, err := os.ReadFile(w.config)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(w.config, append(text, "thresholds: {index: {level_clears_below: 61, level_at: 70}}\n"...), 0o600))
	_, errs, code := asked(t, w.environ(), "rules")
	require.Zero(t, code, errs)
	require.Contains(t, errs, "no longer fit the settings file")
	require.Regexp(t, `level_at +70 +the file`, w.command("rules"))
}
