package vin

import (
	"slices"
	"strings"
)

// yearCodes are the characters of position 10 from 1980 on; after thirty years they start again.
const yearCodes = "ABCDEFGHJKLMNPRSTVWXY123456789"

const (
	firstYear = 1980
	cycle     = 30
	// lastRuledYear is the last model year that the rule of position 7 speaks of.
	lastRuledYear = 2039
)

// Basis says what decided a model year.
type Basis string

// The bases.
const (
	// NoYear: position 10 tells no year.
	NoYear Basis = "NONE"
	// OnlyYear: no other year of the code lies before the repair.
	OnlyYear Basis = "ONLY_YEAR"
	// SaidYear: several fit, and one of them is what the papers say.
	SaidYear Basis = "AS_SAID"
	// Position7 decides between the cycles: a light vehicle made for North America.
	Position7 Basis = "POSITION_7"
	// Position7Likely: position 7 would decide, if this is such a vehicle, which is not known.
	Position7Likely Basis = "POSITION_7_LIKELY"
	// LatestYear: nothing decides; the latest year that fits is named first.
	LatestYear Basis = "LATEST"
)

// Year is a model year with what else it could be. A model year is neither the year of building
// nor that of registration.
type Year struct {
	// Year is 0 when the number tells none.
	Year int
	// Others are further years that cannot be ruled out, the latest first.
	Others []int
	Basis  Basis
}

// ModelYear reads positions 7 and 10. The day of the repair rules out what was not yet made: no
// vehicle is of a model year later than the year after it. Without a day the rule of position 7
// stands alone, up to its last year, 2039.
func (n Number) ModelYear(said Said) Year {
	possible := n.possibleYears(said)
	switch {
	case len(possible) == 0:
		return Year{Basis: NoYear}
	case len(possible) == 1:
		return Year{Year: possible[0], Basis: OnlyYear}
	}
	class := n.class(said)
	ruled := n.ruledYear()
	fits := class != Other && slices.Contains(possible, ruled)
	switch {
	case fits && class == Light && n.northAmerican(said):
		return Year{Year: ruled, Basis: Position7}
	case slices.Contains(possible, said.ModelYear):
		return chosen(said.ModelYear, possible, SaidYear)
	case fits:
		return chosen(ruled, possible, Position7Likely)
	}
	return chosen(possible[0], possible, LatestYear)
}

func chosen(year int, possible []int, basis Basis) Year {
	others := slices.DeleteFunc(slices.Clone(possible), func(y int) bool { return y == year })
	return Year{Year: year, Others: others, Basis: basis}
}

// possibleYears are the years of the code that are not later than the year after the repair, the
// latest first.
func (n Number) possibleYears(said Said) []int {
	if len(n) != Length {
		return nil
	}
	place := strings.IndexByte(yearCodes, n[9])
	if place < 0 {
		return nil
	}
	var years []int
	for year := firstYear + place; year <= lastYear(said); year += cycle {
		years = append([]int{year}, years...)
	}
	return years
}

func lastYear(said Said) int {
	if said.On.IsZero() {
		return lastRuledYear
	}
	return said.On.Year() + 1
}

// ruledYear is what 49 CFR 565.15 makes of positions 7 and 10 of a light vehicle: a digit in
// position 7 means 1980 to 2009, a letter 2010 to 2039. The year code must be a legal one.
func (n Number) ruledYear() int {
	year := firstYear + strings.IndexByte(yearCodes, n[9])
	if n[6] >= 'A' {
		year += cycle
	}
	return year
}

// class is what was said, else what the maker's identifier is registered for. A truck may be
// light or heavy, so its identifier tells nothing.
func (n Number) class(said Said) Class {
	if said.Class == Light || said.Class == Other {
		return said.Class
	}
	maker, _ := n.Maker()
	switch maker.Vehicle {
	case PassengerCar, MultipurposeVehicle:
		return Light
	case Bus:
		return Other
	}
	return ClassUnknown
}

// northAmerican tells whether the number has to follow 49 CFR 565.
func (n Number) northAmerican(said Said) bool {
	return said.NorthAmericanMarket || n.Region().CheckDigitRequired
}
