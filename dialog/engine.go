package dialog

import "errors"

// ErrNoScript means that the library has no script or step of that name.
var ErrNoScript = errors.New("there is no such script")

// Begin opens a dialog and returns its first lines. It returns ErrNoScript
// for an unknown script.
func (l *Library) Begin(script string, form Form, ctx Context) (Session, []Line, error) {
	return Session{}, nil, ErrNoScript
}

// Reply reads one text in an open session.
func (l *Library) Reply(s Session, ctx Context, text string) Result {
	return Result{Session: s, Reason: NoSession, Done: !s.Open()}
}

// Ask returns the current question again, after a pause or a handover.
func (l *Library) Ask(s Session, ctx Context) []Line { return nil }

// Remind returns the one reminder for the current question.
func (l *Library) Remind(s Session, ctx Context) []Line { return nil }

// Say returns a single text that is not part of a dialog.
func (l *Library) Say(script, step string, ctx Context) Line {
	return Line{Script: script, Step: step, Part: PartSay}
}

// Render returns the text of a line. It never fails: an unknown step gives a
// safe fallback that says to ring the practice.
func (l *Library) Render(line Line, lang string) string { return "" }
