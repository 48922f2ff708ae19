package clinical

// HalfScore opens the half-of-items rule to the published cases, which are about
// one scale and not about two halves.
var HalfScore = halfScore
