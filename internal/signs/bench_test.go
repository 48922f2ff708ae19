package signs

import "testing"

// BenchmarkSpanish screens the Spanish training part, English lists included.
func BenchmarkSpanish(b *testing.B) {
	ss := corpus(b, "es", "train")
	Screen("vamos", Context{Lang: "es"})
	b.ReportAllocs()
	b.ResetTimer()
	for i := range b.N {
		s := &ss[i%len(ss)]
		Screen(s.text, s.ctx)
	}
}

// BenchmarkScreen screens the training part of the corpus, message by message;
// ns/op is the average cost of one message.
func BenchmarkScreen(b *testing.B) {
	ss := corpus(b, "en", "train")
	Screen("warm up", Context{})
	b.ReportAllocs()
	b.ResetTimer()
	for i := range b.N {
		s := &ss[i%len(ss)]
		Screen(s.text, s.ctx)
	}
}
