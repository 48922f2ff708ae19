// Package record makes what is printed and handed over about a dog and its
// household: the report for a consultation, the card for the refrigerator door,
// the timeline of a household, the sheet for a suspected reaction, and a table
// of readings and weights.
//
// Everything comes from a household and its log, which the caller has read;
// everything goes to a writer. A document is one page of HTML with its own style
// for paper; what people wrote is always escaped, and dates are in the clinic's
// zone.
package record
