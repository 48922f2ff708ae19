package clinic

import (
	"fmt"
	"io/fs"
	"path"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"gaitpost/internal/care"
	"gaitpost/internal/contact"
)

var (
	smsAccount = regexp.MustCompile(`^AC[0-9a-fA-F]{32}$`)
	envName    = regexp.MustCompile(`^[A-Z_][A-Z0-9_]*$`)
)

const defaultRate = 1

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
	if kind, ok := f.text(found["kind"]); ok {
		c.Kind = contact.Channel(kind)
		if c.Kind != contact.SMS {
			f.wrong(found["kind"], "there is no such kind of channel", allowedAt(found["kind"].path))
		}
	}
	if account, ok := f.text(found["account"]); ok {
		c.Account = account
		if !smsAccount.MatchString(account) {
			f.wrong(found["account"], "this is not an account id", allowedAt(found["account"].path))
		}
	}
	c.Number = f.ownNumber(found["number"])
	if api, ok := f.text(found["api"]); ok {
		c.API = strings.TrimRight(api, "/")
		if msg := urlFault(api, true); msg != "" {
			f.wrong(found["api"], msg, allowedAt(found["api"].path))
		}
	}
	if rate, ok := f.text(found["rate"]); ok {
		v, err := strconv.ParseFloat(rate, 64)
		if err != nil || !(v >= 0.1 && v <= 100) {
			f.wrong(found["rate"], "this is not a rate that can be kept", allowedAt(found["rate"].path))
		} else {
			c.Rate = v
		}
	}
	c.AuthToken = f.secret(item, found["auth_token_env"], found["auth_token_file"])
	return c
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

// secret reads a secret from where the settings say it is. Nothing of it, nor
// of what may be one put there by mistake, is ever part of a problem.
func (f *file) secret(section, env, file place) Secret {
	switch {
	case env.node != nil && file.node != nil:
		f.wrongHidden(file, "the secret is named twice: keep auth_token_env or auth_token_file")
	case env.node != nil:
		return f.secretFromEnv(env)
	case file.node != nil:
		return f.secretFromFile(file)
	default:
		f.wrongHidden(place{path: join(section.path, "auth_token_env"), line: section.line},
			"the secret is missing: name its environment variable in auth_token_env, or its file in auth_token_file")
	}
	return Secret{}
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
