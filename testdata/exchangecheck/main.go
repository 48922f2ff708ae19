// Command exchangecheck reads what Gaitpost gives to other programs with
// libraries that nobody at Gaitpost wrote: a FHIR R4 bundle with Google's FHIR
// validator and unmarshaller, a calendar with two parsers of iCalendar. It is a
// module of its own, so that none of them is a dependency of the service.
//
//	exchangecheck fhir FILE    exits 1 and says why where it is not valid
//	exchangecheck ical FILE    prints what each parser read, a line an event
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	arran "github.com/arran4/golang-ical"
	emersion "github.com/emersion/go-ical"
	"github.com/google/fhir/go/fhirversion"
	"github.com/google/fhir/go/jsonformat"
)

func main() {
	if err := run(os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(args []string, w io.Writer) error {
	if len(args) != 2 {
		return errors.New("exchangecheck fhir|ical FILE")
	}
	b, err := os.ReadFile(args[1])
	if err != nil {
		return err
	}
	switch args[0] {
	case "fhir":
		return fhir(b)
	case "ical":
		if err := readByArran(string(b), w); err != nil {
			return err
		}
		return readByEmersion(string(b), w)
	}
	return fmt.Errorf("%q is neither fhir nor ical", args[0])
}

// fhir refuses what is not FHIR R4: unknown fields, wrong codes, missing parts.
func fhir(b []byte) error {
	u, err := jsonformat.NewUnmarshaller("UTC", fhirversion.R4)
	if err != nil {
		return err
	}
	_, err = u.Unmarshal(b)
	return err
}

func readByArran(s string, w io.Writer) error {
	c, err := arran.ParseCalendar(strings.NewReader(s))
	if err != nil {
		return err
	}
	for _, e := range c.Events() {
		day, err := e.GetAllDayStartAt()
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "arran4\t%s\t%s\t%s\n", e.Id(), day.Format("2006-01-02"), arran.FromText(e.GetProperty(arran.ComponentPropertySummary).Value))
	}
	return nil
}

func readByEmersion(s string, w io.Writer) error {
	c, err := emersion.NewDecoder(strings.NewReader(s)).Decode()
	if err != nil {
		return err
	}
	for _, e := range c.Events() {
		uid, err := e.Props.Text("UID")
		if err != nil {
			return err
		}
		summary, err := e.Props.Text("SUMMARY")
		if err != nil {
			return err
		}
		start := e.Props.Get("DTSTART")
		fmt.Fprintf(w, "emersion\t%s\t%s\t%s\n", uid, start.Value, summary)
	}
	return nil
}
