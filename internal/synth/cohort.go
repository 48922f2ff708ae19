package synth

import (
	"fmt"
	"math/rand/v2"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
)

// Course names what happens to a dog, or what its owner does.
type Course string

// The courses.
const (
	Steady         Course = "steady"
	Improving      Course = "improving after a change of plan"
	Flare          Course = "flare"
	Drift          Course = "slow drift"
	Reaction       Course = "drug reaction"
	WeightStall    Course = "weight stalls on a loss plan"
	WeightLoss     Course = "weight comes off"
	Silent         Course = "owner falls silent"
	Dies           Course = "dies"
	AsksForCall    Course = "owner asks for a call"
	OptsOut        Course = "owner opts out"
	NightEmergency Course = "emergency at night"
)

// Courses lists every course.
var Courses = []Course{Steady, Improving, Flare, Drift, Reaction, WeightStall, WeightLoss,
	Silent, Dies, AsksForCall, OptsOut, NightEmergency}

// Dog is an invented dog: what the practice knows of it, and what it doesn't.
type Dog struct {
	Enrolled care.EnrolledDog
	Course   Course
	Latent   Latent
	Profile  Profile
	Weight   Latent // kilograms by days since enrolment, not index points
	// ReviewIn is how many days after enrolment the medicines on its plan are
	// looked at again.
	ReviewIn int
}

// Owner is an invented owner.
type Owner struct {
	Name     string
	Address  contact.Address
	OneByOne bool
	Dogs     []Dog
	Style    Style
	// EnrolledOn is the day of enrolment, counted from the cohort's first, and
	// Minute the minute of that day.
	EnrolledOn, Minute int
	Says               []Saying
	Moves              []Move
	// QuietFrom is the day since enrolment from which the owner answers no
	// more; 0 for never.
	QuietFrom int
}

// Saying is something an owner writes unasked.
type Saying struct {
	Day, Minute int // since enrolment; minute of the day
	Text        string
	// Ends says that nothing is answered after it: the owner has opted out.
	Ends bool
}

// Move is something the practice does for a dog.
type Move struct {
	Day    int // since enrolment
	Change care.PlanChange
	// ReviewIn is after how many days it is looked at again; 0: no date is set.
	ReviewIn int
}

// Stranger is somebody who is not enrolled and writes once.
type Stranger struct {
	Address     contact.Address
	Day, Minute int // since the cohort's first day
	Text        string
}

// Cohort is an invented caseload.
type Cohort struct {
	Owners    []Owner
	Strangers []Stranger
}

// Dogs counts the dogs.
func (c Cohort) Dogs() int {
	n := 0
	for i := range c.Owners {
		n += len(c.Owners[i].Dogs)
	}
	return n
}

// CohortOptions say what to invent.
type CohortOptions struct {
	Seed  uint64
	Weeks int // what is to happen falls within so many weeks; at least 4
}

// households is who there is: the course of the first dog and, for those with
// two, of the second.
var households = [][]Course{
	{Reaction}, {NightEmergency}, {Dies}, {AsksForCall}, {OptsOut}, {Silent}, {Flare},
	{Improving}, {WeightStall}, {WeightLoss}, {Drift}, {Steady}, {Steady, Steady},
	{Improving, Steady}, {Steady}, {Flare}, {WeightLoss}, {Steady}, {Improving}, {Steady},
	{Drift, Steady}, {Steady}, {WeightStall}, {Steady}, {Silent}, {Improving}, {Steady, Flare},
	{Steady}, {WeightLoss}, {Steady, Improving}, {Steady}, {Improving}, {Steady, Steady}, {Steady},
}

// NewCohort invents a caseload of 40 dogs in 34 households. Whatever the seed,
// every course is there.
func NewCohort(o CohortOptions) Cohort {
	o.Weeks = max(o.Weeks, 4)
	rng := rand.New(rand.NewPCG(o.Seed, 0x6761_6974))
	b := builder{o: o, rng: rng, owners: rng.Perm(len(ownerNames)), dogs: rng.Perm(len(dogNames))}
	var c Cohort
	for i, courses := range households {
		c.Owners = append(c.Owners, b.owner(i, courses))
	}
	c.Strangers = []Stranger{{
		Address: mobile(990), Day: b.day(0.55), Minute: 15*60 + 12,
		Text: "Hi is this the vets? My lab has just eaten a whole bar of dark chocolate what do I do",
	}}
	return c
}

// mobile is a number from the range kept for fiction.
func mobile(n int) contact.Address {
	return contact.Address{Channel: contact.SMS, Value: fmt.Sprintf("+447700900%03d", n)}
}

// FirstOwnerNumber and the numbers after it, up to 999, are the cohort's: the
// range 07700 900000 to 900199 is left to the practice.
const FirstOwnerNumber = 200

type builder struct {
	o            CohortOptions
	rng          *rand.Rand
	owners, dogs []int // the order names are taken in
	named        int   // dogs that have a name
}

// day is a fraction of the time there is, as a day since enrolment.
func (b *builder) day(fraction float64) int {
	return max(14, int(fraction*float64(7*b.o.Weeks)))
}

func (b *builder) owner(i int, courses []Course) Owner {
	o := Owner{
		Name: ownerNames[b.owners[i]], Address: mobile(FirstOwnerNumber + i),
		EnrolledOn: i % 5, Minute: 9*60 + 30 + (i*37)%400,
		Style: b.style(), OneByOne: b.rng.IntN(9) == 0,
	}
	for _, c := range courses {
		o.Dogs = append(o.Dogs, b.dog(c))
		b.fate(&o, &o.Dogs[len(o.Dogs)-1])
	}
	return o
}

func (b *builder) dog(c Course) Dog {
	name := dogNames[b.dogs[b.named]]
	b.named++
	kg := 12 + b.rng.Float64()*26
	d := Dog{Course: c, Profile: NewProfile(b.rng, 0.4), Latent: Level(15 + 20*b.rng.Float64())}
	d.Weight = Level(kg)
	d.Enrolled = care.EnrolledDog{
		Name: name.name, Sex: name.sex, BCS: uint8(5 + b.rng.IntN(3)), Muscle: 2,
		Grams: int64(clinical.GramsOf(float64(int(kg*10)) / 10)), Ref: fmt.Sprintf("D%03d", b.named),
	}
	first := b.rng.IntN(len(ownActivities))
	d.Enrolled.Own = [2]string{ownActivities[first], ownActivities[(first+3)%len(ownActivities)]}
	if b.rng.IntN(3) == 0 {
		d.Enrolled.Own[1] = ""
	}
	d.Enrolled.Plan = b.plan()
	d.ReviewIn = 56 + b.named%5*7
	b.course(&d, kg)
	if b.rng.IntN(4) != 0 {
		before := Answers(b.rng, d.Latent.At(0), d.asked())
		d.Enrolled.Before = &before
	}
	return d
}

// asked is how this dog's check-ins are answered.
func (d *Dog) asked() Asked {
	a := Asked{Noise: QuietNoise(), Profile: d.Profile, Missing: map[clinical.Item]clinical.Level{}}
	for k, own := range d.Enrolled.Own {
		if own == "" {
			a.Missing[clinical.Own1+clinical.Item(k)] = clinical.NotApplicable
			a.Noise.Items--
		}
	}
	return a
}

// Tablets, Injection and Paced are what the invented plans call things.
const (
	Tablets   = "daily anti-inflammatory" // texts have room for 24 characters
	Injection = "monthly injection"
	Paced     = "paced lead walks"
)

func (b *builder) plan() []care.Entry {
	plan := []care.Entry{{Area: care.AreaActivity, What: Paced}}
	switch b.rng.IntN(5) {
	case 0, 1:
		plan = append(plan, care.Entry{Area: care.AreaPain, What: Tablets, Class: care.NSAID, Reminders: every(care.RemindTablets, 56)})
	case 2:
		plan = append(plan, care.Entry{Area: care.AreaPain, What: Injection, Class: care.Antibody, Reminders: every(care.RemindInjection, 28)})
	}
	if b.rng.IntN(3) == 0 {
		plan = append(plan, care.Entry{Area: care.AreaSupplement, What: "fish oil", Reminders: every(care.RemindSupplement, 56)})
	}
	return plan
}

// every is a reminder that comes round every so many days.
func every(k care.ReminderKind, days int16) []care.Reminder {
	return []care.Reminder{{Kind: k, Every: days}}
}
