package tax_test

import (
	"slices"
	"testing"
	"time"

	"github.com/cockroachdb/apd/v3"

	"cullet/services/money"
	"cullet/services/tax"
)

// threeLines is the invoice of the benchmark: labor, materials and trip in Franklin County, Ohio,
// with two jurisdictions, so six explained components.
func threeLines() tax.Request {
	return ask("2026-11-20", at("OH", "Franklin", "Columbus"), apart(1, 6795), parts(2, 1200), drive(3, 2000))
}

// bareDecimal is the floor that the explained tax is measured by: one price times one rate,
// rounded to cents, with a general decimal library, and no explanation.
func bareDecimal() func() {
	price, rate := apd.New(8995, -2), apd.New(8875, -5)
	context := apd.BaseContext.WithPrecision(19)
	context.Rounding = apd.RoundHalfUp
	var out apd.Decimal
	return func() {
		if _, err := context.Mul(&out, price, rate); err != nil {
			panic(err)
		}
		if _, err := context.Quantize(&out, &out, -2); err != nil {
			panic(err)
		}
	}
}

// bareIntegers is the least work that finds the same six taxes and their sum.
func bareIntegers() func() {
	r := threeLines()
	rates := [2]tax.Rate{5_750_000, 2_250_000}
	return func() {
		var sum money.Amount
		for i := range r.Lines {
			for _, rate := range rates {
				sum.Minor += rate.Of(r.Lines[i].Amount).Minor
			}
		}
		if sum.Minor != 800 {
			panic(sum.String())
		}
	}
}

func explained() func() {
	book, r := tax.Shipped(), threeLines()
	return func() {
		if result, _ := tax.Quote(book, r); result.Tax.Minor != 800 {
			panic(result.Tax.String())
		}
	}
}

func BenchmarkBareDecimal(b *testing.B)  { loop(b, bareDecimal()) }
func BenchmarkBareIntegers(b *testing.B) { loop(b, bareIntegers()) }
func BenchmarkExplained(b *testing.B)    { loop(b, explained()) }

func loop(b *testing.B, work func()) {
	b.ReportAllocs()
	for b.Loop() {
		work()
	}
}

// BenchmarkExplainedRatio runs the explained tax and the bare decimal floor in turn, eleven rounds
// of each, and reports the median ratio: the goal is at most 10. One operation is all rounds.
func BenchmarkExplainedRatio(b *testing.B) {
	floor, full := bareDecimal(), explained()
	var ratios, floors, fulls []float64
	for b.Loop() {
		for range 11 {
			bare, explained := took(floor), took(full)
			ratios = append(ratios, explained/bare)
			floors, fulls = append(floors, bare), append(fulls, explained)
		}
	}
	b.ReportMetric(median(ratios), "x-floor")
	b.ReportMetric(median(floors), "floor-ns")
	b.ReportMetric(median(fulls), "explained-ns")
}

// took is the time of one run of the work in nanoseconds, from a batch of runs.
func took(work func()) float64 {
	const batch = 2000
	start := time.Now()
	for range batch {
		work()
	}
	return float64(time.Since(start).Nanoseconds()) / batch
}

func median(of []float64) float64 {
	slices.Sort(of)
	return of[len(of)/2]
}
