package account

// Entry is one line of the trail of who saw and changed what. It is kept apart
// from logs, is never the place for debugging, and is only ever added to.
type Entry struct {
	At        int64  `cbor:"1,keyasint"` // Unix seconds
	Clinic    string `cbor:"2,keyasint"`
	Account   string `cbor:"3,keyasint"`           // who; as typed where a sign-in failed
	Name      string `cbor:"4,keyasint,omitempty"` // as it was then
	Role      Role   `cbor:"5,keyasint,omitempty"`
	Deed      Deed   `cbor:"6,keyasint"`
	Household string `cbor:"7,keyasint,omitempty"`
	// Dog is its place in the household plus one; 0 for the household.
	Dog    int    `cbor:"8,keyasint,omitempty"`
	Alert  uint16 `cbor:"9,keyasint,omitempty"`
	Detail string `cbor:"10,keyasint,omitempty"` // in words, without what owners wrote
	From   string `cbor:"11,keyasint,omitempty"` // network address
	// Refused is why it was not done; empty where it was.
	Refused string `cbor:"12,keyasint,omitempty"`
}

// Deed is what was done.
type Deed string

// The deeds.
const (
	SignedIn     Deed = "signed in"
	SignInFailed Deed = "sign-in failed"
	LeftDesk     Deed = "signed out"
	LeftAll      Deed = "signed out everywhere"
	NewPassword  Deed = "changed the password"
	Added        Deed = "added an account"
	Removed      Deed = "removed an account"

	SawToday    Deed = "saw today's list"
	SawDogs     Deed = "saw the caseload"
	SawDog      Deed = "saw a dog"
	SawOutcomes Deed = "saw outcomes"
	// SawUndelivered and SawTo are about messages that did not arrive.
	SawUndelivered Deed = "saw messages not delivered"
	SawTo          Deed = "saw to a message not delivered"
	SawRules       Deed = "saw the rules"
	SawAudit       Deed = "saw this trail"

	Acknowledged Deed = "acknowledged an alert"
	Closed       Deed = "closed an alert"
	Called       Deed = "recorded a call"
	Noted        Deed = "wrote a note"
	Wrote        Deed = "wrote to an owner"
	Resumed      Deed = "gave a conversation back"
	EnteredOne   Deed = "entered a check-in"
	Weighed      Deed = "entered a weight"
	Found        Deed = "entered findings"
	Planned      Deed = "changed the plan"
	Quieted      Deed = "quieted a dog"
	QuietedSign  Deed = "quieted a sign"
	RecordedEnd  Deed = "recorded a death"
	UndidEnd     Deed = "undid a recorded death"
	Consented    Deed = "recorded a consent"
	ChangedRule  Deed = "changed a setting"
	SetDog       Deed = "changed a dog's settings"
	HeldDog      Deed = "paused a dog"
	PausedTexts  Deed = "paused an owner's texts"
	Readdressed  Deed = "changed how an owner is reached"
	Corrected    Deed = "corrected a record"
	RolledBack   Deed = "rolled settings back"
	Exported     Deed = "handed records over"
	BackedUp     Deed = "made a backup"
	Restored     Deed = "restored a backup"
	Erased       Deed = "erased an owner's contacts"
	SharedDates  Deed = "made a calendar address"
	EndedDates   Deed = "revoked a calendar address"
	CutPhone     Deed = "cut a telephone off"
	RestoredLine Deed = "took a telephone up again"
)
