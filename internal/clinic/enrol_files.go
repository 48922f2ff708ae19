package clinic

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// readTable reads a table with a header row, as spreadsheets write it: commas,
// semicolons or tabs between cells, any line ends, a byte-order mark or none.
func readTable(name string, data []byte) ([]row, []Problem) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if p := notText(name, data); p != nil {
		return nil, p
	}
	t := &table{name: name}
	r := csv.NewReader(bytes.NewReader(oldLineEnds(data)))
	r.Comma = separator(data)
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = r.Comma != '\t'
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var syntax *csv.ParseError
		if errors.As(err, &syntax) {
			t.wrong(syntax.StartLine, "a quotation mark is open or stands inside a cell; the row can't be read")
			continue
		}
		line, _ := r.FieldPos(0)
		t.add(line, record)
	}
	if t.columns == nil && len(t.problems) == 0 {
		t.wrong(0, "the file is empty; its first row names the columns")
	}
	return t.rows, t.problems
}

// notText says why bytes can't be read as a table; nil if they can.
func notText(name string, data []byte) []Problem {
	line := 0
	message := ""
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")), bytes.IndexByte(data, 0) >= 0:
		message = "this is not a text file in UTF-8; save it as \"CSV UTF-8\""
	case !utf8.Valid(data):
		i := 0
		for i < len(data) {
			r, n := utf8.DecodeRune(data[i:])
			if r == utf8.RuneError && n == 1 {
				break
			}
			i += n
		}
		line = 1 + bytes.Count(data[:i], []byte("\n"))
		message = "a letter here is not in UTF-8; save the table as \"CSV UTF-8\""
	default:
		return nil
	}
	return []Problem{{File: name, Line: line, Message: message}}
}

// oldLineEnds turns the line ends of very old spreadsheets into present ones.
func oldLineEnds(data []byte) []byte {
	if bytes.IndexByte(data, '\n') < 0 {
		return bytes.ReplaceAll(data, []byte("\r"), []byte("\n"))
	}
	return data
}

// separator is the character that parts the header's cells.
func separator(data []byte) rune {
	header, _, _ := bytes.Cut(oldLineEnds(data), []byte("\n"))
	best, most := ',', bytes.Count(header, []byte(","))
	for _, c := range []rune{';', '\t'} {
		if n := bytes.Count(header, []byte(string(c))); n > most {
			best, most = c, n
		}
	}
	return best
}

// table is a table under way.
type table struct {
	name     string
	columns  []string
	rows     []row
	problems []Problem
}

func (t *table) wrong(line int, message string) {
	t.problems = append(t.problems, Problem{File: t.name, Line: line, Message: message})
}

func (t *table) add(line int, record []string) {
	if t.columns == nil {
		t.header(line, record)
		return
	}
	blank := true
	for i := range record {
		record[i] = plainCell(record[i])
		blank = blank && record[i] == ""
	}
	if blank {
		return
	}
	if len(record) > len(t.columns) {
		for _, extra := range record[len(t.columns):] {
			if extra != "" {
				t.wrong(line, fmt.Sprintf("this row has %d cells and the header %d; a cell with a separator in it needs quotation marks", len(record), len(t.columns)))
				return
			}
		}
		record = record[:len(t.columns)]
	}
	r := row{line: line, cells: map[string]cell{}}
	for i, value := range record {
		r.cells[t.columns[i]] = cell{value: value, key: t.columns[i], line: line}
	}
	t.rows = append(t.rows, r)
}

func (t *table) header(line int, record []string) {
	seen := map[string]bool{}
	var known []string
	for _, c := range EnrolColumns {
		known = append(known, c.Name)
	}
	for _, column := range record {
		column = strings.ReplaceAll(strings.ToLower(plainCell(column)), " ", "_")
		t.columns = append(t.columns, column)
		switch {
		case column == "":
			t.wrong(line, "a column has no name")
		case !isColumn(column):
			message := fmt.Sprintf("there is no column %q", printable(column))
			if best := nearest(column, known); best != "" {
				message += fmt.Sprintf("; did you mean %q?", best)
			} else {
				message += "; the columns are " + strings.Join(known, ", ")
			}
			t.wrong(line, message)
		case seen[column]:
			t.wrong(line, fmt.Sprintf("the column %q stands here twice", column))
		}
		seen[column] = true
	}
	for _, column := range known[:3] {
		if !seen[column] {
			t.wrong(line, fmt.Sprintf("the column %q is missing", column))
		}
	}
}

func isColumn(name string) bool {
	for _, c := range EnrolColumns {
		if c.Name == name {
			return true
		}
	}
	return false
}

var wrapped = regexp.MustCompile(`^="([^"]*)"$`)

// plainCell takes off what spreadsheets put around a value to keep it a text:
// ="07700 900123" and a leading apostrophe. Nothing is ever worked out.
func plainCell(s string) string {
	s = strings.TrimSpace(s)
	if m := wrapped.FindStringSubmatch(s); m != nil {
		s = m[1]
	}
	return strings.TrimSpace(strings.TrimPrefix(s, "'"))
}

// readEnrolYAML reads households: one at the top of the file, or a list of them
// under "households". A household has its owner's columns and dogs; a dog has
// the rest of them. Lists may stand where a table has semicolons.
func readEnrolYAML(name string, data []byte) ([]row, []Problem) {
	f := &file{name: name, src: &Source{}, clinic: &Clinic{set: map[string]int{}}}
	root, ok := f.parse(data)
	if !ok {
		return nil, f.problems
	}
	var rows []row
	top := f.names(root, append([]string{"households", "dogs"}, ownerColumns...))
	if list, many := top["households"]; many {
		for column := range top {
			if column != "households" {
				f.wrongHidden(top[column], "a file has households, or one household at its top, not both")
			}
		}
		for _, item := range f.items(list) {
			rows = append(rows, f.household(item, f.names(item, append([]string{"dogs"}, ownerColumns...)))...)
		}
	} else {
		rows = f.household(root, top)
	}
	return rows, f.problems
}

var ownerColumns = []string{"owner", "phone", "language", "zone", "one_by_one", "channel"}

func dogColumns() []string {
	names := []string{"name"}
	for _, c := range EnrolColumns {
		if !strings.Contains(" "+strings.Join(ownerColumns, " ")+" ", " "+c.Name+" ") {
			names = append(names, c.Name)
		}
	}
	return names
}

func (f *file) household(p place, found map[string]place) []row {
	if found["dogs"].node == nil {
		f.wrongHidden(place{path: join(p.path, "dogs"), line: p.line}, "a household has dogs")
		return nil
	}
	var rows []row
	for _, item := range f.items(found["dogs"]) {
		r := row{line: item.line, cells: map[string]cell{}}
		for _, column := range ownerColumns {
			f.put(r, column, found[column])
		}
		dog := f.names(item, dogColumns())
		if dog["dog"].node == nil {
			dog["dog"] = dog["name"]
		}
		delete(dog, "name")
		for column, at := range dog {
			f.put(r, column, at)
		}
		rows = append(rows, r)
	}
	return rows
}

// put writes a value into a row as a table would have it.
func (f *file) put(r row, column string, p place) {
	if p.node == nil {
		return
	}
	var values []string
	for _, item := range f.items(p) {
		n := item.node
		if n.Kind == yaml.MappingNode && len(n.Content) == 2 && n.Content[1].Kind == yaml.ScalarNode {
			values = append(values, n.Content[0].Value+":"+n.Content[1].Value) // nsaid: carprofen
		} else if text, ok := f.text(item); ok {
			values = append(values, text)
		}
	}
	r.cells[column] = cell{value: strings.Join(values, ";"), key: p.path, line: p.line}
}

// names returns the values of a mapping by name, and reports unknown and
// repeated ones.
func (f *file) names(p place, known []string) map[string]place {
	found := map[string]place{}
	if p.node == nil || p.node.Kind != yaml.MappingNode {
		f.wrong(p, "values are expected here, one a line, each as name: value", "")
		return found
	}
	for i := 0; i+1 < len(p.node.Content); i += 2 {
		f.field(p, p.node.Content[i], p.node.Content[i+1], known, found)
	}
	return found
}
