package main

import (
	"fmt"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

// What is measured has to collect its garbage as the service does.
func TestTheBenchCollectsAsTheServiceDoes(t *testing.T) {
	source, err := os.ReadFile("../gaitpost/collector.go")
	require.NoError(t, err)
	require.Contains(t, string(source), fmt.Sprintf("gcPercent = %d\n", gcPercent))
}
