package account

// Action is something a role may or may not do at the desk.
type Action string

// The actions. Whoever is signed in may see who is to be rung.
const (
	SeeClinical   Action = "see clinical records"
	Ring          Action = "record a call"
	WorkAlert     Action = "acknowledge, note and close alerts"
	WriteOwner    Action = "write to owners"
	EnterCheckIn  Action = "enter a check-in"
	EnterFindings Action = "enter weights, findings and notes"
	ChangePlan    Action = "change the plan"
	Prescribe     Action = "change medicines" // only a veterinarian prescribes
	QuietAlerts   Action = "quiet alerts and signs"
	Farewell      Action = "record or undo a death"
	SeeRules      Action = "see cadences and rules"
	ChangeRules   Action = "change cadences and rules"
	SeeOutcomes   Action = "see outcomes"
	EraseOwner    Action = "erase an owner's contacts"
	SeeAudit      Action = "see who saw and changed what"
)

// allowed is the whole table of who may do what.
var allowed = map[Role]map[Action]bool{
	Vet: permits(SeeClinical, Ring, WorkAlert, WriteOwner, EnterCheckIn, EnterFindings, ChangePlan,
		Prescribe, QuietAlerts, Farewell, SeeRules, ChangeRules, SeeOutcomes, SeeAudit, EraseOwner),
	Nurse: permits(SeeClinical, Ring, WorkAlert, WriteOwner, EnterCheckIn, EnterFindings, ChangePlan,
		Farewell, SeeRules, SeeOutcomes),
	Reception: permits(Ring, EnterCheckIn),
	Manager:   permits(Ring, SeeRules, ChangeRules, SeeOutcomes, SeeAudit, EraseOwner),
}

func permits(actions ...Action) map[Action]bool {
	m := make(map[Action]bool, len(actions))
	for _, a := range actions {
		m[a] = true
	}
	return m
}

// Permit is whether an action is allowed, and why not.
type Permit string

// The permits.
const (
	Allowed    Permit = "allowed"
	NotForRole Permit = "not-for-role"
	VetsOnly   Permit = "vets-only"
)

// Sentence explains a refusal to the person; empty where it is allowed.
func (p Permit) Sentence() string {
	switch p {
	case Allowed:
		return ""
	case VetsOnly:
		return "Only a veterinarian can do this. Please ask one of the vets."
	default:
		return "Your role at the practice doesn't include this. The practice manager can say who can do it."
	}
}

// vetsOnly are the actions that no other role is ever given.
var vetsOnly = permits(Prescribe, QuietAlerts)

// May says whether a role may do something. An unknown role may do nothing.
func (r Role) May(a Action) Permit {
	switch {
	case allowed[r][a]:
		return Allowed
	case vetsOnly[a]:
		return VetsOnly
	default:
		return NotForRole
	}
}

// Can is May for templates.
func (r Role) Can(a Action) bool { return r.May(a) == Allowed }
