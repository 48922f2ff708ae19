// Package dialog holds the conversations with owners: the scripts as data
// files, their checker, and the engine that walks through them. The engine is
// pure: it reads no clock and does no I/O, so the same session, context and
// text always give the same result.
package dialog
