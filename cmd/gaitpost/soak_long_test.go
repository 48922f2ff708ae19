//go:build long

package main

import (
	"testing"
	"time"
)

// The same hour with ten times the traffic: a household has written more than it
// keeps of its last messages before the middle of it.
func TestABusyHourOfTrafficLeavesNothingBehind(t *testing.T) {
	soakFor(t, soakSize{owners: 150, each: 20, keyLife: 10 * time.Second})
}
