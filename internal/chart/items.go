package chart

import (
	"fmt"
	"strconv"
	"time"
)

// ItemsInput is what a grid of answers shows.
type ItemsInput struct {
	Title string
	Zone  *time.Location // nil is UTC
	At    []int64        // Unix seconds of each check-in, oldest first
	Rows  []ItemRow
}

// ItemRow is one question and its answers.
type ItemRow struct {
	Name string
	// Usual is the usual answer; below 0 where it is not known.
	Usual float64
	// Levels are the answers, one for each instant of At: 0 to 4, -1 not
	// answered, -2 does not apply. What is missing counts as not answered.
	Levels []int
}

// mostColumns is how many check-ins a grid shows: the newest.
const mostColumns = 13

func (r ItemRow) level(i int) int {
	if i >= len(r.Levels) || r.Levels[i] < -2 || r.Levels[i] > 4 {
		return -1
	}
	return r.Levels[i]
}

// Items draws the answers to each question of the last check-ins as a grid: the
// figure itself, on a field that is darker and higher the worse it is.
func Items(in ItemsInput) (string, Table) {
	first := max(len(in.At)-mostColumns, 0)
	at := in.At[first:]
	const left, usual, cell, row, top = 190.0, 46.0, 37.0, 22.0, 34.0
	c := newCanvas("items", fmt.Sprintf("%s. Answers to %d questions at the last %d check-ins, 0 no trouble to 4 worst. A table follows.",
		in.Title, len(in.Rows), len(at)), 720, top+row*float64(max(len(in.Rows), 1))+6)
	if len(at) == 0 || len(in.Rows) == 0 {
		c.text(360, top+4, middle, normal, "No check-in yet")
		return c.done(), itemsTable(in, first)
	}
	c.text(left+usual/2, top-8, middle, small, "usual")
	for k, t := range at {
		when := time.Unix(sane(t), 0).In(zoneOr(in.Zone))
		x := left + usual + (float64(k)+.5)*cell
		c.text(x, top-20, middle, small, strconv.Itoa(when.Day()))
		c.text(x, top-8, middle, small, when.Format("Jan"))
	}
	for i, r := range in.Rows {
		y := top + row*float64(i)
		c.text(left-8, y+15, end, normal, fit(r.Name, left-12, normal))
		c.text(left+usual/2, y+15, middle, small, usualText(r))
		for k := range at {
			c.answer(left+usual+float64(k)*cell, y, cell, row, r.level(first+k))
		}
	}
	return c.done(), itemsTable(in, first)
}

// answer draws one field of the grid.
func (c *canvas) answer(x, y, w, h float64, level int) {
	c.box(x+1, y+1, x+w-1, y+h-1, look{class: "cell", width: .5, faint: .4})
	if level > 0 {
		top := y + 1 + (h-2)*(1-float64(level)/4)
		c.box(x+1, top, x+w-1, y+h-1, look{class: "level" + strconv.Itoa(level), fill: .06 + .06*float64(level)})
	}
	c.text(x+w/2, y+h-7, middle, normal, levelText(level))
}

func levelText(level int) string {
	switch level {
	case -2:
		return "×"
	case -1:
		return "·"
	}
	return strconv.Itoa(level)
}

func usualText(r ItemRow) string {
	if r.Usual < 0 || !finite(r.Usual) {
		return none
	}
	return one(r.Usual)
}

func itemsTable(in ItemsInput, first int) Table {
	t := Table{Caption: in.Title + ": answers, 0 no trouble to 4 worst; · not answered, × does not apply", Headers: []string{"Question", "Usual"}}
	for _, at := range in.At[first:] {
		t.Headers = append(t.Headers, day(at, in.Zone))
	}
	for _, r := range in.Rows {
		row := []string{clean(r.Name), usualText(r)}
		for k := range in.At[first:] {
			row = append(row, levelText(r.level(first+k)))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
