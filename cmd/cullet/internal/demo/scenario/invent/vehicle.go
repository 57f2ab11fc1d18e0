package invent

import (
	"fmt"
	"math/rand/v2"

	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/vin"
)

// The makers' identifiers that are used: ordinary North American ones. What they stand for is
// read from the number, never written into a record.
var (
	carMakers   = []string{"1G1", "1C4", "1FM", "1N4", "2HG", "2T3", "3FA", "3VW", "4S4", "4T1", "5FN", "5NP", "5YF"}
	truckMakers = []string{"1FT", "1GC", "1FD"}
)

// number invents a vehicle's number that passes the check digit. Position 7 is a letter, as it has
// to be since model year 2010; the serial begins with 99, which hardly any plant reaches.
func number(rng *rand.Rand, makers []string) string {
	const letters, codes = "ABCDEFGHJKLMNPRSTVWX", "EFGHJKLMNPRST" // Model years 2014 to 2026.
	text := []byte(fmt.Sprintf("%s%c%c%d%c%d_%c%c99%04d", pick(rng, makers), letters[rng.IntN(20)], letters[rng.IntN(20)],
		rng.IntN(10), letters[rng.IntN(20)], rng.IntN(10), codes[rng.IntN(len(codes))], letters[rng.IntN(20)], rng.IntN(10_000)))
	text[8] = '0'
	digit, _ := vin.CheckDigit(string(text))
	text[8] = digit
	return string(text)
}

func (d *draft) vehicle() *jobsv1.Vehicle {
	makers := carMakers
	if d.payer == tannery || d.payer == parks {
		makers = truckMakers
	}
	v := &jobsv1.Vehicle{Vin: number(d.rng, makers), PlateRegion: "OH", OdometerKm: int32(18_000 + 100*d.rng.IntN(1_900))}
	if d.at.state == "KY" {
		v.PlateRegion = "KY"
	}
	v.Plate = fmt.Sprintf("%c%c%c %04d", 'A'+d.rng.IntN(26), 'A'+d.rng.IntN(26), 'A'+d.rng.IntN(26), d.rng.IntN(10_000))
	switch d.payer {
	case tannery:
		v.UnitNumber, v.IsCommercial = fmt.Sprintf("TF-%d", 100+d.rng.IntN(80)), true
	case parks:
		v.UnitNumber = fmt.Sprintf("P-%02d", 1+d.rng.IntN(40))
	}
	return v
}

func (d *draft) glass() *jobsv1.Glass {
	g := &jobsv1.Glass{
		WidthMm: proto.Float64(float64(1380 + 10*d.rng.IntN(17))), HeightMm: proto.Float64(float64(790 + 10*d.rng.IntN(12))),
		DriverSide: jobsv1.DriverSide_DRIVER_SIDE_LEFT, SteeringCentreMm: proto.Float64(float64(370 + 5*d.rng.IntN(9))),
		WiperTopMm: proto.Float64(float64(600 + 10*d.rng.IntN(8))), SteeringTopMm: proto.Float64(float64(150 + 10*d.rng.IntN(6))),
		HasDriverAssistance: jobsv1.Known_KNOWN_NO, EarlierRepairCount: proto.Int32(0), IsSoldAlready: jobsv1.Known_KNOWN_YES}
	if d.rng.IntN(4) == 0 {
		g.HasDriverAssistance = jobsv1.Known_KNOWN_YES
	}
	return g
}

// withSerial gives the number another serial, and the check digit that belongs to it.
func withSerial(number, serial string) string {
	text := []byte(number[:11] + serial)
	digit, _ := vin.CheckDigit(string(text))
	text[8] = digit
	return string(text)
}
