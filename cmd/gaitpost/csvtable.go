package main

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// problems gathers everything that is wrong with an input, so that a person can
// mend it in one go.
type problems []problem

// problem is one sentence, and the row that it is about; 0 where there is none.
type problem struct {
	row  int
	text string
}

func (p *problems) add(format string, args ...any) {
	*p = append(*p, problem{0, fmt.Sprintf(format, args...)})
}

// inRow adds a problem with a whole row. Rows are counted as in a spreadsheet: the
// header is row 1.
func (p *problems) inRow(row int, format string, args ...any) {
	*p = append(*p, problem{row, fmt.Sprintf("row %d: %s", row, fmt.Sprintf(format, args...))})
}

// at adds a problem with one cell.
func (p *problems) at(row int, column, format string, args ...any) {
	*p = append(*p, problem{row, fmt.Sprintf("row %d, column %s: %s", row, column, fmt.Sprintf(format, args...))})
}

// mostProblems is how many are listed one by one.
const mostProblems = 50

// err is nil without problems, and otherwise one error that lists them line by line
// in the order of the rows.
func (p problems) err() error {
	if len(p) == 0 {
		return nil
	}
	sorted := slices.Clone(p)
	slices.SortStableFunc(sorted, func(a, b problem) int { return cmp.Compare(a.row, b.row) })
	var b strings.Builder
	b.WriteString("the input has problems:")
	for i, one := range sorted {
		if i == mostProblems {
			fmt.Fprintf(&b, "\n  and %d more", len(p)-mostProblems)
			break
		}
		b.WriteString("\n  " + one.text)
	}
	return errors.New(b.String())
}

// tableRow is one row of a CSV: its number and its cells in the order of the
// columns that were asked for, without spaces around them.
type tableRow struct {
	row   int
	cells []string
}

// maxTableRows bounds what is read; more is not a household's or a clinic's data.
const maxTableRows = 20_000

// readTable reads a CSV whose header holds exactly these columns, in any order.
// What is wrong with it goes to p; rows with a wrong number of cells are left out.
func readTable(r io.Reader, columns []string, p *problems) []tableRow {
	in := csv.NewReader(r)
	in.FieldsPerRecord = -1
	in.TrimLeadingSpace = true
	header, err := in.Read()
	if err != nil {
		p.inRow(1, "%s; expected the header %s", csvReason(err), strings.Join(columns, ","))
		return nil
	}
	order, ok := columnOrder(header, columns, p)
	if !ok {
		return nil
	}
	return readRows(in, order, columns, p)
}

func readRows(in *csv.Reader, order []int, columns []string, p *problems) []tableRow {
	var rows []tableRow
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var broken *csv.ParseError
		if errors.As(err, &broken) {
			p.inRow(broken.StartLine, "%s", csvReason(err))
			continue
		}
		if err != nil {
			p.add("reading stopped: %v", err)
			break
		}
		row, _ := in.FieldPos(0)
		if len(record) != len(columns) {
			p.inRow(row, "%d cells where there are %d columns (%s)", len(record), len(columns), strings.Join(columns, ","))
			continue
		}
		if len(rows) == maxTableRows {
			p.inRow(row, "more than %d rows", maxTableRows)
			break
		}
		cells := make([]string, len(columns))
		for i, k := range order {
			cells[i] = strings.TrimSpace(record[k])
		}
		rows = append(rows, tableRow{row, cells})
	}
	if len(rows) == 0 && len(*p) == 0 {
		p.add("there are no rows below the header")
	}
	return rows
}

// columnOrder finds where each column asked for stands in the header.
func columnOrder(header, columns []string, p *problems) ([]int, bool) {
	names := make([]string, len(header))
	for i, h := range header {
		names[i] = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))
	}
	order := make([]int, len(columns))
	ok := true
	for i, c := range columns {
		order[i] = slices.Index(names, c)
		if order[i] < 0 {
			p.at(1, c, "is missing from the header; expected %s", strings.Join(columns, ","))
			ok = false
		}
	}
	for i, n := range names {
		if !slices.Contains(columns, n) {
			p.at(1, strconv.Quote(clip(header[i])), "is not one of %s", strings.Join(columns, ","))
			ok = false
		} else if slices.Index(names, n) != i {
			p.at(1, n, "appears twice")
			ok = false
		}
	}
	return order, ok
}

func csvReason(err error) string {
	switch {
	case errors.Is(err, io.EOF):
		return "nothing was given"
	case errors.Is(err, csv.ErrQuote), errors.Is(err, csv.ErrBareQuote):
		return "a quotation mark is out of place"
	}
	return "cannot be read as CSV"
}

// clip shortens what somebody wrote before it is shown back.
func clip(s string) string {
	r := []rune(s)
	if len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// number reads a finite decimal number with a point.
func number(s string) (float64, string) {
	if s == "" {
		return 0, "is empty; a number is needed"
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil && strings.Count(s, ",") == 1 {
		return 0, fmt.Sprintf("%q is not a number; write a point for the comma", clip(s))
	}
	if err != nil {
		return 0, fmt.Sprintf("%q is not a number", clip(s))
	}
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Sprintf("%q is not a finite number", clip(s))
	}
	return v, ""
}

// isoDate reads 2006-01-02 or RFC 3339.
func isoDate(s string) (time.Time, string) {
	for _, layout := range []string{time.DateOnly, time.RFC3339} {
		if d, err := time.Parse(layout, s); err == nil {
			if d.Year() < 1900 || d.Year() > 2200 {
				return time.Time{}, fmt.Sprintf("%q is not between the years 1900 and 2200", clip(s))
			}
			return d, ""
		}
	}
	if s == "" {
		return time.Time{}, "is empty; a date is needed"
	}
	return time.Time{}, fmt.Sprintf("%q is not a date like 2026-03-31 or 2026-03-31T10:00:00Z", clip(s))
}

// sameDay tells whether two times, each as it was written, name one calendar day.
func sameDay(a, b time.Time) bool {
	return a.Format(time.DateOnly) == b.Format(time.DateOnly)
}
