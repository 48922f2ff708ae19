// Package bot is where messages come in and go out.
//
// Inwards: Server verifies a provider's request, turns it into an event, lets
// the store take the turn and commit it, and answers. Nothing is acknowledged
// before it is kept.
//
// Outwards: Sender drains the outbox of one kind of channel; Lines hands
// notices to practitioners' lines and their commands to households.
//
// A provider is a Channel; each has its own package below this one.
package bot
