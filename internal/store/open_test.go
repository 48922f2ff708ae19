package store

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/store/redistest"
)

func TestAServerThatKeepsNothingIsRefused(t *testing.T) {
	ctx := context.Background()
	volatile := redistest.Start(t, "--appendonly", "no").Client(t)
	_, err := Open(ctx, Options{Client: volatile, Hasher: hasher(t, secret)})
	require.ErrorIs(t, err, ErrVolatile)
	_, err = Open(ctx, Options{Client: volatile, Hasher: hasher(t, secret), AllowVolatile: true})
	require.NoError(t, err)
	_, err = Open(ctx, Options{Client: realServer(t), Hasher: hasher(t, secret)})
	require.NoError(t, err)
	_, err = Open(ctx, Options{Client: realCluster(t), Hasher: hasher(t, secret)})
	require.NoError(t, err)
}

// With another secret every contact would be a stranger, and with another
// number of partitions nothing would be found.
func TestAnotherStoresDataIsRefused(t *testing.T) {
	onEach(t, func(t *testing.T, s *Store) {
		ctx := context.Background()
		o := Options{Client: s.rdb, Hasher: hasher(t, secret), AllowVolatile: true}
		_, err := Open(ctx, o)
		require.NoError(t, err, "the same again")
		o.Hasher = hasher(t, "another invented secret")
		_, err = Open(ctx, o)
		require.ErrorIs(t, err, ErrOtherStore)
		require.ErrorContains(t, err, "secret")
		o.Hasher = hasher(t, secret)
		require.NoError(t, s.rdb.HSet(ctx, metaKey(), "partitions", 64).Err())
		_, err = Open(ctx, o)
		require.ErrorIs(t, err, ErrOtherStore)
		require.ErrorContains(t, err, "partitions")
	})
}

func TestOpenWantsAClientAndASecret(t *testing.T) {
	_, err := Open(context.Background(), Options{})
	require.Error(t, err)
}
