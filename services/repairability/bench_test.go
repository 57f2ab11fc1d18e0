package repairability

import "testing"

// BenchmarkAssess is the whole judgement of three damages on one glass.
func BenchmarkAssess(b *testing.B) {
	s, _ := Find("ROLAGS", today)
	damages := []Damage{soundDamage(Bullseye, "driver"), soundDamage(StarBreak, "passenger"), soundDamage(Crack, "top")}
	g := testGlass()
	b.ReportAllocs()
	for b.Loop() {
		if all, _ := Assess(s, g, damages, today); len(all) != len(damages) {
			b.Fatal(all)
		}
	}
}
