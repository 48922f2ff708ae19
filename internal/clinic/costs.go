package clinic

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"gaitpost/internal/care"
)

const (
	allowedCurrency = "three capital letters of ISO 4217, like GBP"
	allowedPrice    = "0 to 10, in the currency, written with a point"
	notSetCost      = "the outcomes say that none is set"
)

var (
	allowedMinutes = fmt.Sprintf("a whole number from 1 to %d", care.MaxMinutes)
	currencyCode   = regexp.MustCompile(`^[A-Z]{3}$`)
)

// priceTable is the two prices of a segment.
var priceTable = []struct {
	name string
	at   func(*care.Costs) **float64
}{
	{"sent_segment", func(c *care.Costs) **float64 { return &c.Sent }},
	{"received_segment", func(c *care.Costs) **float64 { return &c.Received }},
}

// outcomeKey is an outcome as a setting is called: "plan_changed".
func outcomeKey(o care.Outcome) string {
	return strings.NewReplacer(" ", "_", "'", "").Replace(string(o))
}

func costKeys() []Key {
	out := []Key{{"costs", false, "", "currency, prices of a segment, minutes", ""},
		{"costs.currency", false, "", allowedCurrency, notSetCost}}
	for _, p := range priceTable {
		out = append(out, Key{"costs." + p.name, false, "", allowedPrice, notSetCost})
	}
	out = append(out, Key{"costs.minutes", false, "", "for each outcome, how long it usually takes", ""})
	for _, o := range care.Outcomes {
		out = append(out, Key{"costs.minutes." + outcomeKey(o), false, "", allowedMinutes, notSetCost})
	}
	return out
}

// readCosts reads what segments cost and how long outcomes usually take.
func (f *file) readCosts(p place) {
	if p.node == nil || isEmpty(p.node) {
		return
	}
	c, found := &f.clinic.Rules.Costs, f.fields(p)
	if text, ok := f.text(found["currency"]); ok {
		if currencyCode.MatchString(text) {
			c.Currency = text
		} else {
			f.wrong(found["currency"], "this is not the code of a currency", allowedCurrency)
		}
	}
	priced := place{}
	for _, price := range priceTable {
		if f.readPrice(found[price.name], price.at(c)) {
			priced = found[price.name]
		}
	}
	if priced.node != nil && found["currency"].node == nil {
		f.wrong(priced, "a price needs a currency", "costs.currency: "+allowedCurrency)
	}
	if at := found["minutes"]; at.node != nil && !isEmpty(at.node) {
		f.readMinutes(at)
	}
}

func (f *file) readPrice(p place, into **float64) bool {
	text, ok := f.text(p)
	if !ok {
		return false
	}
	v := 0.0
	v, ok = parseQuantity(&v, text)
	if !ok || v < 0 || v > 10 {
		f.wrong(p, "this is not the price of one segment", allowedPrice)
		return false
	}
	*into = &v
	return true
}

func (f *file) readMinutes(p place) {
	found := f.fields(p)
	for _, o := range care.Outcomes {
		at := found[outcomeKey(o)]
		text, ok := f.text(at)
		if !ok {
			continue
		}
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > care.MaxMinutes {
			f.wrong(at, "this is not a number of minutes", allowedMinutes)
			continue
		}
		if f.clinic.Rules.Costs.Minutes == nil {
			f.clinic.Rules.Costs.Minutes = map[care.Outcome]int{}
		}
		f.clinic.Rules.Costs.Minutes[o] = n
	}
}

func (c *Clinic) putCosts(put func(path, value string)) {
	costs := &c.Rules.Costs
	put("costs.currency", costs.Currency)
	for _, p := range priceTable {
		if v := *p.at(costs); v != nil {
			put("costs."+p.name, strconv.FormatFloat(*v, 'f', -1, 64))
		}
	}
	for _, o := range care.Outcomes {
		if n := costs.Minutes[o]; n > 0 {
			put("costs.minutes."+outcomeKey(o), strconv.Itoa(n))
		}
	}
}
