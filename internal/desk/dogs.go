package desk

import (
	"bytes"
	"cmp"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
)

// pageLength is how many dogs a page of the caseload shows.
const pageLength = 50

// sorting is one order of the caseload.
type sorting struct {
	title   string
	compare func(a, b *row) int
}

// first puts dogs that have a figure before those that have none.
func first(a, b bool) int { return cmp.Compare(btoi(b), btoi(a)) }

var sorts = map[string]sorting{
	"need": {"Who needs somebody", func(a, b *row) int {
		return cmp.Or(first(a.HasOpen, b.HasOpen), cmp.Compare(b.Open, a.Open), first(a.HasIndex, b.HasIndex), cmp.Compare(b.Index, a.Index))
	}},
	"change": {"Change, worst first", func(a, b *row) int {
		return cmp.Or(first(a.HasIndex && a.HasBase, b.HasIndex && b.HasBase), cmp.Compare(b.Change, a.Change))
	}},
	"better": {"Change, best first", func(a, b *row) int {
		return cmp.Or(first(a.HasIndex && a.HasBase, b.HasIndex && b.HasBase), cmp.Compare(a.Change, b.Change))
	}},
	"index":  {"Index, highest first", func(a, b *row) int { return cmp.Or(first(a.HasIndex, b.HasIndex), cmp.Compare(b.Index, a.Index)) }},
	"name":   {"Dog’s name", func(a, b *row) int { return cmp.Compare(fold(a.Name), fold(b.Name)) }},
	"owner":  {"Owner’s name", func(a, b *row) int { return cmp.Compare(fold(a.Owner), fold(b.Owner)) }},
	"reply":  {"Longest without a reply", func(a, b *row) int { return cmp.Compare(a.LastReply, b.LastReply) }},
	"weight": {"Furthest above target weight", func(a, b *row) int { return cmp.Compare(b.Over, a.Over) }},
}

var sortOrder = []string{"need", "change", "better", "index", "weight", "reply", "name", "owner"}

// filter is one choice of dogs.
type filter struct {
	title string
	keep  func(*row, *care.Rules) bool
}

var filters = map[string]filter{
	"followed": {"Followed now", func(w *row, _ *care.Rules) bool { return w.Status == care.Followed }},
	"open":     {"With something open", func(w *row, _ *care.Rules) bool { return w.HasOpen }},
	"worse": {"Worse than usual", func(w *row, r *care.Rules) bool {
		return w.Status == care.Followed && w.HasIndex && w.HasBase && w.Change >= r.Thresholds.MeaningfulChange
	}},
	"better": {"Better than usual", func(w *row, r *care.Rules) bool {
		return w.Status == care.Followed && w.HasIndex && w.HasBase && w.Change <= -r.Thresholds.MeaningfulChange
	}},
	"silent": {"Not answering", func(w *row, r *care.Rules) bool {
		return w.Status == care.Followed && w.Missed >= r.Limits.SilentCheckIns
	}},
	"over":  {"Above target weight", func(w *row, _ *care.Rules) bool { return w.Status == care.Followed && w.Over > 0 }},
	"ended": {"Died or left", func(w *row, _ *care.Rules) bool { return w.Status == care.Died || w.Status == care.Left }},
	"all":   {"Every dog", func(*row, *care.Rules) bool { return true }},
}

var filterOrder = []string{"followed", "open", "worse", "better", "silent", "over", "ended", "all"}

// choice is one entry of a form's list.
type choice struct {
	Value, Title string
	Chosen       bool
}

type dogsPage struct {
	page
	Query, Show, Sort, Area string
	Shows, Sorts, Areas     []choice
	Rows                    []template.HTML // each made by the page's own template
	Total, From, To, Pages  int
	PageNo                  int
	Prev, Next              string
	All                     int
	Meaningful              float64
}

// dogRow is a row with what the page adds.
type dogRow struct {
	page
	row
	Word    string
	Drawing template.HTML // "" without one
	Status  string
	Urgency string
}

func (d *Desk) dogs(v *visit) error {
	s, err := d.rosters.get(v.ctx(), v.clinic.Rules, v.now)
	if err != nil {
		return err
	}
	p := &dogsPage{page: d.page(v, "Dogs"), All: len(s.rows), Meaningful: v.clinic.Rules.Thresholds.MeaningfulChange}
	p.read(v)
	found := p.find(s, v.clinic.Rules)
	p.Total = len(found)
	p.Pages = max((p.Total+pageLength-1)/pageLength, 1)
	p.PageNo = min(p.PageNo, p.Pages)
	lo := (p.PageNo - 1) * pageLength
	hi := min(lo+pageLength, p.Total)
	p.From, p.To = min(lo+1, hi), hi
	if p.Rows, err = d.rosters.rowsAt(v, s, found[lo:hi]); err != nil {
		return err
	}
	p.turn()
	if err := d.trailed(v, account.Entry{Deed: account.SawDogs, Detail: "page " + itoa(p.PageNo)}); err != nil {
		return err
	}
	return d.render(v, http.StatusOK, "dogs", p)
}

// read takes the choices from the address; what it doesn't know is left out.
func (p *dogsPage) read(v *visit) {
	p.Query = shorten(strings.TrimSpace(v.QueryParam("q")), 80)
	p.Show, p.Sort, p.Area = v.QueryParam("show"), v.QueryParam("sort"), v.QueryParam("area")
	if _, ok := filters[p.Show]; !ok {
		p.Show = "followed"
	}
	if _, ok := sorts[p.Sort]; !ok {
		p.Sort = "need"
	}
	if !slices.Contains(care.Areas, care.Area(p.Area)) {
		p.Area = ""
	}
	p.PageNo = 1
	if n, err := strconv.Atoi(v.QueryParam("page")); err == nil && n > 0 {
		p.PageNo = n
	}
	for _, f := range filterOrder {
		p.Shows = append(p.Shows, choice{f, filters[f].title, f == p.Show})
	}
	for _, s := range sortOrder {
		p.Sorts = append(p.Sorts, choice{s, sorts[s].title, s == p.Sort})
	}
	p.Areas = append(p.Areas, choice{"", "Any plan", p.Area == ""})
	for _, a := range care.Areas {
		p.Areas = append(p.Areas, choice{string(a), "Nothing on the plan for " + string(a), string(a) == p.Area})
	}
}

// find lists the rows that were asked for, in their order.
func (p *dogsPage) find(s *summary, r *care.Rules) []int32 {
	keep, words := filters[p.Show].keep, strings.Fields(fold(p.Query))
	found := make([]int32, 0, len(s.rows))
	for _, i := range s.order(p.Sort) {
		w := &s.rows[i]
		if !keep(w, r) || (p.Area != "" && !slices.Contains(w.Uncovered, care.Area(p.Area))) {
			continue
		}
		if slices.ContainsFunc(words, func(word string) bool { return !strings.Contains(w.search, word) }) {
			continue
		}
		found = append(found, i)
	}
	return found
}

// rowHTML is a row of the page. It holds nothing that depends on who reads it or
// when, so that it stays good for as long as the household does not change.
func (d *Desk) rowHTML(v *visit, w row) (template.HTML, error) {
	r := dogRow{page: page{Prefix: Prefix, zone: v.rulesZone()}, row: w,
		Word: w.Word(v.clinic.Rules.Thresholds.MeaningfulChange), Status: statusNames[w.Status]}
	if w.HasOpen {
		r.Urgency = urgencyNames[w.Open]
	}
	if d.Drawings.Trend != nil && len(w.Trend) > 1 {
		r.Drawing = d.Drawings.Trend(TrendInput{Points: w.Trend, Baseline: w.Baseline, HasBaseline: w.HasBase, Zone: v.rulesZone()})
	}
	var b bytes.Buffer
	if err := d.pages["dogs"].ExecuteTemplate(&b, "dogrow", &r); err != nil {
		return "", fmt.Errorf("making a row of the caseload: %w", err)
	}
	return template.HTML(b.String()), nil
}

var statusNames = map[care.DogStatus]string{care.Followed: "", care.OnHold: "paused", care.Died: "died", care.Left: "left"}

// turn makes the addresses of the pages before and after.
func (p *dogsPage) turn() {
	at := func(n int) string {
		q := url.Values{"show": {p.Show}, "sort": {p.Sort}, "page": {itoa(n)}}
		if p.Query != "" {
			q.Set("q", p.Query)
		}
		if p.Area != "" {
			q.Set("area", p.Area)
		}
		return Prefix + "/dogs?" + q.Encode()
	}
	if p.PageNo > 1 {
		p.Prev = at(p.PageNo - 1)
	}
	if p.PageNo < p.Pages {
		p.Next = at(p.PageNo + 1)
	}
}
