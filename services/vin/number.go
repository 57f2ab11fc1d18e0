package vin

import (
	"time"

	"cullet/services/finding"
)

// Length is the number of characters of a vehicle identification number since model year 1981.
const Length = 17

// Number is a vehicle identification number in canonical form: upper case, without spaces and
// hyphens. It is what was read, right or wrong; the findings beside it say what is wrong with it.
type Number string

// Class tells which vehicles the rule of position 7 is made for.
type Class string

// The classes. Empty reads as ClassUnknown.
const (
	// Light: cars, multipurpose vehicles and trucks up to 4536 kg gross weight rating.
	Light Class = "LIGHT"
	// Other: heavy trucks, buses, trailers, motorcycles.
	Other        Class = "OTHER"
	ClassUnknown Class = "UNKNOWN"
)

// Said is what is known of the vehicle besides its number.
type Said struct {
	// On is the day of the repair; it resolves the thirty-year cycle of the year code.
	On time.Time
	// ModelYear is as the owner or the papers say; 0 when nobody said.
	ModelYear int
	Class     Class
	// NorthAmericanMarket is true for a vehicle that was made for sale in the USA or Canada,
	// wherever it was built.
	NorthAmericanMarket bool
}

// Parse reads a number of which nothing else is known than the day of the repair.
func Parse(text string, on time.Time) (Number, []finding.Finding) {
	return Check(text, Said{On: on})
}
