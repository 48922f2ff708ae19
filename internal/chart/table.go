package chart

import (
	"math"
	"strconv"
	"time"
)

// Table holds a drawing's figures in words: for a screen reader, or for whoever
// wants the numbers. Rows are as long as Headers.
type Table struct {
	Caption string
	Headers []string
	Rows    [][]string
}

// none stands in a table where there is no figure.
const none = "–"

// one writes a number with one decimal, and a dash for what is no number.
func one(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return none
	}
	return strconv.FormatFloat(v, 'f', 1, 64)
}

// day writes the date of an instant.
func day(at int64, zone *time.Location) string {
	return time.Unix(sane(at), 0).In(zoneOr(zone)).Format("2 Jan 2006")
}

func zoneOr(zone *time.Location) *time.Location {
	if zone == nil {
		return time.UTC
	}
	return zone
}

// The years that a drawing can show; an instant outside is a clock set wrong.
const (
	earliest = 0          // 1970
	latest   = 7258118400 // 2200
)

func sane(at int64) int64 { return min(max(at, earliest), latest) }
