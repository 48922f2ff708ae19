// Package chart draws a dog's course as inline SVG: the index over time, its two
// halves, the items of the check-in, the weight, and a small trend for lists.
//
// A drawing has no style, no script and no reference to anything outside itself,
// so that the strictest page policy lets it through: its looks are presentation
// attributes and classes that a page's own style may use. Lines and text take the
// page's colour (currentColor), so one drawing serves a light page, a dark one
// and paper. Nothing is told by colour alone: lines differ by dash, points by
// shape, and both are labelled where they stand.
//
// Every drawing comes with a Table of the same figures for whoever cannot see
// it. The package knows nothing of dogs: it is given points and words.
package chart
