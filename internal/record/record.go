package record

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"gaitpost/internal/care"
)

// Entry is one turn of a household's log.
type Entry struct {
	At    time.Time
	Event care.Event
	Facts []care.Fact
	// Refusal is what staff were told who asked for what cannot be; "" for none.
	Refusal string
}

// Input is what a document is made from. Rules and Household are needed.
type Input struct {
	Rules     *care.Rules
	Household *care.Household
	Dog       int     // its place in Household.Dogs; not used by Timeline
	Entries   []Entry // oldest first
	// Cut says that the log began before the first of Entries.
	Cut bool
	Now time.Time
	// Style is the address of the style sheet (see Style); "" puts it into the
	// document, so that the file stands alone.
	Style string
	// Icon is the address of the page's icon; "" for none.
	Icon string
	// Numbers lets a referral show telephone numbers.
	Numbers bool
	// NameOf turns the id of a member of staff into a name; nil, or "", leaves
	// what Rules know.
	NameOf func(id string) string
}

// ErrNoDog is returned for a dog that the household doesn't have.
var ErrNoDog = errors.New("the household has no such dog")

//go:embed templates/*.html
var templateFiles embed.FS

//go:embed paper.css
var paperStyle string

// Style is the style sheet of every document, for a server to serve where a
// page's policy forbids styles within it.
func Style() string { return paperStyle }

var pages = template.Must(template.New("").Option("missingkey=error").ParseFS(templateFiles, "templates/*.html"))

// sheet is what every document has.
type sheet struct {
	Title    string
	Kind     string // class of the body
	Style    string
	Icon     string
	CSS      template.CSS
	Practice string
	Phone    string
	Urgent   string
	Made     string
	Cut      bool
}

func (in *Input) sheet(kind, title string) sheet {
	s := sheet{Title: title, Kind: kind, Style: in.Style, Icon: in.Icon, Practice: in.Rules.Name, Phone: in.Rules.Phone,
		Urgent: in.Rules.Emergency, Made: in.stamp(in.Now.Unix()), Cut: in.Cut}
	if in.Style == "" {
		s.CSS = template.CSS(paperStyle)
	}
	return s
}

// dog is the dog that a document is about.
func (in *Input) dog() (*care.Dog, error) {
	if in.Dog < 0 || in.Dog >= len(in.Household.Dogs) {
		return nil, fmt.Errorf("dog %d of %d: %w", in.Dog+1, len(in.Household.Dogs), ErrNoDog)
	}
	return &in.Household.Dogs[in.Dog], nil
}

// write makes a document in full before any of it is written.
func write(w io.Writer, name string, page any) error {
	var b bytes.Buffer
	if err := pages.ExecuteTemplate(&b, name, page); err != nil {
		return fmt.Errorf("making the document: %w", err)
	}
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("writing the document: %w", err)
	}
	return nil
}

func (in *Input) zone() *time.Location {
	if in.Rules.Zone == nil {
		return time.UTC
	}
	return in.Rules.Zone
}

// day is a date in the clinic's zone.
func (in *Input) day(unix int64) string {
	if unix == 0 {
		return ""
	}
	return time.Unix(unix, 0).In(in.zone()).Format("2 Jan 2006")
}

// stamp is a date and time in the clinic's zone.
func (in *Input) stamp(unix int64) string {
	return time.Unix(unix, 0).In(in.zone()).Format("2 Jan 2006, 15:04")
}

// name is a member of staff by the id that the record keeps.
func (in *Input) name(id string) string {
	if id == "" {
		return ""
	}
	if in.NameOf != nil {
		if n := in.NameOf(id); n != "" {
			return n
		}
	}
	if p, ok := in.Rules.Practitioner(id); ok {
		return p.Name
	}
	return id
}

// contact is a person of the household by the number that facts keep (its place
// plus one).
func (in *Input) contact(n int8) care.Contact {
	if i := int(n) - 1; i >= 0 && i < len(in.Household.Contacts) {
		return in.Household.Contacts[i]
	}
	return care.Contact{Name: "the owner"}
}

// owner is the name of a person of the household.
func (in *Input) owner(n int8) string {
	if name := in.contact(n).Name; name != "" {
		return name
	}
	return "the owner"
}

// short cuts a text so that a document keeps its length.
func short(s string, most int) string {
	runes := []rune(strings.TrimSpace(s))
	if len(runes) <= most {
		return string(runes)
	}
	return strings.TrimSpace(string(runes[:most])) + " …"
}

// capital gives a text a capital.
func capital(s string) string {
	for i, c := range s {
		return strings.ToUpper(string(c)) + s[i+len(string(c)):]
	}
	return s
}

func one(v float64) string { return fmt.Sprintf("%.1f", v) }

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func kg(grams int64) string { return fmt.Sprintf("%.2f kg", float64(grams)/1000) }
