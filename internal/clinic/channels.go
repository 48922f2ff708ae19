package clinic

import (
	"fmt"
	"io/fs"
	"maps"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

var envName = regexp.MustCompile(`^[A-Z_][A-Z0-9_]*$`)

const (
	defaultRate             = 1
	defaultTemplateLanguage = "en"
)

// readChannels reads the ways out to owners.
func (f *file) readChannels(p place) {
	seen := map[string]int{}
	for _, item := range f.items(p) {
		item = f.named(item, "name")
		c := f.readChannel(item)
		if line, twice := seen[c.Name]; twice && c.Name != "" {
			f.wrong(item, fmt.Sprintf("the channel in line %d has the same name", line), "a name of its own for each")
		}
		seen[c.Name] = item.line
		f.clinic.Channels = append(f.clinic.Channels, c)
		f.clinic.Rules.Channels = append(f.clinic.Rules.Channels, care.Channel{Name: c.Name, Kind: c.Kind, Address: c.Number})
	}
	if len(f.clinic.Channels) == 0 && p.node != nil && !isEmpty(p.node) {
		f.wrong(p, "without a channel nobody can be texted", allowedAt(p.path))
	}
}

func (f *file) readChannel(item place) ChannelSettings {
	found := f.fields(item)
	c := ChannelSettings{Rate: defaultRate}
	c.Name, _ = f.id(found["name"])
	kind, ok := f.text(found["kind"])
	c.Kind = contact.Channel(kind)
	wants, known := channelKinds[c.Kind]
	if ok && !known {
		f.wrong(found["kind"], "there is no such kind of channel", allowedAt(found["kind"].path))
	}
	if known {
		f.wantedOf(item, c.Kind, wants, found)
	}
	c.Account = f.account(found["account"], wants)
	c.Number = f.ownAddress(found["number"], wants)
	if c.Number == "" {
		c.Number = c.Account // where a channel has no number, its account is what people write to
	}
	c.API = f.interfaceOf(found["api"], wants)
	c.Rate = f.rate(found["rate"])
	c.Template, _ = f.text(found["template"])
	c.TemplateLanguage, _ = f.text(found["template_language"])
	if c.TemplateLanguage == "" {
		c.TemplateLanguage = defaultTemplateLanguage
	}
	read := func(name string) (s Secret) {
		least, wanted := wants.secrets[name]
		if !wanted {
			_, env := found[name+"_env"]
			_, file := found[name+"_file"]
			if least, wanted = wants.optional[name]; !env && !file {
				wanted = false
			}
		}
		if wanted {
			s = f.secret(item, name, found, least)
		}
		return s
	}
	c.AuthToken, c.SigningSecret, c.VerifyToken = read(authToken), read(signingSecret), read(verifyToken)
	if s := c.SigningSecret.Reveal(); s != "" && wants.fault != nil {
		if msg := wants.fault(s); msg != "" {
			f.wrongHidden(place{path: join(item.path, signingSecret), line: item.line}, msg)
		}
	}
	return c
}

// wantedOf reports what a kind of channel needs and has not, and what it has no
// use for.
func (f *file) wantedOf(item place, kind contact.Channel, wants channelKind, found map[string]place) {
	for _, name := range wants.needs {
		if _, has := found[name]; !has {
			f.wrong(place{path: join(item.path, name), line: max(item.line, 1)}, "this setting is missing",
				allowedAt(join(item.path, name)))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(found)) {
		if !wants.has(name) {
			f.wrongHidden(found[name], fmt.Sprintf("a channel of the kind %s has no such setting", kind))
		}
	}
}

func (f *file) account(p place, wants channelKind) string {
	account, ok := f.text(p)
	if ok && wants.account != nil && !wants.account.MatchString(account) {
		f.wrong(p, "this is not an account id of this kind of channel", allowedAt(p.path))
	}
	return account
}

func (f *file) interfaceOf(p place, wants channelKind) string {
	api, ok := f.text(p)
	fault := wants.api
	if fault == nil {
		fault = func(s string) string { return urlFault(s, true) }
	}
	if ok {
		if msg := fault(api); msg != "" {
			f.wrong(p, msg, allowedAt(p.path))
		}
	}
	return strings.TrimRight(api, "/")
}

func (f *file) rate(p place) float64 {
	rate, ok := f.text(p)
	if !ok {
		return defaultRate
	}
	v, err := strconv.ParseFloat(rate, 64)
	if err != nil || !(v >= 0.1 && v <= 100) {
		f.wrong(p, "this is not a rate that can be kept", allowedAt(p.path))
		return defaultRate
	}
	return v
}

// ownAddress reads the number or other address that messages to owners come
// from.
func (f *file) ownAddress(p place, wants channelKind) string {
	if wants.address == nil {
		return f.ownNumber(p)
	}
	text, ok := f.text(p)
	if ok && !wants.address.MatchString(text) {
		f.wrong(p, "this is not an address that messages can come from", allowedAt(p.path))
	}
	return text
}

// ownNumber reads the number that texts to owners come from.
func (f *file) ownNumber(p place) string {
	text, ok := f.text(p)
	if !ok {
		return ""
	}
	a, ok := f.phoneNumber(p, text)
	if !ok {
		return ""
	}
	if first, twice := f.own[a]; twice {
		f.wrong(p, fmt.Sprintf("the channel in line %d has the same number", first.line), "a number of its own for each")
	} else {
		f.own[a] = p
	}
	return a.Value
}

// secret reads a secret of at least so many characters from where the settings
// say it is. Nothing of it, nor of what may be one put there by mistake, is ever
// part of a problem.
func (f *file) secret(section place, name string, found map[string]place, least int) Secret {
	env, file := found[name+"_env"], found[name+"_file"]
	var s Secret
	at := env
	switch {
	case env.node != nil && file.node != nil:
		f.wrongHidden(file, fmt.Sprintf("the secret is named twice: keep %s_env or %s_file", name, name))
	case env.node != nil:
		s = f.secretFromEnv(env)
	case file.node != nil:
		at = file
		s = f.secretFromFile(file)
	default:
		f.wrongHidden(place{path: join(section.path, name+"_env"), line: section.line},
			fmt.Sprintf("the secret is missing: name its environment variable in %s_env, or its file in %s_file", name, name))
	}
	if v := s.Reveal(); v != "" && len(v) < least {
		f.wrongHidden(at, fmt.Sprintf("the secret there is too short to keep anybody out: it has at least %d characters", least))
	}
	return s
}

func (f *file) secretFromEnv(p place) Secret {
	name, ok := f.text(p)
	if !ok {
		return Secret{}
	}
	if !envName.MatchString(name) {
		f.wrongHidden(p, "this is not the name of an environment variable: capital letters, digits and _; a secret itself never stands in the file")
		return Secret{}
	}
	value := ""
	if f.src.Getenv != nil {
		value = strings.TrimSpace(f.src.Getenv(name))
	}
	if value == "" {
		f.report(f.src.MissingSecrets, p, "this environment variable is not set", "")
	}
	return NewSecret(value)
}

func (f *file) secretFromFile(p place) Secret {
	name, ok := f.text(p)
	if !ok {
		return Secret{}
	}
	if !strings.Contains(name, "/") && !strings.Contains(name, ".") && len(name) >= 16 {
		f.wrongHidden(p, "this is not the path of a file; a secret itself never stands in the file")
		return Secret{}
	}
	data, err := f.readSecret(name)
	value := strings.TrimSpace(string(data))
	switch {
	case err != nil:
		f.report(f.src.MissingSecrets, p, "this file can't be read", "")
	case value == "":
		f.report(f.src.MissingSecrets, p, "this file is empty", "")
	case strings.ContainsAny(value, "\r\n"):
		f.wrong(p, "this file has more than one line; it holds the secret and nothing else", "")
	}
	return NewSecret(value)
}

func (f *file) readSecret(name string) ([]byte, error) {
	if filepath.IsAbs(name) && f.src.ReadFile != nil {
		return f.src.ReadFile(name)
	}
	return fs.ReadFile(f.src.Files, path.Clean(name))
}
