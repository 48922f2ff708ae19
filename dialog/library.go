package dialog

import "io/fs"

// Library holds checked scripts. It is immutable and safe for concurrent use.
type Library struct {
	scripts map[string]*Script
	version string
}

// Builtin returns the embedded scripts, checked.
func Builtin() (*Library, error) { return &Library{scripts: map[string]*Script{}}, nil }

// Override returns a library with a clinic's own texts laid over l. A clinic
// may change any script's texts and steps but never remove telephone numbers
// or safety lines. It returns every problem found; with problems, the library
// returned is l itself.
func (l *Library) Override(fsys fs.FS) (*Library, []Problem) { return l, nil }

// Script returns the script with this id.
func (l *Library) Script(id string) (*Script, bool) {
	s, ok := l.scripts[id]
	return s, ok
}

// Version names the scripts' versions and contents, for the log.
func (l *Library) Version() string { return l.version }

// Problem is one thing wrong with a script file.
type Problem struct {
	File    string
	Line    int
	Script  string
	Step    string
	Code    string // kebab-case, such as dead-end
	Message string // a sentence
}

// Script is one dialog.
type Script struct {
	id     string
	limits Limits
}

// Limits returns the script's time limits.
func (s *Script) Limits() Limits { return s.limits }

// OpenSafetyQuestion reports whether the session stands at a closed safety question.
func (s *Script) OpenSafetyQuestion(sess Session) bool { return false }
