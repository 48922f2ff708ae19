package answer

import "testing"

func BenchmarkRead(b *testing.B) {
	l := English()
	items := weekly()
	for _, bm := range []struct {
		name string
		run  func()
	}{
		{"scale", func() { l.Scale("2", nil) }},
		{"scale with anchors", func() { l.Scale("2 today, a bit stiff", items[0].Anchors) }},
		{"list", func() { l.Scales("1 0 0 2 1 1 0", items) }},
		{"named", func() { l.Scales("limping 2, nights 0, rest same", items) }},
		{"yesno", func() { l.YesNo("no, nothing new, he's grand") }},
		{"weight", func() { l.Weight("from 32 now 31.4 kg", Kilograms) }},
		{"number", func() { l.Number("missed one on tuesday", 0, 14) }},
		{"control", func() { l.Control("1 0 0 2 1 1 0") }},
		{"control of a long text", func() {
			l.Control("he was a bit stiff after the beach on sunday but came right by the evening, eating well")
		}},
	} {
		b.Run(bm.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				bm.run()
			}
		})
	}
}
