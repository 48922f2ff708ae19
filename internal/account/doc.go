// Package account says who may sign in to the practice's desk, what each may
// see and do there, how passwords are kept, when a session ends, and what the
// trail of who saw and changed what holds. It reads no clock and does no I/O.
package account
