package vin

import "testing"

// BenchmarkCheckDigit is the arithmetic alone.
func BenchmarkCheckDigit(b *testing.B) {
	for b.Loop() {
		if !Passes("1M8GDM9AXKP042788") {
			b.Fatal("does not pass")
		}
	}
}

// BenchmarkCheckClean is everything that is done with a number in which nothing is wrong.
func BenchmarkCheckClean(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, found := Parse("1HGCM82633A004352", day); len(found) > 0 {
			b.Fatal(found)
		}
	}
}

// BenchmarkCheckWrong includes the search for corrections and the sentences.
func BenchmarkCheckWrong(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, found := Parse("5TFEV54198X063405", day); len(found) != 1 {
			b.Fatal(found)
		}
	}
}
