package sms

import (
	"net/url"
	"slices"
	"strings"

	"gaitpost/bot"
)

// maxFields bounds what one request may hold; a message of ten pictures has
// about forty fields.
const maxFields = 200

// field is one name and value of a form body.
type field struct{ name, value string }

// form is a form body, in order of names and values.
type form struct{ sorted []field }

// parseForm reads a form body as it is, nothing trimmed. Error: bot.ErrBroken.
func parseForm(body string) (form, error) {
	f := form{make([]field, 0, strings.Count(body, "&")+1)}
	if cap(f.sorted) > maxFields {
		return form{}, bot.ErrBroken
	}
	for body != "" {
		var pair string
		pair, body, _ = strings.Cut(body, "&")
		if pair == "" {
			continue
		}
		name, value, _ := strings.Cut(pair, "=")
		name, err := url.QueryUnescape(name)
		if err != nil {
			return form{}, bot.ErrBroken
		}
		value, err = url.QueryUnescape(value)
		if err != nil {
			return form{}, bot.ErrBroken
		}
		f.sorted = append(f.sorted, field{name, value})
	}
	f.sort()
	return f, nil
}

func (f form) sort() {
	slices.SortFunc(f.sorted, func(a, b field) int {
		if n := strings.Compare(a.name, b.name); n != 0 {
			return n
		}
		return strings.Compare(a.value, b.value)
	})
}

// get returns the first value of a name, "" where there is none.
func (f form) get(name string) string {
	i, ok := slices.BinarySearchFunc(f.sorted, name, func(p field, name string) int { return strings.Compare(p.name, name) })
	if !ok {
		return ""
	}
	return f.sorted[i].value
}

// queryValue returns the first value of a name in a query.
func queryValue(query, name string) (string, bool) {
	for query != "" {
		var pair string
		pair, query, _ = strings.Cut(query, "&")
		if n, value, _ := strings.Cut(pair, "="); n == name {
			value, err := url.QueryUnescape(value)
			return value, err == nil
		}
	}
	return "", false
}
