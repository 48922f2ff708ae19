package clinic

import (
	"errors"
	"fmt"
	"io/fs"
	"net/netip"
	"net/url"
	"path"
	"regexp"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"gaitpost/dialog"
	"gaitpost/internal/care"
	"gaitpost/internal/contact"
	"gaitpost/internal/sms"
)

// words reads a text of at most so many characters.
func (f *file) words(p place, most int) (string, bool) {
	text, ok := f.text(p)
	if n := utf8.RuneCountInString(text); ok && n > most {
		f.wrong(p, fmt.Sprintf("this has %d characters", n), fmt.Sprintf("1 to %d characters", most))
		return "", false
	}
	return text, ok
}

// smsWords reads a text that goes into text messages in place of a placeholder
// of the scripts, which has room for so many characters.
func (f *file) smsWords(p place, placeholder string) (string, bool) {
	text, ok := f.words(p, roomFor(placeholder))
	if !ok {
		return "", false
	}
	plain, bad := forSMS(text)
	if bad != "" {
		f.wrong(p, fmt.Sprintf("%q is not in the text-message alphabet", bad), allowedAt(p.path))
		return "", false
	}
	if sms.Plain(text) != plain {
		f.doubtful(p, asInTexts(plain))
	}
	return plain, true
}

// roomFor is how many characters a script's prompts have room for in place of a
// placeholder.
func roomFor(placeholder string) int {
	for _, p := range dialog.Placeholders {
		if p.Name == placeholder {
			return p.Longest
		}
	}
	panic("clinic: the scripts have no placeholder " + placeholder)
}

// forSMS writes a name so that it fits the text-message alphabet, one character
// outside of which would more than halve what fits into a text: Siân becomes
// Sian. What can't be written so is returned as bad.
func forSMS(text string) (plain, bad string) {
	text = sms.Plain(text)
	var b strings.Builder
	for _, r := range text {
		one := string(r)
		if len(sms.Encode(one).Culprits) > 0 {
			if as, lost := dialog.InTexts(one); lost == "" {
				one = as
			} else {
				one = strings.Map(withoutMarks, norm.NFD.String(one))
			}
		}
		b.WriteString(one)
	}
	return b.String(), string(sms.Encode(b.String()).Culprits)
}

func withoutMarks(r rune) rune {
	if unicode.Is(unicode.Mn, r) {
		return -1
	}
	return r
}

func asInTexts(plain string) string {
	return fmt.Sprintf("texts will say %q: the text-message alphabet lacks an accent of this name", plain)
}

// readIdentity reads who the practice is and where.
func (f *file) readIdentity() {
	r := f.clinic.Rules
	if id, ok := f.id(f.found["id"]); ok {
		r.Clinic = id
	}
	r.Name, _ = f.smsWords(f.found["name"], "practice")
	f.readZone(f.found["zone"])
	f.readRegion(f.found["region"])
	r.Phone = f.dialled(f.found["phone"])
	r.Emergency = f.dialled(f.found["emergency"])
	r.PersonNumber = f.digits(f.found["person_number"], personNumber, "this is not a number for people in an emergency")
	r.Crisis = f.digits(f.found["crisis_line"], crisisLine, "this is not a telephone number")
	f.readLanguages(f.found["languages"])
	f.readPublicURL(f.found["public_url"])
}

// readLanguages reads which languages owners may be written to in. English always
// is one. The others have to be named, since their safety screens miss more than
// the English one: on messages written after their lists were finished they took
// about four of five emergencies for at least same-day (internal/signs).
func (f *file) readLanguages(p place) {
	r := f.clinic.Rules
	r.Languages = []string{"en"}
	every := care.Rules{}
	for _, item := range f.items(p) {
		lang, ok := f.text(item)
		switch {
		case !ok || lang == "en":
		case !every.Speaks(lang) || strings.Contains(lang, "-"):
			f.wrong(item, "owners can't be written to in this language", "one of "+strings.Join(every.Spoken(), ", "))
		default:
			r.Languages = append(r.Languages, lang)
			f.doubtful(item, "the safety screen of this language misses more than the English one: about one emergency in five in words it had not seen")
		}
	}
}

var (
	personNumber = regexp.MustCompile(`^[0-9]{2,6}$`)
	crisisLine   = regexp.MustCompile(`^\+?[0-9][0-9 ]{1,13}[0-9]$`)
)

func (f *file) digits(p place, want *regexp.Regexp, message string) string {
	text, ok := f.text(p)
	if ok && !want.MatchString(text) {
		f.wrong(p, message, allowedAt(p.path))
		return ""
	}
	return text
}

func (f *file) readZone(p place) {
	text, ok := f.text(p)
	if !ok {
		return
	}
	zone, err := loadZone(text)
	if err != nil {
		f.wrong(p, "there is no such time zone", allowedAt(p.path))
		return
	}
	f.clinic.Rules.Zone = zone
}

var errNoZone = errors.New("there is no such time zone")

// loadZone is time.LoadLocation without the names that mean "wherever this
// computer is".
func loadZone(name string) (*time.Location, error) {
	if name == "" || strings.EqualFold(name, "local") || strings.HasPrefix(name, ".") {
		return nil, errNoZone
	}
	return time.LoadLocation(name)
}

func (f *file) readRegion(p place) {
	text, ok := f.text(p)
	if !ok {
		return
	}
	_, _, err := contact.ParsePhone("0", text)
	if len(text) != 2 || errors.Is(err, contact.ErrPhoneRegion) {
		f.wrong(p, "this is not a country that telephone numbers are known of", allowedAt(p.path))
		return
	}
	f.clinic.Rules.Region = strings.ToUpper(text)
}

// dialled reads a number that owners are told to ring; it is kept as written,
// since that is how people there read numbers.
func (f *file) dialled(p place) string {
	text, ok := f.text(p)
	if !ok {
		return ""
	}
	if utf8.RuneCountInString(text) > roomFor("phone") || len(sms.Encode(text).Culprits) > 0 {
		f.wrong(p, "this is longer than a telephone number, or has other characters", allowedPhone)
		return ""
	}
	if _, ok := f.phoneNumber(p, text); !ok {
		return ""
	}
	return text
}

// readPublicURL reads where the provider reaches us. Signatures are made over
// it, so it has to be exactly what the provider was given.
func (f *file) readPublicURL(p place) {
	text, ok := f.text(p)
	if !ok {
		return
	}
	if msg := urlFault(text, false); msg != "" {
		f.wrong(p, msg, allowedAt(p.path))
		return
	}
	f.clinic.PublicURL = strings.TrimRight(text, "/")
}

var hostName = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?)*$`)

// urlFault says what is wrong with a base URL; "" if nothing is. Plain http is
// for this computer alone, unless it is allowed.
func urlFault(text string, plain bool) string {
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Host == "" || u.Scheme != "https" && u.Scheme != "http":
		return "this is not a web address"
	case u.User != nil:
		return "a web address here has no user or password"
	case u.RawQuery != "" || u.ForceQuery || u.Fragment != "":
		return "a web address here has nothing after ? or #"
	case u.Scheme == "http" && !plain && !isLoopback(u.Hostname()):
		return "a web address that others reach begins with https://"
	case !hostName.MatchString(u.Hostname()) && !isIP(u.Hostname()):
		return "the host's name has a character that host names can't have"
	}
	return ""
}

func isIP(host string) bool {
	_, err := netip.ParseAddr(host)
	return err == nil
}

func isLoopback(host string) bool {
	addr, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && addr.IsLoopback()
}

// readScripts lays the clinic's own scripts over the built-in ones.
func (f *file) readScripts(p place) {
	r := f.clinic.Rules
	r.Scripts = f.src.Scripts
	text, ok := f.text(p)
	if !ok {
		return
	}
	dir := path.Clean(text)
	f.clinic.scripts = dir
	if !fs.ValidPath(dir) {
		f.wrong(p, "this folder is not below the folder of the settings file", allowedScripts)
		return
	}
	if info, err := fs.Stat(f.src.Files, dir); err != nil || !info.IsDir() {
		f.wrong(p, "there is no such folder", allowedScripts)
		return
	}
	sub, err := fs.Sub(f.src.Files, dir)
	if err != nil {
		f.wrong(p, "this folder can't be read", allowedScripts)
		return
	}
	if r.Scripts == nil { // nothing to lay them over: settings are checked alone
		return
	}
	library, problems := r.Scripts.Override(sub)
	for _, sp := range problems {
		key := sp.Script
		if sp.Step != "" {
			key += "." + sp.Step
		}
		f.problems = append(f.problems, Problem{
			File: f.src.Prefix + path.Join(dir, sp.File), Line: sp.Line, Key: key, Message: sentence(sp.Message),
		})
	}
	r.Scripts = library
}
