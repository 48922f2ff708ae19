// Package desk is the practitioner's desk in the browser: pages written on the
// server, which work without script but for their updating by themselves.
//
// Every page and action belongs to the clinic of whoever is signed in: the
// clinic is never taken from an address or a form, so that an id of another
// clinic's finds nothing. Whatever changes something is a POST and becomes one
// event of the household with a key from the form, so that pressing twice
// changes nothing twice.
package desk
