// Package clinical holds the arithmetic of a dog's care: the pain and mobility
// index, its baselines and alert rules, weight, and what a change of plan did.
// Everything here is pure: it reads no clock, no file and no network, and the
// same input gives the same output for ever.
//
// The index is Gaitpost's own. It is not a validated instrument, and no number
// here is a diagnosis.
package clinical

// FormulaVersion names the formula that turns answers into an index. It is kept
// with every score. Any change that alters a result needs the next number and a
// new golden file; the old golden file stays as it is.
const FormulaVersion = 1
