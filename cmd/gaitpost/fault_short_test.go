//go:build !long

package main

import "time"

const (
	failOver      = false           // of a cluster's master, which takes a while
	outage        = 3 * time.Second // Redis stays away
	takeover      = 3 * time.Second // of what a dead sender left
	dueHouseholds = 1000
)
