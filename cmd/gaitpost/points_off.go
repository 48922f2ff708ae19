//go:build !faultpoints

package main

import (
	"net/http"
	"time"

	"github.com/redis/go-redis/v9"
)

// The program as it is released stops at no point and runs on the machine's
// clock. points_on.go is what tests of crashes build instead.

func clock() func() time.Time                { return time.Now }
func onCalls(redis.UniversalClient)          {}
func onRequests(h http.Handler) http.Handler { return h }
func providerClient() *http.Client           { return nil }
