package main

import (
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/fake/telegram"
)

func TestRegisterHookTellsTheProviderTheAddress(t *testing.T) {
	t.Parallel()
	provider, err := telegram.New(telegram.Options{Token: "1000:an-invented-bot-token", Now: time.Now})
	require.NoError(t, err)
	server := httptest.NewServer(provider)
	defer server.Close()
	example, err := os.ReadFile("../../deploy/clinic.example.yaml")
	require.NoError(t, err)
	text := strings.Replace(string(example), "account: harbour_street_bot\n", "account: harbour_street_bot\n    api: "+server.URL+"\n", 1)
	file := filepath.Join(t.TempDir(), "clinic.yaml")
	require.NoError(t, os.MkdirAll(filepath.Join(filepath.Dir(file), "scripts", "harbour-street"), 0o755))
	require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	secrets := map[string]string{
		"HARBOUR_STREET_TELEGRAM_TOKEN": "1000:an-invented-bot-token", "HARBOUR_STREET_TELEGRAM_SECRET": "an-invented-secret-token",
	}

	out, errs, code := asked(t, secrets, "register-hook", "telegram", "--config", file)
	require.Zero(t, code, errs)
	require.Contains(t, out, "/hook/harbour-street/telegram")
	hook, secret := provider.Hook()
	require.True(t, strings.HasSuffix(hook, "/hook/harbour-street/telegram"), hook)
	require.Equal(t, "an-invented-secret-token", secret)

	out, errs, code = asked(t, secrets, "register-hook", "text", "--config", file)
	require.Zero(t, code, errs)
	require.Contains(t, out, "provider's own page")
	_, errs, code = asked(t, secrets, "register-hook", "pigeon", "--config", file)
	require.Equal(t, 1, code)
	require.Contains(t, errs, "no channel")
	secrets["HARBOUR_STREET_TELEGRAM_TOKEN"] = "1000:another-invented-token"
	_, errs, code = asked(t, secrets, "register-hook", "telegram", "--config", file)
	require.Equal(t, 1, code)
	require.Contains(t, errs, "did not take the address")
	require.NotContains(t, errs, "another-invented")
}
