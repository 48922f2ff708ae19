package clinic

import (
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

func plainFiles(f *testing.F) fstest.MapFS {
	f.Helper()
	data, err := os.ReadFile(samples + "/bad_two_documents.yaml")
	require.NoError(f, err)
	text, _, _ := strings.Cut(string(data), "---")
	return fstest.MapFS{"c.yaml": {Data: []byte(text)}}
}
