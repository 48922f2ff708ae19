package record

import (
	"cmp"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"gaitpost/internal/clinical"
)

// csvHeader names the columns. A line uses those of its kind and leaves the rest
// empty.
func csvHeader() []string {
	header := []string{"kind", "at", "dog", "reference", "index", "pain", "mobility"}
	for i := range clinical.ItemCount {
		header = append(header, clinical.Item(i).String())
	}
	return append(header, "weight_kg", "scale", "before_treatment", "same_as_last", "answered_by", "entered_by",
		"asked_at", "alert", "urgency", "sentence", "acknowledged_at", "acknowledged_by", "closed_at", "closed_by", "outcome", "minutes")
}

// csvLine is one line and the instant that places it.
type csvLine struct {
	at    int64
	cells map[string]string
}

// ExportCSV writes a dog's check-ins, weights and alerts as a table, oldest
// first: a line each, with instants in the clinic's zone and the
// practice's own reference. An answer is 0 to 4, x
// where it does not apply, empty where it was not given; scores are unrounded, 0
// best to 100 worst. A check-in that nobody answered is a line of the kind
// "missed check-in". A cell that a spreadsheet would take for a formula begins
// with an apostrophe. Errors wrap ErrNoDog, or are the writer's.
func ExportCSV(w io.Writer, in Input) error {
	t := NewTable(w)
	if err := t.Add(in); err != nil {
		return err
	}
	return t.Close()
}

// csvRows are the lines of a dog, without the header.
func (in *Input) csvRows() ([][]string, error) {
	d, err := in.dog()
	if err != nil {
		return nil, err
	}
	h := in.history()
	var lines []csvLine
	for i := range h.CheckIns {
		if h.CheckIns[i].State != Waiting {
			lines = append(lines, csvLine{h.CheckIns[i].At, in.checkInCells(&h.CheckIns[i])})
		}
	}
	for _, x := range h.Weights {
		lines = append(lines, csvLine{x.At, map[string]string{"kind": "weight", "scale": x.Scale.String(), "entered_by": in.name(x.By),
			"weight_kg": strconv.FormatFloat(x.Grams.Kilograms(), 'f', 3, 64)}})
	}
	for _, a := range h.Alerts {
		lines = append(lines, csvLine{a.Opened, in.alertCells(a)})
	}
	slices.SortStableFunc(lines, func(a, b csvLine) int { return cmp.Compare(a.at, b.at) })
	header := csvHeader()
	var rows [][]string
	for _, l := range lines {
		l.cells["at"], l.cells["dog"], l.cells["reference"] = in.csvTime(l.at), d.Name, d.Ref
		row := make([]string, len(header))
		for i, name := range header {
			row[i] = harmless(l.cells[name])
		}
		rows = append(rows, row)
	}
	return rows, nil
}

func (in *Input) checkInCells(c *CheckIn) map[string]string {
	if c.State == Missed {
		return map[string]string{"kind": "missed check-in", "asked_at": in.csvTime(c.Asked)}
	}
	r := &c.Reading
	cells := map[string]string{"kind": "check-in", "before_treatment": yesNo(r.Before), "same_as_last": yesNo(r.Carried),
		"asked_at": in.csvTime(c.Asked), "answered_by": c.Who, "entered_by": in.name(c.By),
		"index": scoreCell(r.Index.Scored, r.Index.Total), "pain": scoreCell(r.Index.PainScored, r.Index.Pain),
		"mobility": scoreCell(r.Index.MobilityScored, r.Index.Mobility)}
	for i, l := range r.Items {
		name := clinical.Item(i).String()
		switch {
		case l == clinical.NotApplicable:
			cells[name] = "x"
		case l.Answered():
			cells[name] = strconv.Itoa(int(l))
		}
	}
	return cells
}

func (in *Input) alertCells(a *Alert) map[string]string {
	cells := map[string]string{"kind": "alert", "alert": string(a.Reason), "urgency": a.Urgency.String(), "sentence": a.Sentence,
		"acknowledged_at": in.csvTime(a.Acked), "acknowledged_by": in.name(a.AckedBy),
		"closed_at": in.csvTime(a.Closed), "closed_by": in.name(a.By), "outcome": string(a.Outcome)}
	if a.Minutes > 0 {
		cells["minutes"] = strconv.Itoa(a.Minutes)
	}
	return cells
}

func scoreCell(scored bool, v clinical.Score) string {
	if !scored {
		return ""
	}
	return strconv.FormatFloat(float64(v), 'f', -1, 64)
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// csvTime is an instant; "" for none.
func (in *Input) csvTime(unix int64) string {
	if unix == 0 {
		return ""
	}
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
