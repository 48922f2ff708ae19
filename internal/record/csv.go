package record

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/clinical"
)

// ExportCSV writes a dog's readings and weights as a table, oldest first: a line
// each, with the instant in the clinic's zone. An answer is 0 to 4, x where it
// does not apply, empty where it was not given; scores are unrounded, 0 best to
// 100 worst. A cell that a spreadsheet would take for a formula begins with an
// apostrophe. Errors wrap ErrNoDog, or are the writer's.
func ExportCSV(w io.Writer, in Input) error {
	d, err := in.dog()
	if err != nil {
		return err
	}
	h := in.history()
	out := csv.NewWriter(w)
	header := []string{"kind", "at", "dog", "index", "pain", "mobility"}
	for i := range clinical.ItemCount {
		header = append(header, clinical.Item(i).String())
	}
	rows := [][]string{append(header, "weight_kg", "scale", "before_treatment", "same_as_last", "answered_by", "entered_by")}
	readings, weights := h.readings, h.weights
	for len(readings) > 0 || len(weights) > 0 {
		if len(weights) == 0 || (len(readings) > 0 && readings[0].At <= weights[0].At) {
			rows = append(rows, in.readingRow(d.Name, readings[0], h.entered[readings[0].At]))
			readings = readings[1:]
			continue
		}
		x := weights[0]
		row := make([]string, len(rows[0]))
		copy(row, []string{"weight", in.csvTime(x.At), d.Name})
		copy(row[6+clinical.ItemCount:], []string{strconv.FormatFloat(x.Grams.Kilograms(), 'f', 3, 64), x.Scale.String(), "", "", "", in.name(x.by)})
		rows, weights = append(rows, row), weights[1:]
	}
	for _, row := range rows {
		for i := range row {
			row[i] = harmless(row[i])
		}
		if err := out.Write(row); err != nil {
			return fmt.Errorf("writing the table: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("writing the table: %w", err)
	}
	return nil
}

func (in *Input) readingRow(dog string, r clinical.Reading, e entered) []string {
	score := func(scored bool, v clinical.Score) string {
		if !scored {
			return ""
		}
		return strconv.FormatFloat(float64(v), 'f', -1, 64)
	}
	row := []string{"check-in", in.csvTime(r.At), dog, score(r.Index.Scored, r.Index.Total),
		score(r.Index.PainScored, r.Index.Pain), score(r.Index.MobilityScored, r.Index.Mobility)}
	for _, l := range r.Items {
		switch {
		case l == clinical.NotApplicable:
			row = append(row, "x")
		case l.Answered():
			row = append(row, strconv.Itoa(int(l)))
		default:
			row = append(row, "")
		}
	}
	yes := map[bool]string{true: "yes", false: "no"}
	return append(row, "", "", yes[r.Before], yes[r.Carried], e.who, in.name(e.by))
}

func (in *Input) csvTime(unix int64) string {
	return time.Unix(unix, 0).In(in.zone()).Format(time.RFC3339)
}

// harmless makes a cell that no spreadsheet takes for a formula (OWASP, CSV
// Injection: cells that begin with = + - @, tab or carriage return).
func harmless(cell string) string {
	if cell != "" && strings.ContainsRune("=+-@\t\r\n", rune(cell[0])) {
		return "'" + cell
	}
	return cell
}
