package storetest

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/contact"
)

func TestStoresOpenEmpty(t *testing.T) {
	real, server := Open(t)
	for _, s := range []interface {
		Ping(context.Context) error
		ID(string, contact.Address) contact.ID
	}{real, OpenStandIn(t)} {
		require.NoError(t, s.Ping(context.Background()))
		require.Len(t, s.ID("hillside", contact.Address{Channel: contact.SMS, Value: "+447700900101"}), 32)
	}
	server.Kill()
	require.Error(t, real.Ping(context.Background()))
}
