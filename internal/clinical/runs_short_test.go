//go:build !long

package clinical_test

// runsPerFigure is how many runs stand behind each simulated run length.
const runsPerFigure = 3000
