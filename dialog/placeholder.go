package dialog

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"gaitpost/internal/sms"
)

const (
	// MaxDogName is the longest dog's name that every prompt has room for, in
	// characters. Longer ones are cut when a text is rendered.
	MaxDogName = 20
	// MaxOwnerName is the same for an owner's name.
	MaxOwnerName = 20
	// MaxOwnActivity is the same for an activity of the owner's own choosing.
	MaxOwnActivity = 24
)

// Placeholder is a name in braces that a text may hold.
type Placeholder struct {
	Name string
	// Longest is the length in characters that the checker allows for.
	Longest int
	// Cut says that longer values are cut to Longest. Numbers never are.
	Cut bool
	// Fallback stands in where no value is known.
	Fallback string
	About    string
}

// Placeholders are all the names that a text may hold in braces. With a
// capital, {He}, the value is written with a capital.
var Placeholders = []Placeholder{
	{"dog", MaxDogName, true, "your dog", "the dog's name"},
	{"owner", MaxOwnerName, true, "", "the owner's first name"},
	{"practice", 30, false, "the practice", "the practice's name"},
	{"vet", 20, false, "the vet", "the vet who reads"},
	{"phone", 15, false, "the practice's number", "the practice's number"},
	{"emergency", 15, false, "your nearest emergency vet", "the number out of hours"},
	{"opens", 16, false, "in the morning", "when the practice next opens"},
	{"medicine", 24, false, "the medicine", "a medicine on the plan"},
	{"own1", MaxOwnActivity, true, "the first thing you chose", "the first activity of the owner's own"},
	{"own2", MaxOwnActivity, true, "the second thing you chose", "the second"},
	{"he", MaxDogName, true, "he", "he, she or the name"},
	{"him", MaxDogName, true, "him", "him, her or the name"},
	{"his", MaxDogName + 2, false, "his", "his, her or the name's"},
	{"reads", 16, false, "soon", "when the vet reads it"},
	{"frequency", 16, false, "once a week", "how often texts come"},
	{"items", 0, false, "", "the list form's items, numbered"},
	{"levels", 0, false, "", "the anchors of a scale"},
	{"options", 0, false, "", "the options of a choice, numbered"},
	{"person_number", 15, false, "the emergency services", "the number for a person who needs help"},
	{"crisis", 15, false, "a crisis line", "a crisis line"},
	{"weight", 12, false, "the weight", "a weight"},
	{"target", 12, false, "the target", "the target weight"},
	{"date", 12, false, "that day", "a date"},
	{"better", 30, false, "how things go", "what got better"},
	{"who", MaxOwnerName, false, "we", "who at the practice writes"},
	{"thing", 24, true, "that", "something on the plan"},
	{"note", 60, true, "", "the practice's own words"},
	{"channel", 8, false, "another channel", "another way of writing to the owner"},
	{"tail", 4, false, "as you know", "the end of an address"},
	{"link", 110, false, "the link from the practice", "a link to join on another channel"},
	{"dogs", 80, false, "your dogs", "the household's dogs, numbered"},
}

// numbers are the placeholders that hold a telephone number. No override may
// take one out of a text.
var numbers = []string{"phone", "emergency", "person_number", "crisis"}

// FactNames are the facts that only_if and branches may name.
var FactNames = []string{"own1", "own2", "medicine", "implausible", "two_dogs", "closed", "crisis", "weight_plan", "pounds", "first_evening"}

var placeholderByName = func() map[string]Placeholder {
	m := make(map[string]Placeholder, len(Placeholders))
	for _, p := range Placeholders {
		m[p.Name] = p
	}
	return m
}()

// expand replaces every {name} by value(name). Braces without a name in them
// stay as they are. A value is never expanded again.
func expand(text string, value func(name string) string) string {
	if strings.IndexByte(text, '{') < 0 {
		return text
	}
	var b strings.Builder
	b.Grow(len(text) + 64)
	for {
		open := strings.IndexByte(text, '{')
		if open < 0 {
			break
		}
		end := strings.IndexByte(text[open:], '}')
		if end < 0 {
			break
		}
		name := text[open+1 : open+end]
		b.WriteString(text[:open])
		b.WriteString(cased(name, value))
		text = text[open+end+1:]
	}
	b.WriteString(text)
	return b.String()
}

// cased looks a name up in lower case and gives its value a capital where the
// name has one.
func cased(name string, value func(string) string) string {
	lower := lowerFirst(name)
	v := value(lower)
	if lower == name || v == "" {
		return v
	}
	r, n := utf8.DecodeRuneInString(v)
	return string(unicode.ToUpper(r)) + v[n:]
}

func lowerFirst(name string) string {
	if name != "" && name[0] >= 'A' && name[0] <= 'Z' {
		return string(name[0]+'a'-'A') + name[1:]
	}
	return name
}

// placeholdersIn lists the names in braces, each once, in lower case.
func placeholdersIn(text string) []string {
	var names []string
	expand(text, func(name string) string {
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
		return ""
	})
	return names
}

// undivided are letters outside the text-message alphabet that are no letter with
// a mark, and what people write in their place.
var undivided = map[rune]string{'Ł': "L", 'ł': "l", 'Đ': "D", 'đ': "d", 'Ð': "D", 'ð': "d", 'Þ': "Th", 'þ': "th", 'Œ': "OE", 'œ': "oe",
	'Ħ': "H", 'ħ': "h", 'ı': "i", 'ŋ': "n", 'Ŋ': "N", 'ŧ': "t", 'Ŧ': "T", 'ẞ': "SS"}

// plainValue makes a value fit to stand in a text: one line, no control
// characters, and in GSM-7 where the text is. Accents that GSM-7 lacks go, and
// so do characters that it can't show at all.
func plainValue(v string, unicodeText bool) string {
	if plainAlready(v) {
		return v
	}
	v = strings.Join(strings.Fields(sms.Clean(v)), " ")
	if unicodeText || sms.Encode(v).Encoding == sms.GSM7 {
		return v
	}
	v = sms.Plain(v)
	var b strings.Builder
	for _, r := range v {
		if sms.Encode(string(r)).Encoding == sms.GSM7 {
			b.WriteRune(r)
			continue
		}
		b.WriteString(undivided[r])
		for _, d := range norm.NFD.String(string(r)) {
			if sms.Encode(string(d)).Encoding == sms.GSM7 {
				b.WriteRune(d)
			}
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// plainAlready reports what most values are: letters, digits and common signs of
// ASCII, words parted by one space each.
func plainAlready(v string) bool {
	for i := range len(v) {
		switch c := v[i]; {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '\'', c == ',', c == '.', c == '-':
		case c == ' ' && i > 0 && i < len(v)-1 && v[i-1] != ' ':
		default:
			return false
		}
	}
	return true
}

// InTexts is a name as the texts of languages that fit the text-message alphabet
// write it: "Bodő" is "Bodo" there, since one letter outside the alphabet would
// take more than half of the room from the whole text. lost are characters that
// can't be written there at all and are left out.
func InTexts(value string) (text, lost string) {
	for _, r := range sms.Encode(sms.Plain(value)).Culprits {
		if plainValue(string(r), false) == "" {
			lost += string(r)
		}
	}
	return plainValue(value, false), lost
}

// cutTo cuts a value to at most n characters, without a space at its end.
func cutTo(v string, n int) string {
	if utf8.RuneCountInString(v) <= n {
		return v
	}
	i := 0
	for at := range v {
		if i == n {
			return strings.TrimRight(v[:at], " ")
		}
		i++
	}
	return v
}
