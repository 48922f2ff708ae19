package clinic

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Severity says what a problem stops.
type Severity uint8

const (
	// Wrong settings are refused: nothing starts with them.
	Wrong Severity = iota
	// Doubtful settings are used; somebody should look at them.
	Doubtful
)

// String returns the severity as check-config prints it.
func (s Severity) String() string {
	if s == Doubtful {
		return "warning"
	}
	return "problem"
}

// Problem is one thing wrong with a settings or enrolment file, said so that
// the person who wrote the file can put it right.
type Problem struct {
	File string
	Line int // from 1; in an enrolment table the row. 0: the file as a whole
	// Key is where it stands: "channels[sms].number", or the table's column.
	Key      string
	Value    string // as written, shortened; never a secret
	Message  string // a sentence without its full stop
	Allowed  string // what may stand there; "" where the message says it all
	Severity Severity
}

// maxShownValue is how much of a value a problem repeats, in characters.
const maxShownValue = 40

// String is the line that check-config prints:
// file:line: key: message (got "…"; allowed …).
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d", p.Line)
	}
	b.WriteString(": ")
	if p.Key != "" {
		b.WriteString(p.Key + ": ")
	}
	if p.Severity == Doubtful {
		b.WriteString("warning: ")
	}
	b.WriteString(p.Message)
	var extra []string
	if p.Value != "" {
		extra = append(extra, fmt.Sprintf("got %q", shorten(p.Value)))
	}
	if p.Allowed != "" {
		extra = append(extra, "allowed "+p.Allowed)
	}
	if len(extra) > 0 {
		b.WriteString(" (" + strings.Join(extra, "; ") + ")")
	}
	return b.String()
}

// shorten keeps a value readable in one line.
func shorten(s string) string {
	r := []rune(s)
	if len(r) <= maxShownValue {
		return s
	}
	return string(r[:maxShownValue-1]) + "…"
}

// AnyWrong reports whether one of the problems stops the settings from being
// used; warnings do not.
func AnyWrong(problems []Problem) bool {
	return slices.ContainsFunc(problems, func(p Problem) bool { return p.Severity == Wrong })
}

// sortProblems puts problems into the order in which a person works through
// them: by file, then by line.
func sortProblems(problems []Problem) {
	slices.SortStableFunc(problems, func(a, b Problem) int {
		return cmp.Or(strings.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line),
			strings.Compare(a.Key, b.Key), strings.Compare(a.Message, b.Message))
	})
}
