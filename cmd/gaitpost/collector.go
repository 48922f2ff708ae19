package main

import "runtime/debug"

// gcPercent lets the heap grow to five times what is in use before it is
// collected. Nearly all that a request needs is garbage once it is answered, and
// what stays is small: with the usual 100 the collector takes a tenth of the
// processor. cmd/bench measures with the same.
const gcPercent = 400

// collectLess sets the collector, unless the environment does (GOGC), and
// returns what puts it back.
func collectLess(e env) (restore func()) {
	if e.getenv("GOGC") != "" {
		return func() {}
	}
	was := debug.SetGCPercent(gcPercent)
	return func() { debug.SetGCPercent(was) }
}
