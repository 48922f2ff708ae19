package record

import (
	"encoding/csv"
	"fmt"
	"io"
)

// Exporter writes dogs one after the other in one format. Close it in the end:
// before that the file is not whole.
type Exporter interface {
	// Add writes one dog. Errors wrap ErrNoDog, or are the writer's.
	Add(Input) error
	Close() error
}

// Table writes dogs as one table (see ExportCSV for its columns).
type Table struct {
	w     *csv.Writer
	begun bool
}

// NewTable begins a table.
func NewTable(w io.Writer) *Table { return &Table{w: csv.NewWriter(w)} }

// Add writes the lines of a dog. Errors wrap ErrNoDog, or are the writer's.
func (t *Table) Add(in Input) error {
	rows, err := in.csvRows()
	if err != nil {
		return err
	}
	t.begin()
	return t.failed(t.w.WriteAll(rows))
}

func (t *Table) begin() {
	if !t.begun {
		t.begun = true
		_ = t.w.Write(csvHeader()) // its error comes again with the next flush
	}
}

// Close writes what is left.
func (t *Table) Close() error {
	t.begin()
	t.w.Flush()
	return t.failed(t.w.Error())
}

func (t *Table) failed(err error) error {
	if err != nil {
		return fmt.Errorf("writing the table: %w", err)
	}
	return nil
}
