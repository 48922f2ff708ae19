package dialog

import "testing"

// BenchmarkReply measures one answer to one question and the next question as text.
func BenchmarkReply(b *testing.B) {
	l := library(b)
	ctx := household("own1", "own2", "medicine")
	s, _, err := l.Begin("checkin", OneByOne, ctx)
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		r := l.Reply(s, ctx, "2")
		l.Render(r.Say[0], "en")
	}
}
