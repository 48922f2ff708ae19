package record

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"time"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
)

// The systems that codes of ours and others are taken from. Ours are names, not
// addresses, and registered nowhere.
const (
	fhirCodes    = "urn:gaitpost:codes"
	ownLevels    = "urn:gaitpost:levels"
	ownForm      = "urn:gaitpost:questionnaire:check-in"
	recordSystem = "urn:gaitpost:practice-reference:" // and the clinic's id
	animal       = "http://hl7.org/fhir/StructureDefinition/patient-animal"
	loinc        = "http://loinc.org"
	ucum         = "http://unitsofmeasure.org"
	snomed       = "http://snomed.info/sct"
	weightForm   = "http://hl7.org/fhir/StructureDefinition/bodyweight"
	categories   = "http://terminology.hl7.org/CodeSystem/observation-category"
)

// Bundle writes dogs as one FHIR R4 bundle of the type collection: for each a
// Patient with the patient-animal extension, the owner as RelatedPerson, a
// QuestionnaireResponse for each answered check-in, Observations for the index
// (a code of our own, marked as not validated) and body weight (LOINC 29463-7,
// UCUM), and a CarePlan that names no dose. The practice's own number for the dog
// goes with every one of them. Ids stay the same from export to export, and say
// nothing of a contact; telephone numbers are there only with Input.Numbers.
type Bundle struct {
	w     io.Writer
	rules *care.Rules
	now   time.Time
	begun bool
	n     int
	err   error
}

// NewBundle begins a bundle of a clinic's dogs.
func NewBundle(w io.Writer, r *care.Rules, now time.Time) *Bundle {
	return &Bundle{w: w, rules: r, now: now}
}

// uuid names a thing for good: of the form that RFC 9562 leaves to applications
// (version 8).
func uuid(parts ...any) string {
	sum := sha256.Sum256(fmt.Append(nil, parts...))
	b := sum[:16]
	b[6], b[8] = b[6]&0x0f|0x80, b[8]&0x3f|0x80
	h := hex.EncodeToString(b)
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}

func (b *Bundle) begin() {
	if b.begun {
		return
	}
	b.begun = true
	b.write(fmt.Sprintf(`{"resourceType":"Bundle","id":%q,"type":"collection","timestamp":%q,"entry":[`,
		uuid("bundle/", b.rules.Clinic, "/", b.now.Unix()), b.now.UTC().Format(time.RFC3339)))
	if q, ok := questionnaire(b.rules); ok {
		b.put(q.ID, q)
	}
}

func (b *Bundle) write(s string) {
	if b.err == nil {
		_, b.err = io.WriteString(b.w, s)
	}
}

func (b *Bundle) put(id string, resource any) {
	text, err := json.Marshal(fhirEntry{"urn:uuid:" + id, resource})
	if err != nil {
		b.err = err
		return
	}
	if b.n++; b.n > 1 {
		b.write(",")
	}
	b.write("\n" + string(text))
}

// Close ends the bundle.
func (b *Bundle) Close() error {
	b.begin()
	b.write("\n]}\n")
	return b.failed()
}

func (b *Bundle) failed() error {
	if b.err != nil {
		return fmt.Errorf("writing the bundle: %w", b.err)
	}
	return nil
}

// Add writes everything about a dog. Errors wrap ErrNoDog, or are the writer's.
func (b *Bundle) Add(in Input) error {
	d, err := in.dog()
	if err != nil {
		return err
	}
	b.begin()
	h := in.history()
	f := &fhirDog{in: &in, dog: d, owner: uuid(in.Household.Clinic, "/", in.Household.ID, "/owner/", in.Dog)}
	f.id = f.uuid("patient")
	f.subject = fhirReference{Reference: "urn:uuid:" + f.id, Identifier: f.reference(), Display: d.Name}
	b.put(f.id, f.patient())
	b.put(f.owner, f.related())
	for i := range h.CheckIns {
		if c := &h.CheckIns[i]; c.State == Answered || c.State == ByStaff {
			r := f.response(c)
			b.put(r.ID, r)
			if o, ok := f.index(c, r.ID); ok {
				b.put(o.ID, o)
			}
		}
	}
	for i, w := range h.Weights {
		o := f.weight(i, w)
		b.put(o.ID, o)
	}
	if len(d.Plan) > 0 {
		p := f.plan()
		b.put(p.ID, p)
	}
	return b.failed()
}

// fhirDog makes the resources of one dog.
type fhirDog struct {
	in        *Input
	dog       *care.Dog
	id, owner string
	subject   fhirReference
}

func (f *fhirDog) uuid(parts ...any) string {
	return uuid(append([]any{f.in.Household.Clinic, "/", f.in.Household.ID, "/", f.in.Dog, "/"}, parts...)...)
}

// reference is the practice system's own number; nil where none is known.
func (f *fhirDog) reference() *fhirIdentifier {
	if f.dog.Ref == "" {
		return nil
	}
	return &fhirIdentifier{recordSystem + f.in.Household.Clinic, f.dog.Ref}
}

func (f *fhirDog) at(unix int64) string {
	return time.Unix(unix, 0).In(f.in.zone()).Format(time.RFC3339)
}

func (f *fhirDog) patient() fhirPatient {
	species := &fhirConcept{Coding: []fhirCoding{{snomed, "448771007", "Canis lupus subspecies familiaris"}}, Text: "dog"}
	p := fhirPatient{ResourceType: "Patient", ID: f.id, Active: f.dog.Status == care.Followed || f.dog.Status == care.OnHold,
		Name: []fhirName{{f.dog.Name}}, Gender: map[care.Sex]string{care.Male: "male", care.Female: "female"}[f.dog.Sex],
		Managing: fhirReference{Display: f.in.Rules.Name}}
	if p.Gender == "" {
		p.Gender = "unknown"
	}
	about := fhirExtension{URL: animal, Extension: []fhirExtension{{URL: "species", ValueConcept: species}}}
	if f.dog.Entire { // the record doesn't tell "neutered" from "nobody said"
		about.Extension = append(about.Extension, fhirExtension{URL: "genderStatus",
			ValueConcept: &fhirConcept{Coding: []fhirCoding{{"http://hl7.org/fhir/animal-genderstatus", "intact", "Intact"}}}})
	}
	p.Extension = []fhirExtension{about}
	if r := f.reference(); r != nil {
		p.Identifier = []fhirIdentifier{*r}
	}
	if f.dog.Status == care.Died && f.dog.Ended != 0 {
		p.DeceasedAt = f.at(f.dog.Ended)
	}
	return p
}

func (f *fhirDog) related() fhirRelated {
	c := f.in.contact(1)
	r := fhirRelated{ResourceType: "RelatedPerson", ID: f.owner, Patient: f.subject, Relationship: []fhirConcept{{Text: "owner"}}}
	if c.Name != "" {
		r.Name = []fhirName{{c.Name}}
	}
	if f.in.Numbers && c.Address.Value != "" {
		system := "phone"
		if c.Address.Channel == "telegram" {
			system = "other"
		}
		r.Telecom = []fhirTelecom{{system, c.Address.Value}}
	}
	return r
}

func (f *fhirDog) ownerReference() fhirReference {
	return fhirReference{Reference: "urn:uuid:" + f.owner, Display: f.in.owner(1)}
}

// index is a check-in's index; ok is false where it could not be scored.
func (f *fhirDog) index(c *CheckIn, response string) (fhirObservation, bool) {
	x := c.Reading.Index
	if !x.Scored {
		return fhirObservation{}, false
	}
	o := fhirObservation{ResourceType: "Observation", ID: f.uuid("index/", c.At), Status: "final", Category: category("survey"),
		Code: ownCode("index", "Gaitpost pain and mobility index, not a validated instrument"), Subject: f.subject, Effective: f.at(c.At),
		Performer: []fhirReference{f.ownerReference()}, Quantity: scoreOf(x.Total),
		Note:        []fhirNote{{"0 best to 100 worst. " + notValidated}},
		DerivedFrom: []fhirReference{{Reference: "urn:uuid:" + response}},
		Component: []fhirComponent{{ownCode("pain", "pain half, not a validated instrument"), scoreOf(x.Pain)},
			{ownCode("mobility", "mobility half, not a validated instrument"), scoreOf(x.Mobility)}}}
	if c.Reading.Before {
		o.Note = append(o.Note, fhirNote{"Taken before treatment began."})
	}
	return o, true
}

func category(codes ...string) []fhirConcept {
	names := map[string]string{"survey": "Survey", "vital-signs": "Vital Signs"}
	var list []fhirConcept
	for _, c := range codes {
		list = append(list, fhirConcept{Coding: []fhirCoding{{categories, c, names[c]}}})
	}
	return list
}

func ownCode(code, text string) fhirConcept {
	return fhirConcept{Coding: []fhirCoding{{fhirCodes, code, text}}, Text: text}
}

// scoreOf is a score unrounded; UCUM has no unit for one, braces say so.
func scoreOf(s clinical.Score) *fhirQuantity {
	return &fhirQuantity{json.Number(strconv.FormatFloat(float64(s), 'f', -1, 64)), "points", ucum, "{points}"}
}

func (f *fhirDog) weight(i int, w Weight) fhirObservation {
	o := fhirObservation{ResourceType: "Observation", ID: f.uuid("weight/", w.At, "/", i), Meta: &fhirMeta{[]string{weightForm}}, Status: "final",
		Category: category("vital-signs"), Code: fhirConcept{Coding: []fhirCoding{{loinc, "29463-7", "Body weight"}}, Text: "Body weight"},
		Subject: f.subject, Effective: f.at(w.At),
		Quantity: &fhirQuantity{json.Number(strconv.FormatFloat(w.Grams.Kilograms(), 'f', -1, 64)), "kg", ucum, "kg"}}
	switch {
	case w.By != "":
		o.Performer = []fhirReference{{Display: f.in.name(w.By)}}
	default:
		o.Category = category("vital-signs", "survey")
		o.Performer = []fhirReference{f.ownerReference()}
	}
	if w.Scale == clinical.Home {
		o.Note = []fhirNote{{"On a bathroom scale at home (standard error about 0.25 kg)."}}
	}
	return o
}

var activityStatus = map[care.EntryStatus]string{care.Active: "in-progress", care.Held: "on-hold", care.Ended: "stopped"}

// plan is what the dog gets; it names no dose.
func (f *fhirDog) plan() fhirCarePlan {
	p := fhirCarePlan{ResourceType: "CarePlan", ID: f.uuid("plan"), Status: "active", Intent: "plan", Title: "Plan of " + f.dog.Name,
		Category: []fhirConcept{{Text: "osteoarthritis, multimodal plan"}}, Subject: f.subject, Created: f.at(f.in.Now.Unix())}
	if f.dog.Status == care.Died || f.dog.Status == care.Left {
		p.Status = "completed"
	}
	for _, e := range f.dog.Plan {
		a := fhirDetail{Code: fhirConcept{Text: e.What}, Status: activityStatus[e.Status], Description: string(e.Area)}
		if e.Why != "" {
			a.Description += ": " + e.Why
		}
		if e.Batch != "" {
			a.Description += "; batch " + e.Batch
		}
		if e.Declined && e.Ended <= e.Started {
			a.Status = "cancelled"
		}
		if e.Reason != "" {
			a.Reason = &fhirConcept{Text: e.Reason}
		}
		period := fhirPeriod{}
		if e.Started != 0 {
			period.Start = f.at(e.Started)
		}
		if e.Ended != 0 {
			period.End = f.at(e.Ended)
		}
		if period != (fhirPeriod{}) {
			a.Period = &period
		}
		if e.Who != "" {
			a.Performer = []fhirReference{{Display: e.Who}}
		}
		p.Activity = append(p.Activity, fhirActivity{a})
	}
	return p
}
