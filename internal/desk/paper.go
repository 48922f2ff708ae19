package desk

import (
	"bytes"
	"io"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"gaitpost/internal/account"
	"gaitpost/internal/record"
)

// StandardPapers are what this desk itself prints about a dog.
func StandardPapers() []Paper {
	const dog = Prefix + "/h/{household}/dogs/{dog}/"
	return []Paper{
		{"Report for the consultation", dog + "report"}, {"Card for the fridge", dog + "card"},
		{"Timeline", dog + "timeline"}, {"Suspected-reaction sheet", dog + "reaction"}, {"Referral summary", dog + "referral"}, {"Referral as text", dog + "referral.txt"},
		{"Table (CSV)", dog + "record.csv"},
	}
}

// paperStyleURL is where the style of printed pages is served.
const paperStyleURL = Prefix + "/static/paper.css"

func (d *Desk) paperStyle(c echo.Context) error {
	c.Response().Header().Set("Cache-Control", "max-age=300")
	return c.Blob(http.StatusOK, "text/css; charset=utf-8", []byte(record.Style()))
}

func (d *Desk) reportPaper(v *visit) error   { return d.paper(v, "the report", record.Report) }
func (d *Desk) cardPaper(v *visit) error     { return d.paper(v, "the card", record.Card) }
func (d *Desk) timelinePaper(v *visit) error { return d.paper(v, "the timeline", record.Timeline) }
func (d *Desk) reactionPaper(v *visit) error {
	return d.paper(v, "the suspected-reaction sheet", record.ReactionSheet)
}

// recordCSV answers with a dog's check-ins, weights and alerts as a file.
func (d *Desk) recordCSV(v *visit) error {
	b, dog, err := d.written(v, "the table of check-ins, weights and alerts", record.ExportCSV)
	if err != nil {
		return err
	}
	asFile(v, fileName(dog)+".csv")
	return v.Blob(http.StatusOK, "text/csv; charset=utf-8", b)
}

// fileName is a dog's name as every computer takes one.
func fileName(dog string) string {
	name := strings.Map(func(c rune) rune {
		if c >= 'a' && c <= 'z' || c >= '0' && c <= '9' {
			return c
		}
		return '-'
	}, fold(dog))
	if name = strings.Trim(name, "-"); name == "" {
		return "dog"
	}
	return name[:min(len(name), 40)]
}

// paper answers with a page to print about a dog, and keeps who saw it.
func (d *Desk) paper(v *visit, what string, write func(io.Writer, record.Input) error) error {
	b, _, err := d.written(v, what, write)
	if err != nil {
		return err
	}
	return v.HTMLBlob(http.StatusOK, b)
}

// written is a document about the dog that an address names, and the dog's name.
// It keeps who saw it.
func (d *Desk) written(v *visit, what string, write func(io.Writer, record.Input) error) ([]byte, string, error) {
	h, i, err := d.loadDog(v)
	if err != nil {
		return nil, "", err
	}
	entries, err := d.record(v, h.ID)
	if err != nil {
		return nil, "", err
	}
	in := recordInput(v.clinic.Rules, h, i, entries, h.Seq > uint64(len(entries)))
	in.Numbers = v.QueryParam("numbers") == "yes"
	in.Now, in.Style, in.Icon, in.NameOf = v.now, paperStyleURL, Prefix+"/static/mark.svg", func(id string) string { return d.nameOf(v, id) }
	var b bytes.Buffer
	if err := write(&b, in); err != nil {
		return nil, "", err
	}
	e := account.Entry{Deed: account.SawDog, Household: string(h.ID), Dog: int(i) + 1, Detail: what}
	return b.Bytes(), h.Dogs[i].Name, d.trailed(v, e)
}
