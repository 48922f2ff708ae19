package desk

import (
	"net/http"

	"gaitpost/internal/account"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/signs"
)

// checkInPage is the form for a check-in taken by telephone or on paper. It
// shows no record, so that reception can take one too.
type checkInPage struct {
	page
	ID       string
	DogIndex int8
	DogName  string
	Owner    string
	Items    []itemField
	Urgent   []signs.Sign
	SameDay  []signs.Sign
	Medicine bool
	To       string
}

type itemField struct {
	Code, Name string
	Levels     [5]string
	Absent     bool // the owner has chosen no such activity
}

func (d *Desk) checkInPage(v *visit) error {
	h, i, err := d.loadDog(v)
	if err != nil {
		return err
	}
	dog := &h.Dogs[i]
	p := &checkInPage{page: d.page(v, "Check-in for "+dog.Name), ID: string(h.ID), DogIndex: i, DogName: dog.Name, To: d.afterCheckIn(v, string(h.ID), i)}
	if len(h.Contacts) > 0 {
		p.Owner = h.Contacts[0].Name
	}
	p.Items = itemFieldsOf(v, dog)
	ctx := signs.Context{}
	for _, e := range dog.Plan {
		active := e.Status != care.Ended
		ctx.NSAID = ctx.NSAID || (active && e.Class == care.NSAID)
		ctx.Antibody = ctx.Antibody || (active && e.Class == care.Antibody)
		p.Medicine = p.Medicine || (e.Status == care.Active && e.Class != care.NotMedicine)
	}
	for _, s := range signs.All() {
		switch {
		case s == signs.Unclear:
		case s.Urgency(ctx) == signs.Emergency:
			p.Urgent = append(p.Urgent, s)
		case s.Urgency(ctx) == signs.SameDay:
			p.SameDay = append(p.SameDay, s)
		}
	}
	return d.render(v, http.StatusOK, "checkin", p)
}

// itemFieldsOf are the questions as a form asks them, in the items' order.
func itemFieldsOf(v *visit, dog *care.Dog) []itemField {
	script, _ := v.clinic.Rules.Scripts.Script(string(care.PromptCheckIn))
	var list []itemField
	for k := range clinical.ItemCount {
		item := clinical.Item(k)
		f := itemField{Code: item.String(), Name: capital(itemName(dog, item)), Absent: item.IsOwn() && dog.Own[item-clinical.Own1] == ""}
		if script != nil {
			f.Levels, _, _ = script.Anchors(item.String(), "en")
		}
		list = append(list, f)
	}
	return list
}

// afterCheckIn is where the form leads on to.
func (d *Desk) afterCheckIn(v *visit, id string, dog int8) string {
	if seesClinical(v) {
		return Prefix + "/h/" + id + "/dogs/" + itoa(int(dog))
	}
	return Prefix + "/today"
}

func (d *Desk) checkIn(v *visit) error {
	id, dog, err := aboutDog(v)
	if err != nil {
		return err
	}
	c := &care.EnteredCheckIn{Dog: dog, Items: clinical.NoAnswers(), Doses: -1, Before: v.FormValue("before") == "yes"}
	if c.Who, err = needed(v, "who", 60, "Please say who answered."); err != nil {
		return err
	}
	if c.On, err = takenOn(v); err != nil {
		return err
	}
	if err := itemFields(v, &c.Items); err != nil {
		return err
	}
	if v.FormValue("doses") != "" {
		n, err := number(v, "doses", 50)
		if err != nil {
			return err
		}
		c.Doses = int8(n)
	}
	form, err := v.FormParams()
	if err != nil {
		return refuse("The form could not be read. Load the page again and repeat it.")
	}
	for _, s := range form["sign"] {
		if !signs.Sign(s).Known() {
			return refuse("One of the signs is not known. Load the page again and repeat it.")
		}
		c.Signs = append(c.Signs, signs.Sign(s))
	}
	return d.act(v, deed{id: id, say: "entered", toPage: d.afterCheckIn(v, string(id), dog), what: care.Practice{CheckIn: c},
		entry: account.Entry{Deed: account.EnteredOne, Dog: int(dog) + 1}})
}

// itemFields reads the answers: 0 to 4, x for "doesn't apply", or none.
func itemFields(v *visit, items *clinical.Items) error {
	answered := 0
	for k := range clinical.ItemCount {
		switch s := v.FormValue("item-" + clinical.Item(k).String()); s {
		case "":
		case "x":
			items[k] = clinical.NotApplicable
		case "0", "1", "2", "3", "4":
			items[k] = clinical.Level(s[0] - '0')
			answered++
		default:
			return refuse("An answer is out of range: use 0 to 4, or leave it out.")
		}
	}
	if answered == 0 {
		return refuse("No question was answered.")
	}
	return nil
}
