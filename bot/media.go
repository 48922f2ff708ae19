package bot

import "strings"

// MediaType is a content type without its parameters; anything that is none is
// just some file. What came with a message is named, never fetched.
func MediaType(s string) string {
	s, _, _ = strings.Cut(s, ";")
	s = strings.ToLower(strings.TrimSpace(s))
	major, minor, ok := strings.Cut(s, "/")
	odd := func(r rune) bool {
		return !(r >= '0' && r <= '9' || r >= 'a' && r <= 'z' || strings.ContainsRune("-.+_", r))
	}
	if !ok || major == "" || minor == "" || len(s) > 80 || strings.ContainsFunc(major+minor, odd) {
		return "application/octet-stream"
	}
	return s
}
