package record

import (
	"fmt"
	"io"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// cardPage is the card for the refrigerator door.
type cardPage struct {
	sheet
	Dog       string
	Items     []cardItem
	Emergency string
	Today     string
	NextDose  string
	Injection string
}

// cardItem is one item with its anchors.
type cardItem struct {
	N      int
	Name   string
	Levels [5]string
	X      string
}

// Card writes one dog's card in large print: the items with their anchors in the
// order in which they are asked, both telephone numbers, the danger signs, and
// what holds for the next dose. It names no dose. Errors wrap ErrNoDog, or are
// the writer's.
func Card(w io.Writer, in Input) error {
	d, err := in.dog()
	if err != nil {
		return err
	}
	p := &cardPage{sheet: in.sheet("card", "Card for "+d.Name), Dog: short(d.Name, 30)}
	p.Items = cardItems(in.Rules, d, in.contact(1).Lang)
	p.Emergency, p.Today = dangerSigns(d)
	p.NextDose, p.Injection = nextDose(d, in.Rules.Phone)
	return write(w, "card.html", p)
}

// cardItems are the items that this dog's owner is asked.
func cardItems(r *care.Rules, d *care.Dog, lang string) []cardItem {
	script, ok := r.Scripts.Script("checkin")
	if !ok {
		return nil
	}
	var list []cardItem
	for i := range clinical.ItemCount {
		item := clinical.Item(i)
		name := itemName(d, item)
		levels, x, ok := script.Anchors(item.String(), lang)
		if name == "" || !ok {
			continue
		}
		if label, ok := script.Label(item.String(), lang); ok && !item.IsOwn() {
			name = label
		}
		list = append(list, cardItem{N: len(list) + 1, Name: capital(name), Levels: levels, X: x})
	}
	return list
}

// medicines of the classes that change what is urgent; a held one may still act.
func takes(d *care.Dog, c care.MedicineClass) bool {
	for _, e := range d.Plan {
		if e.Class == c && e.Status != care.Ended {
			return true
		}
	}
	return false
}

// dangerSigns lists the signs for this dog in plain words: those of an emergency
// and those to ring about on the same day.
func dangerSigns(d *care.Dog) (emergency, today string) {
	ctx := signs.Context{NSAID: takes(d, care.NSAID), Antibody: takes(d, care.Antibody)}
	var now, day []string
	for _, s := range signs.All() {
		if s == signs.Unclear || (s == signs.Discharge && d.Sex == care.Male) {
			continue
		}
		switch s.Urgency(ctx) {
		case signs.Emergency:
			now = append(now, s.Label())
		case signs.SameDay:
			day = append(day, s.Label())
		}
	}
	return capital(strings.Join(now, " · ")), capital(strings.Join(day, " · "))
}

// nextDose is what holds for the next dose when a sign appears. It is said of the
// medicine itself where one is recorded, and under a condition where none is; the
// card outlives changes of the plan, so the condition stays in either case.
func nextDose(d *care.Dog, phone string) (dose, injection string) {
	he := map[care.Sex]string{care.Male: "he", care.Female: "she"}[d.Sex]
	if he == "" {
		he = d.Name
	}
	what := "an anti-inflammatory"
	for _, e := range d.Plan {
		if e.Class == care.NSAID && e.Status != care.Ended {
			what += " such as " + short(e.What, 40)
			break
		}
	}
	dose = fmt.Sprintf("If %s is on %s and you see any of these: don't give the next dose of that medicine before you've spoken to us on %s; keep giving the others as prescribed.", he, what, phone)
	if takes(d, care.Antibody) {
		injection = fmt.Sprintf("If %s has a monthly injection: tell us before the next one.", he)
	}
	return dose, injection
}
