package clinic

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"gaitpost/internal/care"
	"gaitpost/internal/clinical"
	"gaitpost/internal/contact"
)

func reader(t *testing.T) EnrolReader {
	t.Helper()
	c, problems := load(t, plain(t))
	require.Empty(t, problems)
	h, err := contact.NewHasher([]byte("an invented key for tests"))
	require.NoError(t, err)
	return EnrolReader{Rules: c.Rules, Hasher: h, Now: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC), Invite: true}
}

// wrong leaves out warnings, such as that numbers are reserved for fiction.
func wrong(problems []Problem) []string {
	var out []string
	for _, p := range problems {
		if p.Severity == Wrong {
			out = append(out, p.String())
		}
	}
	return out
}

const fullTable = `owner,phone,dog,sex,own1,own2,bcs,muscle,weight_kg,target_kg,loss_plan,medicines,plan,before,untreated,language,zone,one_by_one,channel,ref
Ruth,07700 900401,Bramble,female,jump into the car,,7,mild,"32,5",28,yes,nsaid:carprofen since 2026-01-02; antibody:monthly injection,therapy:hydrotherapy,1 0 2 1 1 0 x -,no,en,Europe/Dublin,yes,text,H-1
Ruth,+447700900401,Moss,male entire,,,,,8.25,,,,,,yes,,,,,H-2
Ian,07700 900402,Pip,,,,,,,,,,,,,,,,,
`

func TestATableBecomesHouseholds(t *testing.T) {
	r := reader(t)
	got, problems := r.Read("caseload.csv", []byte(fullTable))
	require.Empty(t, wrong(problems))
	require.Len(t, got, 2, "rows with one number are one household")
	ruth := contact.Address{Channel: contact.SMS, Value: "+447700900401"}
	require.Equal(t, care.Owner{Name: "Ruth", Address: ruth, ID: r.Hasher.ID("mill-lane", ruth), Lang: "en", Zone: "Europe/Dublin", Via: "text", OneByOne: true}, got[0].Owner)
	before := clinical.Items{1, 0, 2, 1, 1, 0, clinical.NotApplicable, clinical.Missing}
	began := time.Date(2026, 1, 2, 0, 0, 0, 0, r.Rules.Zone).Unix()
	require.Equal(t, care.EnrolledDog{
		Name: "Bramble", Ref: "H-1", Sex: care.Female, Own: [2]string{"jump into the car", ""},
		BCS: 7, Muscle: 2, Grams: 32500, Target: 28000, Loss: true, Before: &before,
		Plan: []care.Entry{
			{Area: care.AreaPain, What: "carprofen", Class: care.NSAID, Started: began},
			{Area: care.AreaPain, What: "monthly injection", Class: care.Antibody},
			{Area: care.AreaTherapy, What: "hydrotherapy"},
		},
	}, got[0].Dogs[0])
	require.Equal(t, care.EnrolledDog{Name: "Moss", Ref: "H-2", Sex: care.Male, Entire: true, Grams: 8250, Untreated: true}, got[0].Dogs[1])
	require.Equal(t, "Ian", got[1].Owner.Name)
	require.True(t, got[1].Invite)
}

// Spreadsheets write the same table in many ways.
func TestTheSameTableInOtherForms(t *testing.T) {
	r := reader(t)
	want, _ := r.Read("caseload.csv", []byte(fullTable))
	semicolons := strings.NewReplacer(`"32,5"`, "32,5", ",", ";", "02; antibody", "02; antibody").Replace(fullTable)
	semicolons = strings.Replace(semicolons, "32;5", "32,5", 1)
	semicolons = strings.Replace(semicolons, "nsaid:carprofen since 2026-01-02; antibody:monthly injection", `"nsaid:carprofen since 2026-01-02; antibody:monthly injection"`, 1)
	for name, text := range map[string]string{
		"byte-order mark":  "\ufeff" + fullTable,
		"CRLF":             strings.ReplaceAll(fullTable, "\n", "\r\n"),
		"CR":               strings.ReplaceAll(fullTable, "\n", "\r"),
		"semicolons":       semicolons,
		"tabs":             strings.ReplaceAll(strings.ReplaceAll(fullTable, `"32,5"`, "32.5"), ",", "\t"),
		"quoted":           strings.ReplaceAll(fullTable, "Ruth,", `"Ruth",`),
		"blank rows":       strings.ReplaceAll(fullTable, "\nIan", "\n,,,,,,,,,,,,,,,,,,,\n\nIan"),
		"spelt header":     strings.Replace(fullTable, "owner,phone", "Owner, Phone", 1),
		"text formulas":    strings.ReplaceAll(fullTable, "07700 900402", `"=""07700 900402"""`),
		"text apostrophes": strings.ReplaceAll(fullTable, "07700 900402", "'07700 900402"),
	} {
		got, problems := r.Read("caseload.csv", []byte(text))
		require.Empty(t, wrong(problems), name)
		require.Equal(t, want, got, name)
	}
}

func TestEveryBadRowIsNamedAtOnce(t *testing.T) {
	table := `owner,phone,dog,sex,bcs,weight_kg,target_kg,loss_plan,medicines,ref,before,zone,language,channel
Ruth,07700 900401,Bramble,,,,,,,H-1,,,,
Ruth,07700 900401,bramble,,,,,,,,,,,
Sam,07700 900401,Fern,,,,,,,,,,,
,07700 900403,Ash,hen,12,heavy,,maybe,opium:poppy,H-1,1 2,Mars/Base,english,fax
Jo,12,,,,,,,,,,,,
Jo,4.47700E+11,Oak,,,,,,,,,,,
Jo,07700 900350,Elm,,,,,,,,,,,
Jo,07700 900301,Yew,,,,,,,,,,,
Jo,07700 900404,Averylongnamefora dog,,,,,,,,,,,
Jo,07700 900405,Хвост,,,,,,,,,,,
Jo,07700 900406,=cmd|x,,6,30,31,yes,nsaid:carprofen 50mg,,,,,
Jo,07700 900407,Bay,,,0.2,,,nsaid:carprofen since 2027-01-01,,,,,
Jo,07700 900408,Ivy,,,,,,nsaid:carprofen; other:Carprofen,,,,,
`
	got, problems := reader(t).Read("caseload.csv", []byte(table))
	require.Nil(t, got, "all or nothing")
	lines := strings.Join(wrong(problems), "\n")
	for _, want := range []string{
		`caseload.csv:3: dog: this household has a dog of that name in row 2 already`,
		`caseload.csv:4: owner: row 2 has the same telephone number and says "Ruth"`,
		`caseload.csv:5: owner: the owner's name is missing`,
		`caseload.csv:5: sex: `, `caseload.csv:5: bcs: `, `caseload.csv:5: weight_kg: `, `caseload.csv:5: loss_plan: `,
		`caseload.csv:5: medicines: "opium" is not a class of medicine`, `caseload.csv:5: ref: row 2 has this reference already`,
		`caseload.csv:5: before: `, `caseload.csv:5: zone: `, `caseload.csv:5: language: `, `caseload.csv:5: channel: `,
		`caseload.csv:6: phone: `, `caseload.csv:6: dog: the dog's name is missing`,
		`caseload.csv:7: phone: a spreadsheet has rounded this number`,
		`caseload.csv:8: phone: this is the number that our own texts come from`,
		`caseload.csv:9: phone: this is the number of Dr Lee`,
		`caseload.csv:10: dog: this has 21 characters`,
		`caseload.csv:11: dog: `, `caseload.csv:12: dog: this does not begin like a name`,
		`caseload.csv:12: target_kg: `, `caseload.csv:12: medicines: a dose is not kept here`,
		`caseload.csv:13: weight_kg: `, `caseload.csv:13: medicines: the date after since`,
		`caseload.csv:14: medicines: Carprofen stands on the plan twice`,
	} {
		require.Contains(t, lines, want)
	}
	require.Equal(t, 26, len(wrong(problems)), lines)
}

func TestBadTables(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"empty":           {"", "the file is empty"},
		"header alone":    {"owner,phone,dog\n", "nobody in this file"},
		"missing column":  {"owner,dog\nRuth,Pip\n", `the column "phone" is missing`},
		"unknown column":  {"owner,phone,dog,wieght_kg\n", `did you mean "weight_kg"`},
		"column twice":    {"owner,phone,dog,dog\n", `the column "dog" stands here twice`},
		"too many cells":  {"owner,phone,dog\nRuth,07700 900401,Pip,extra\n", "this row has 4 cells and the header 3"},
		"open quote":      {"owner,phone,dog\n\"Ruth,07700 900401,Pip\n", "a quotation mark is open"},
		"stray quote":     {"owner,phone,dog\nRu\"th,07700 900401,Pip\nJo,12,Fern\n", "csv:3: phone:"},
		"Latin-1":         {"owner,phone,dog\nRuth,07700 900401,Caf\xe9\n", "csv:2: a letter here is not in UTF-8"},
		"UTF-16":          {"\xff\xfeo\x00w\x00", `save it as "CSV UTF-8"`},
		"control":         {"owner,phone,dog\nRuth,07700 900401,Pi\x07p\n", "csv:2: dog: this has control characters"},
		"weight in grams": {"owner,phone,dog,weight_kg\nRuth,07700 900401,Pip,32500\n", "this is not a weight in kilograms"},
		"two points":      {"owner,phone,dog,weight_kg\nRuth,07700 900401,Pip,3.2.5\n", "this is not a weight in kilograms"},
		"spreadsheet":     {"PK\x03\x04\x00", "not a text file"},
	} {
		got, problems := reader(t).Read("c.csv", []byte(c.text))
		require.Nil(t, got, name)
		require.Contains(t, strings.Join(wrong(problems), "\n"), c.want, name)
	}
	_, problems := reader(t).Read("caseload.xlsx", nil)
	require.Contains(t, wrong(problems)[0], "a table (.csv) or YAML (.yaml)")
}

func TestAccentsAreWrittenForTexts(t *testing.T) {
	got, problems := reader(t).Read("c.csv", []byte("owner,phone,dog\nSiân,07700 900401,Zoë\nJürgen,07700 900402,Fée\n"))
	require.Empty(t, wrong(problems))
	require.Equal(t, "Sian", got[0].Owner.Name)
	require.Equal(t, "Zoe", got[0].Dogs[0].Name)
	require.Equal(t, "Jürgen", got[1].Owner.Name, "ü is in the text-message alphabet")
	require.Contains(t, fmt.Sprint(problems), `texts will say "Zoe"`)
}

func TestYAMLOneHousehold(t *testing.T) {
	got, problems := reader(t).Read("ruth.yaml", []byte(`
owner: Ruth
phone: 07700 900401
language: en
dogs:
  - name: Bramble
    sex: female
    weight_kg: 32,5
    bcs: 7
    loss_plan: yes
    medicines:
      - nsaid: carprofen since 2026-01-02
      - "other: joint diet"
    before: [1, 0, 2, 1, 1, 0, x]
  - {name: Moss, ref: H-2}
`))
	require.Empty(t, wrong(problems))
	require.Len(t, got, 1)
	require.Len(t, got[0].Dogs, 2)
	require.Equal(t, int64(32500), got[0].Dogs[0].Grams)
	require.Equal(t, "carprofen", got[0].Dogs[0].Plan[0].What)
	require.Equal(t, care.OtherMed, got[0].Dogs[0].Plan[1].Class)
	require.Equal(t, clinical.Level(2), got[0].Dogs[0].Before[2])
	require.Equal(t, clinical.NotApplicable, got[0].Dogs[0].Before[6])
}

func TestYAMLManyHouseholdsAndTheirFaults(t *testing.T) {
	got, problems := reader(t).Read("all.yaml", []byte(`households:
  - owner: Ruth
    phone: 07700 900401
    dogs: [{name: Bramble, wieght_kg: 30}]
  - owner: Ian
    phone: 12
    dogs:
      - {name: Pip}
      - {name: Pop, bcs: 0}
  - owner: Jo
    phone: 07700 900402
`))
	require.Nil(t, got)
	lines := strings.Join(wrong(problems), "\n")
	require.Contains(t, lines, `all.yaml:4: households[1].dogs[1].wieght_kg: there is no such setting; did you mean "weight_kg"?`)
	require.Contains(t, lines, `all.yaml:6: households[2].phone: `)
	require.Contains(t, lines, `all.yaml:9: households[2].dogs[2].bcs: `)
	require.Contains(t, lines, `all.yaml:10: households[3].dogs: a household has dogs`)
	require.Equal(t, 1, strings.Count(lines, "households[2].phone"), "once, not once a dog")
}

func TestFlagsAreReadLikeARow(t *testing.T) {
	got, problems := reader(t).Fields("the command line", []Field{{"owner", "--owner", "Ruth"}, {"phone", "--phone", "07700 900401"}, {"dog", "--dog", "Bramble"}, {"weight_kg", "--weight", "30.5 kg"}, {"medicines", "--medicines", "nsaid:carprofen"}})
	require.Empty(t, wrong(problems))
	require.Equal(t, int64(30500), got[0].Dogs[0].Grams)
	_, problems = reader(t).Fields("the command line", []Field{{"owner", "--owner", "Ruth"}, {"phone", "--phone", "07700 900401"}, {"dog", "--dog", "Bramble"}, {"target_kg", "--target", "0"}})
	require.Contains(t, wrong(problems)[0], "the command line: --target: ")
}

// No dose may come in with a medicine's name, since owners are told the name;
// names that only have a figure in them stay.
func TestDosesAreRefused(t *testing.T) {
	for what, ok := range map[string]bool{
		"carprofen": true, "carprofen 50mg": false, "carprofen 50 mg": false, "carprofen twice daily": false,
		"meloxicam 1.5mg/ml": false, "gabapentin 2 tablets": false, "omega 3 oil": true, "vitamin B12": true, "once": false,
	} {
		_, problems := reader(t).Fields("x", []Field{{"owner", "--owner", "Ruth"}, {"phone", "--phone", "07700 900401"}, {"dog", "--dog", "Bramble"}, {"medicines", "--medicines", "other:" + what}})
		require.Equal(t, ok, len(wrong(problems)) == 0, "%s: %v", what, wrong(problems))
	}
}

func FuzzEnrolTable(f *testing.F) {
	f.Add(fullTable)
	f.Add("owner;phone;dog\r\n\"Ruth\";07700 900401;Pip\r\n")
	f.Add("\ufeffowner\tphone\tdog\n=HYPERLINK(1)\t+447700900401\t@SUM(A1)\n")
	f.Add("owner,phone,dog,medicines,before\nR,07700 900401,P,nsaid: since ;:;,x x x x x x\n")
	c, _ := LoadFrom(Source{Getenv: env, Files: plainFiles(f)})
	r := EnrolReader{Rules: c[0].Rules, Now: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)}
	f.Fuzz(func(t *testing.T, text string) { holdsWhatItReads(t, r, "c.csv", text) })
}

func FuzzEnrolYAML(f *testing.F) {
	f.Add("owner: Ruth\nphone: 07700 900401\ndogs: [{name: Pip, medicines: [nsaid: x]}]\n")
	f.Add("households: [{owner: R, dogs: []}, [], x]\n")
	f.Add("dogs: &d [*d]\nphone: [1, {a: b}]\n")
	c, _ := LoadFrom(Source{Getenv: env, Files: plainFiles(f)})
	r := EnrolReader{Rules: c[0].Rules, Now: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)}
	f.Fuzz(func(t *testing.T, text string) { holdsWhatItReads(t, r, "c.yaml", text) })
}

func FuzzPlanChange(f *testing.F) {
	f.Add("nsaid:carprofen since 2026-01-02", "sick", "2026-03-01", "07700 900401")
	f.Add("\x00", "=1+1", "2026-02-30", "+447700900401")
	f.Add("therapy:hydrotherapy", "", "", "x")
	c, _ := LoadFrom(Source{Getenv: env, Files: plainFiles(f)})
	r := EnrolReader{Rules: c[0].Rules, Now: time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)}
	f.Fuzz(func(t *testing.T, what, why, on, phone string) {
		_, problems := r.PlanChange("x", []Field{{ColumnAction, "--start", "start"}, {ColumnWhat, "--start", what}, {ColumnReason, "--reason", why},
			{ColumnOn, "--on", on}, {"phone", "--phone", phone}, {"dog", "--dog", "Bramble"}})
		for _, p := range problems {
			require.NotContains(t, p.String(), "\n")
		}
	})
}

// holdsWhatItReads checks what every enrolment promises, whatever was read.
func holdsWhatItReads(t *testing.T, r EnrolReader, name, text string) {
	got, problems := r.Read(name, []byte(text))
	require.Equal(t, AnyWrong(problems), len(got) == 0, "enrolments, or a reason why not")
	for _, p := range problems {
		require.NotContains(t, p.String(), "\n")
	}
	seen := map[contact.Address]bool{}
	for _, e := range got {
		require.False(t, seen[e.Owner.Address], "one household a number")
		seen[e.Owner.Address] = true
		require.NotEmpty(t, e.Owner.Name)
		require.NotEmpty(t, e.Dogs)
		for _, d := range e.Dogs {
			require.NotEmpty(t, d.Name)
			require.NotContains(t, "=+-@\t\r", d.Name[:1])
			require.LessOrEqual(t, d.Grams, int64(clinical.MaxGrams))
			require.LessOrEqual(t, d.BCS, uint8(9))
		}
	}
}
