package signs

// Sign is the stable id of one sign of the practice's lists, in kebab-case.
// Ids are stored with findings and are never renamed.
type Sign string

// Emergency signs: a vet now, at any hour.
const (
	Collapse         Sign = "collapse"
	Unresponsive     Sign = "unresponsive"
	SuddenWeakness   Sign = "sudden-weakness"
	Breathing        Sign = "breathing"
	Choking          Sign = "choking"
	GumsPale         Sign = "gums-pale"
	GumsBlue         Sign = "gums-blue"
	Seizure          Sign = "seizure"
	Retching         Sign = "retching"
	BellySwollen     Sign = "belly-swollen"
	CannotStand      Sign = "cannot-stand"
	BackLegsLost     Sign = "back-legs-lost"
	BackLegsDragged  Sign = "back-legs-dragged"
	LegCar           Sign = "leg-car"
	LegFall          Sign = "leg-fall"
	LegBroken        Sign = "leg-broken"
	Screaming        Sign = "screaming"
	VomitBlood       Sign = "vomit-blood"
	VomitCoffee      Sign = "vomit-coffee-grounds"
	StoolBlack       Sign = "stool-black"
	StoolBloodLot    Sign = "stool-blood-lot"
	CannotUrinate    Sign = "cannot-urinate"
	Poison           Sign = "poison"
	HumanPainkillers Sign = "human-painkillers"
	TooManyTablets   Sign = "too-many-tablets"
	OtherDogsTablets Sign = "other-dogs-tablets"
	SupplementsPack  Sign = "supplements-pack"
	Chocolate        Sign = "chocolate"
	Grapes           Sign = "grapes"
	Raisins          Sign = "raisins"
	Xylitol          Sign = "xylitol"
	Antifreeze       Sign = "antifreeze"
	Bait             Sign = "bait"
	HumanCreams      Sign = "human-creams"
	SnakeBite        Sign = "snake-bite"
	ParalysisTick    Sign = "paralysis-tick"
	FaceSwollen      Sign = "face-swollen"
	Hives            Sign = "hives"
	Heatstroke       Sign = "heatstroke"
	BleedingHeavy    Sign = "bleeding-heavy"
	EyeInjury        Sign = "eye-injury"
	Blindness        Sign = "blindness"
)

// Same-day signs: phone the practice today.
const (
	Vomiting         Sign = "vomiting"
	VomitingRepeated Sign = "vomiting-repeated"
	Diarrhoea        Sign = "diarrhoea"
	OffFood          Sign = "off-food"
	GumsYellow       Sign = "gums-yellow"
	EyesYellow       Sign = "eyes-yellow"
	DrinkingMore     Sign = "drinking-more"
	WeeingMore       Sign = "weeing-more"
	NotDrinking      Sign = "not-drinking"
	StoolBlood       Sign = "stool-blood"
	UrineBlood       Sign = "urine-blood"
	NoseBlood        Sign = "nose-blood"
	StrainingStool   Sign = "straining-stool"
	Lethargy         Sign = "lethargy"
	Lamer            Sign = "lamer"
	LegHeldUp        Sign = "leg-held-up"
	Weakness         Sign = "weakness"
	Wobbliness       Sign = "wobbliness"
	Knuckling        Sign = "knuckling"
	HeadTilt         Sign = "head-tilt"
	Circling         Sign = "circling"
	HunchedBack      Sign = "hunched-back"
	NeckPain         Sign = "neck-pain"
	Growling         Sign = "growling"
	Snapping         Sign = "snapping"
	Wound            Sign = "wound"
	JointSwollen     Sign = "joint-swollen"
	LegSwelling      Sign = "leg-swelling"
	Rash             Sign = "rash"
	InjectionLump    Sign = "injection-lump"
	Bruising         Sign = "bruising"
	Incontinence     Sign = "incontinence"
	Discharge        Sign = "discharge"
	Cough            Sign = "cough"
	Fever            Sign = "fever"
	Unclear          Sign = "unclear"
)

// Signs that count only with an anti-inflammatory on the plan.
const (
	SingleVomit     Sign = "vomit-single"
	SkinChange      Sign = "skin-change"
	BehaviourChange Sign = "behaviour-change"
)

// trait says what else a sign means beside its urgency.
type trait uint8

const (
	traitNSAID    trait = 1 << iota // may come from an anti-inflammatory
	traitAntibody                   // may come from an antibody injection
	traitNSAIDNow                   // emergency when an anti-inflammatory is on the plan
	traitNSAIDDay                   // same-day only when an anti-inflammatory is on the plan
	traitNeuroNow                   // emergency when an antibody is on the plan
	traitNoNight                    // cannot wait for a late opening
)

type signInfo struct {
	id      Sign
	urgency Urgency
	traits  trait
	label   string
}

// signTable lists every sign in the order in which findings name them: the
// emergencies first, then same-day, then those only an anti-inflammatory raises.
var signTable = []signInfo{
	{Collapse, Emergency, traitNSAID | traitAntibody, "collapse"},
	{Unresponsive, Emergency, traitNSAID | traitAntibody, "unresponsive"},
	{Seizure, Emergency, traitNSAID | traitAntibody, "seizure"},
	{Breathing, Emergency, 0, "trouble breathing"},
	{Choking, Emergency, 0, "choking"},
	{GumsBlue, Emergency, 0, "blue gums"},
	{GumsPale, Emergency, traitNSAID, "pale gums"},
	{Retching, Emergency, 0, "retching with nothing coming up"},
	{BellySwollen, Emergency, 0, "swollen tight belly"},
	{SuddenWeakness, Emergency, traitNSAID | traitAntibody, "sudden weakness"},
	{CannotStand, Emergency, traitAntibody, "suddenly can't stand"},
	{BackLegsLost, Emergency, traitAntibody, "can't use the back legs"},
	{BackLegsDragged, Emergency, traitAntibody, "drags the back legs"},
	{BleedingHeavy, Emergency, 0, "heavy bleeding"},
	{VomitBlood, Emergency, traitNSAID, "blood in vomit"},
	{VomitCoffee, Emergency, traitNSAID, "vomit like coffee grounds"},
	{StoolBlack, Emergency, traitNSAID, "black tarry stool"},
	{StoolBloodLot, Emergency, traitNSAID, "a lot of blood in the stool"},
	{CannotUrinate, Emergency, 0, "can't pass urine"},
	{HumanPainkillers, Emergency, traitNSAID, "human painkillers"},
	{TooManyTablets, Emergency, traitNSAID, "too many tablets"},
	{OtherDogsTablets, Emergency, traitNSAID, "another dog's tablets"},
	{SupplementsPack, Emergency, 0, "a whole pack of supplements"},
	{Bait, Emergency, 0, "bait"},
	{Antifreeze, Emergency, 0, "antifreeze"},
	{Xylitol, Emergency, 0, "xylitol"},
	{Chocolate, Emergency, 0, "chocolate"},
	{Grapes, Emergency, 0, "grapes"},
	{Raisins, Emergency, 0, "raisins"},
	{HumanCreams, Emergency, traitNSAID, "human cream or gel"},
	{Poison, Emergency, 0, "swallowed poison"},
	{SnakeBite, Emergency, 0, "snake bite"},
	{ParalysisTick, Emergency, 0, "paralysis tick"},
	{FaceSwollen, Emergency, traitNSAID | traitAntibody, "swollen face"},
	{Hives, Emergency, traitNSAID | traitAntibody, "hives"},
	{Heatstroke, Emergency, 0, "heatstroke"},
	{LegCar, Emergency, 0, "hit by a vehicle"},
	{LegFall, Emergency, 0, "lame after a big fall"},
	{LegBroken, Emergency, 0, "broken leg"},
	{Screaming, Emergency, 0, "screaming in pain"},
	{EyeInjury, Emergency, 0, "eye injury"},
	{Blindness, Emergency, 0, "sudden blindness"},

	{VomitingRepeated, SameDay, traitNSAID | traitAntibody | traitNSAIDNow | traitNoNight, "repeated vomiting"},
	{GumsYellow, SameDay, traitNSAID | traitNSAIDNow | traitNoNight, "yellow gums"},
	{EyesYellow, SameDay, traitNSAID | traitNSAIDNow | traitNoNight, "yellow eyes"},
	{StoolBlood, SameDay, traitNSAID | traitNSAIDNow, "some blood in the stool"},
	{Weakness, SameDay, traitNSAID | traitAntibody | traitNeuroNow, "new weakness"},
	{Wobbliness, SameDay, traitNSAID | traitAntibody | traitNeuroNow, "new wobbliness"},
	{Knuckling, SameDay, traitAntibody | traitNeuroNow, "knuckling over on a paw"},
	{HeadTilt, SameDay, traitAntibody | traitNeuroNow, "head tilt"},
	{Circling, SameDay, traitAntibody | traitNeuroNow, "circling"},
	{Vomiting, SameDay, traitNSAID | traitAntibody, "vomiting"},
	{Diarrhoea, SameDay, traitNSAID | traitAntibody, "diarrhoea"},
	{OffFood, SameDay, traitNSAID | traitAntibody, "off food"},
	{DrinkingMore, SameDay, traitNSAID | traitAntibody, "drinking far more"},
	{WeeingMore, SameDay, traitNSAID | traitAntibody, "weeing far more"},
	{NotDrinking, SameDay, traitNSAID, "not drinking"},
	{UrineBlood, SameDay, traitNSAID, "blood in the urine"},
	{NoseBlood, SameDay, traitNSAID, "blood from the nose"},
	{StrainingStool, SameDay, 0, "straining to pass faeces"},
	{Lethargy, SameDay, traitNSAID | traitAntibody, "marked new lethargy"},
	{LegHeldUp, SameDay, traitNoNight, "holding a leg up"},
	{Lamer, SameDay, 0, "suddenly much lamer"},
	{HunchedBack, SameDay, traitNSAID, "hunched back"},
	{NeckPain, SameDay, 0, "neck pain"},
	{Growling, SameDay, traitNSAID, "new growling when touched"},
	{Snapping, SameDay, traitNSAID, "new snapping when touched"},
	{JointSwollen, SameDay, 0, "hot swollen joint"},
	{LegSwelling, SameDay, 0, "hard new swelling on a leg"},
	{Wound, SameDay, 0, "wound"},
	{InjectionLump, SameDay, traitAntibody, "lump where the injection went in"},
	{Rash, SameDay, traitNSAID | traitAntibody, "itchy rash"},
	{Bruising, SameDay, traitNSAID | traitAntibody, "bruising"},
	{Incontinence, SameDay, traitNSAID | traitAntibody, "new incontinence"},
	{Discharge, SameDay, 0, "discharge in an unspayed bitch"},
	{Cough, SameDay, 0, "cough that stays"},
	{Fever, SameDay, traitNSAID, "fever"},
	{Unclear, SameDay, 0, "something that may be a sign"},

	{SingleVomit, None, traitNSAID | traitNSAIDDay, "was sick once"},
	{SkinChange, None, traitNSAID | traitNSAIDDay, "change in the skin"},
	{BehaviourChange, None, traitNSAID | traitNSAIDDay, "change in behaviour"},
}

var signRank = func() map[Sign]int {
	m := make(map[Sign]int, len(signTable))
	for i, s := range signTable {
		m[s.id] = i
	}
	return m
}()

func (s Sign) info() (signInfo, bool) {
	i, ok := signRank[s]
	if !ok {
		return signInfo{id: s, label: string(s)}, false
	}
	return signTable[i], true
}

// Known reports whether the id is one of this package's signs.
func (s Sign) Known() bool { _, ok := signRank[s]; return ok }

// All lists every sign in the order in which findings name them.
func All() []Sign {
	out := make([]Sign, len(signTable))
	for i, s := range signTable {
		out[i] = s.id
	}
	return out
}

// Label is the sign in plain words for the practitioner, such as "black tarry
// stool". An unknown id is its own label.
func (s Sign) Label() string { i, _ := s.info(); return i.label }

// Urgency is the urgency of the sign for this dog when it was ticked in a
// closed list rather than read from words. An unknown id is None.
func (s Sign) Urgency(ctx Context) Urgency {
	i, _ := s.info()
	switch {
	case ctx.NSAID && i.traits&traitNSAIDNow != 0, ctx.Antibody && i.traits&traitNeuroNow != 0:
		return Emergency
	case ctx.NSAID && i.traits&traitNSAIDDay != 0:
		return SameDay
	}
	return i.urgency
}

// BelongsToNSAID reports whether the sign may come from an anti-inflammatory,
// so that the next dose waits for the practice and the medicine is held.
func (s Sign) BelongsToNSAID() bool { i, _ := s.info(); return i.traits&traitNSAID != 0 }

// BelongsToAntibody reports whether the sign may come from a monthly antibody
// injection (sources: US FDA CVM letter to veterinarians, December 2024; UK
// VMD product summary, December 2024).
func (s Sign) BelongsToAntibody() bool { i, _ := s.info(); return i.traits&traitAntibody != 0 }

// CannotWaitOvernight reports whether the owner should ring the emergency
// number when the practice opens more than 12 hours from now.
func (s Sign) CannotWaitOvernight() bool { i, _ := s.info(); return i.traits&traitNoNight != 0 }
