package clinic

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"gaitpost/internal/cadence"
	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
	"gaitpost/internal/sms"
)

func nameAllowed(placeholder string) string {
	return upTo(placeholder) + ", beginning with a letter or digit"
}

// name reads what texts will call somebody or something.
func (in *intake) name(c cell, placeholder string) string {
	if c.value == "" {
		return ""
	}
	plain, bad := forSMS(strings.Join(strings.Fields(c.value), " "))
	first, _ := utf8.DecodeRuneInString(plain)
	switch {
	case strings.ContainsFunc(c.value, unicode.IsControl):
		in.wrong(c, "this has control characters in it", nameAllowed(placeholder))
	case bad != "":
		in.wrong(c, fmt.Sprintf("%q is not in the text-message alphabet", bad), nameAllowed(placeholder))
	case utf8.RuneCountInString(plain) > roomFor(placeholder):
		in.wrong(c, fmt.Sprintf("this has %d characters", utf8.RuneCountInString(plain)), nameAllowed(placeholder))
	case !unicode.IsLetter(first) && !unicode.IsDigit(first):
		in.wrong(c, "this does not begin like a name", nameAllowed(placeholder))
	default:
		if sms.Plain(c.value) != plain && plain != strings.Join(strings.Fields(c.value), " ") {
			in.report(Doubtful, c, asInTexts(plain), "")
		}
		return plain
	}
	return ""
}

func (in *intake) owner(r row) care.Owner {
	o := care.Owner{Name: in.name(r.at("owner"), "owner")}
	o.Via = in.channel(r.at("channel"))
	o.Address = in.addressOn(o.Via, r.at("phone"))
	if in.Hasher != nil && !o.Address.IsZero() {
		o.ID = in.Hasher.ID(in.Rules.Clinic, o.Address)
	}
	o.Lang = in.language(r.at("language"))
	if c := r.at("zone"); c.value != "" {
		if _, err := loadZone(c.value); err != nil {
			in.wrong(c, "there is no such time zone", "a name like Europe/London")
		}
		o.Zone = c.value
	}
	o.OneByOne = in.yes(r.at("one_by_one"))
	return o
}

var scientific = regexp.MustCompile(`^[0-9][.,][0-9]+[eE]\+?[0-9]+$`)

// addressOn reads an owner's number on one of the clinic's channels.
func (in *intake) addressOn(via string, c cell) contact.Address {
	a := in.phone(c)
	if a.IsZero() {
		return a
	}
	for _, ch := range in.Rules.Channels {
		if ch.Name == via {
			a.Channel = ch.Kind
		}
	}
	if p, ok := in.Rules.PractitionerAt(a); ok {
		in.wrong(c, "this is the number of "+p.Name+", whose texts are read as instructions", "a number that is not in the settings")
		return contact.Address{}
	}
	return a
}

func (in *intake) phone(c cell) contact.Address {
	if scientific.MatchString(c.value) {
		in.wrong(c, "a spreadsheet has rounded this number; format the column as text and enter it again", allowedPhone)
		return contact.Address{}
	}
	a, warning, err := contact.ParsePhone(c.value, in.Rules.Region)
	if err != nil {
		in.wrong(c, sentence(err.Error()), allowedPhone)
		return contact.Address{}
	}
	for _, ch := range in.Rules.Channels {
		if ch.Address == a.Value {
			in.wrong(c, "this is the number that our own texts come from", "the owner's number")
			return contact.Address{}
		}
	}
	if warning != contact.NoWarning {
		in.report(Doubtful, c, sentence(warning.Sentence()), "")
	}
	return a
}

var language = regexp.MustCompile(`^[a-z]{2,3}(-[A-Z]{2})?$`)

func (in *intake) language(c cell) string {
	if c.value != "" && !language.MatchString(c.value) {
		in.wrong(c, "this is not the code of a language", "two letters, like en")
		return ""
	}
	if !in.Rules.Speaks(c.value) {
		in.wrong(c, "owners can't be written to in this language yet: texts, answers or the safety screen don't have it",
			"one of "+strings.Join(in.Rules.Spoken(), ", "))
		return ""
	}
	return c.value
}

func (in *intake) channel(c cell) string {
	var names []string
	for _, ch := range in.Rules.Channels {
		if channelKinds[ch.Kind].staff {
			continue
		}
		if ch.Name == c.value || c.value == "" {
			return ch.Name
		}
		names = append(names, ch.Name)
	}
	if c.value != "" {
		in.wrong(c, "the clinic has no such channel", "one of "+strings.Join(names, ", "))
	}
	return ""
}

func (in *intake) yes(c cell) bool {
	switch strings.ToLower(c.value) {
	case "", "no", "n", "false", "0":
		return false
	case "yes", "y", "true", "1", "x":
		return true
	}
	in.wrong(c, "this is neither yes nor no", allowedYesNo)
	return false
}

func (in *intake) dog(r row) care.EnrolledDog {
	d := care.EnrolledDog{Name: in.name(r.at("dog"), "dog"), Ref: in.ref(r)}
	if r.at("dog").value == "" {
		in.wrong(r.at("dog"), "the dog's name is missing", nameAllowed("dog"))
	}
	d.Sex, d.Entire = in.sex(r.at("sex"))
	d.Own = [2]string{in.name(r.at("own1"), "own1"), in.name(r.at("own2"), "own2")}
	d.BCS = uint8(in.whole(r.at("bcs"), 9))
	d.Muscle = in.muscle(r.at("muscle"))
	d.Grams = in.grams(r.at("weight_kg"))
	d.Target = in.grams(r.at("target_kg"))
	d.Loss = in.yes(r.at("loss_plan"))
	d.Plan = append(in.medicines(r.at("medicines")), in.plan(r.at("plan"))...)
	in.repeatedEntries(r, d.Plan)
	d.Before = in.before(r.at("before"))
	d.Untreated = in.yes(r.at("untreated"))
	in.weightPlan(r, d)
	return d
}

// ref reads the practice's own number for a dog, which no two dogs share.
func (in *intake) ref(r row) string {
	c := r.at("ref")
	if c.value == "" {
		return ""
	}
	if strings.ContainsFunc(c.value, unicode.IsControl) || utf8.RuneCountInString(c.value) > 40 || strings.ContainsRune("=+-@", rune(c.value[0])) {
		in.wrong(c, "this is not a reference", "1 to 40 characters, beginning with a letter or digit")
		return ""
	}
	if other, twice := in.refs[c.value]; twice {
		in.wrong(c, lineName(other)+" has this reference already", "a reference of its own for each dog")
		return ""
	}
	in.refs[c.value] = r
	return c.value
}

func (in *intake) sex(c cell) (sex care.Sex, entire bool) {
	words := strings.FieldsFunc(strings.ToLower(c.value), func(r rune) bool { return r == ' ' || r == ',' || r == '/' || r == '(' || r == ')' })
	known := true
	for _, w := range words {
		switch w {
		case "male", "m", "dog":
			sex = care.Male
		case "female", "f", "bitch":
			sex = care.Female
		case "entire", "intact":
			entire = true
		case "neutered", "castrated", "spayed":
		case "mn", "me":
			sex, entire = care.Male, w == "me"
		case "fn", "fs", "fe":
			sex, entire = care.Female, w == "fe"
		default:
			known = false
		}
	}
	if !known {
		in.wrong(c, "this is not a sex that is known here", "male, female, male entire, female entire, or nothing")
		return care.UnknownSex, false
	}
	return sex, entire
}

// whole reads a whole number from 1 to most; 0 for none. "6/9" is 6.
func (in *intake) whole(c cell, most int) int {
	if c.value == "" {
		return 0
	}
	text, of, scaled := strings.Cut(c.value, "/")
	n, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil || n < 1 || n > most || scaled && strings.TrimSpace(of) != strconv.Itoa(most) {
		in.wrong(c, "this is out of range, or not a whole number", fmt.Sprintf("1 to %d", most))
		return 0
	}
	return n
}

func (in *intake) muscle(c cell) uint8 {
	for i, w := range []string{"normal", "mild", "moderate", "severe"} {
		if lower := strings.ToLower(c.value); lower == w || lower == w+" loss" {
			return uint8(i + 1)
		}
	}
	return uint8(in.whole(c, 4))
}

var kilograms = regexp.MustCompile(`^[0-9]{1,3}([.,][0-9]{1,3})?( ?kg)?$`)

// lightest is the least a grown dog weighs here, in kilograms.
const lightest = 0.5

// grams reads a weight in kilograms, with a comma or a point.
func (in *intake) grams(c cell) int64 {
	if c.value == "" {
		return 0
	}
	most := float64(clinical.MaxGrams) / 1000
	allowed := fmt.Sprintf("%v to %v kg, like 32.5", lightest, most)
	text := strings.ToLower(c.value)
	if !kilograms.MatchString(text) {
		in.wrong(c, "this is not a weight in kilograms", allowed)
		return 0
	}
	text = strings.TrimSpace(strings.TrimSuffix(text, "kg"))
	kg, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil || kg < lightest || kg > most {
		in.wrong(c, "this weight is out of range", allowed)
		return 0
	}
	return int64(math.Round(kg * 1000))
}

// weightPlan checks weight, target, score and plan against each other.
func (in *intake) weightPlan(r row, d care.EnrolledDog) {
	if d.Grams > 0 && d.Target > 0 {
		switch {
		case d.Loss && d.Target >= d.Grams:
			in.wrong(r.at("target_kg"), "on a weight-loss plan the target is below the weight", "")
		case d.Target*2 < d.Grams || d.Target > d.Grams*2:
			in.report(Doubtful, r.at("target_kg"), "the target is very far from the weight", "")
		}
	}
	if d.Loss && d.Target == 0 && (d.Grams == 0 || d.BCS < 6) {
		in.report(Doubtful, r.at("loss_plan"), "no target can be worked out: give target_kg, or weight_kg and a bcs of 6 to 9", "")
	}
}

var medicineClasses = map[string]care.MedicineClass{
	"nsaid": care.NSAID, "antibody": care.Antibody, "steroid": care.Steroid, "aspirin": care.Aspirin, "other": care.OtherMed,
}

var planAreas = map[string]care.Area{
	"weight": care.AreaWeight, "activity": care.AreaActivity, "home": care.AreaHome,
	"therapy": care.AreaTherapy, "supplement": care.AreaSupplement, "supplements": care.AreaSupplement,
}

const (
	medicineAllowed = "class:name, and since with a date, like \"nsaid:carprofen since 2026-01-02\"; classes are nsaid, antibody, steroid, aspirin, other"
	planAllowed     = "area:what, and since with a date, like \"therapy:hydrotherapy since 2026-01-02\"; areas are weight, activity, home, therapy, supplement"
)

func (in *intake) medicines(c cell) []care.Entry {
	var out []care.Entry
	for _, part := range parts(c) {
		class, what, since, ok := in.entry(part, medicineAllowed)
		if !ok {
			continue
		}
		known, ok := medicineClasses[class]
		if !ok {
			in.wrong(part, fmt.Sprintf("%q is not a class of medicine", class), medicineAllowed)
			continue
		}
		if what == "" {
			what = class
		}
		out = append(out, care.Entry{Area: care.AreaPain, What: what, Class: known, Started: since})
	}
	return out
}

func (in *intake) plan(c cell) []care.Entry {
	var out []care.Entry
	for _, part := range parts(c) {
		area, what, since, ok := in.entry(part, planAllowed)
		if !ok {
			continue
		}
		known, ok := planAreas[area]
		if !ok || what == "" {
			in.wrong(part, "an area and what is done there are expected", planAllowed)
			continue
		}
		out = append(out, care.Entry{Area: known, What: what, Started: since})
	}
	return out
}

func parts(c cell) []cell {
	var out []cell
	for _, p := range strings.Split(c.value, ";") {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, cell{value: p, key: c.key, line: c.line})
		}
	}
	return out
}

// dose is an amount in a medicine's name. Owners are told names, never amounts,
// so that no amount may come in with a name.
var dose = regexp.MustCompile(`(?i)\b[0-9.,]+ ?(mg|ml|mcg|µg|ug|g|mgs|tabs?|tablets?|x|times)\b|\b(bid|sid|tid|once|twice|daily)\b`)

// entry reads "kind:what since date".
func (in *intake) entry(c cell, allowed string) (kind, what string, since int64, ok bool) {
	text, date, dated := cutLast(c.value, " since ")
	if dated {
		d, err := cadence.ParseLocalDate(strings.TrimSpace(date))
		if since = in.started(d); err != nil || since == 0 {
			in.wrong(c, "the date after since is not a day from 2000 until today", allowedDate)
			return "", "", 0, false
		}
	}
	kind, what, _ = strings.Cut(text, ":")
	kind, what = strings.ToLower(strings.TrimSpace(kind)), strings.TrimSpace(what)
	if dose.MatchString(what) {
		in.wrong(c, "a dose is not kept here: give the name alone", allowed)
		return "", "", 0, false
	}
	if what != "" {
		if what = in.name(cell{value: what, key: c.key, line: c.line}, "medicine"); what == "" {
			return "", "", 0, false
		}
	}
	return kind, what, since, true
}

// started is the beginning of a date at the practice, in Unix seconds; 0 for a
// date that is not past or long ago.
func (in *intake) started(d cadence.LocalDate) int64 {
	zone := in.Rules.Zone
	if zone == nil {
		zone = time.UTC
	}
	at := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, zone)
	if d.Year < 2000 || at.After(in.Now) {
		return 0
	}
	return at.Unix()
}

// repeatedEntries reports one thing that stands on the plan twice: its end
// could not be told from the other's.
func (in *intake) repeatedEntries(r row, plan []care.Entry) {
	seen := map[string]bool{}
	for _, e := range plan {
		what := strings.ToLower(e.What)
		if seen[what] {
			in.wrong(r.at("medicines"), fmt.Sprintf("%s stands on the plan twice", e.What), "each thing once")
		}
		seen[what] = true
	}
}

// before reads a check-in answered at the practice.
func (in *intake) before(c cell) *clinical.Items {
	if c.value == "" {
		return nil
	}
	levels := strings.FieldsFunc(c.value, func(r rune) bool { return r == ' ' || r == ',' || r == ';' })
	items := clinical.NoAnswers()
	bad := len(levels) > len(items) || len(levels) < 6
	for i := 0; i < len(levels) && !bad; i++ {
		switch l := levels[i]; {
		case l == "x" || l == "X":
			items[i] = clinical.NotApplicable
		case l == "-":
		case len(l) == 1 && l[0] >= '0' && l[0] <= '4':
			items[i] = clinical.Level(l[0] - '0')
		default:
			bad = true
		}
	}
	if bad {
		in.wrong(c, "this is not a check-in", "6 to 8 levels from 0 to 4 with spaces between, x or - where there is none")
		return nil
	}
	return &items
}
