// Package synth invents owners, dogs and a practice's caseload, and plays the
// owners: it reads the texts they are sent and writes what they answer, the way
// people text. Everything here is made up; telephone numbers come from the range
// kept for fiction (Ofcom, 07700 900000 to 900999).
//
// It is pure and seeded: the same seed and the same texts give the same answers.
package synth
