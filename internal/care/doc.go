// Package care decides what happens to a household.
//
// Everything that happens is an Event: a message came in, time passed, a
// delivery report arrived, the practice did something. Turn takes the clinic's
// rules, the household and one event and returns the new household, the
// messages to send, what to tell the practitioners, the facts to keep and when
// to look again. It reads no clock, does no I/O and keeps nothing: the same
// input gives the same outcome, so that a log can be replayed and an audit can
// decide again what was decided then.
package care
