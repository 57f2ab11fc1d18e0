package intake

import (
	"encoding/json"
	"math"
	"regexp"
	"strconv"
	"strings"

	"cullet/services/jobs"
	"cullet/services/repairability"
)

// hundredthsOfInch: an inch is 25.4 mm exactly, which are 2540 hundredths of a millimetre
// (international yard and pound agreement, 1959; from memory).
const hundredthsOfInch = 2540

// units are how a cell may name its unit itself.
var units = map[string]jobs.LengthUnit{"mm": jobs.Millimetres, "cm": jobs.Centimetres, "in": jobs.Inches, "in.": jobs.Inches,
	"inch": jobs.Inches, "inches": jobs.Inches, `"`: jobs.Inches, "″": jobs.Inches, "”": jobs.Inches, "''": jobs.Inches}

var (
	withUnit = regexp.MustCompile(`^(.*?[0-9¼½¾⅛⅜⅝⅞])\s*([a-z"″”'][a-z"″”'.]*)?$`)
	fraction = regexp.MustCompile(`^(-?)(?:([0-9]{1,4})(?:\s+|\s*-\s*))?([0-9]{1,4})\s*/\s*([0-9]{1,2})$`)
	// asDate is what a spreadsheet makes of 3/16.
	asDate = regexp.MustCompile(`(?i)^(?:[0-9]{1,2}[-. /]+)?(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)`)
)

// vulgar are the fractions that have a character of their own.
var vulgar = strings.NewReplacer("¼", " 1/4", "½", " 1/2", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8", "⁄", "/")

const aLength = `a length such as "19", "19 mm", "0.75 in" or "1 3/16 in"`

// length reads a length as millimetres in decimal digits. Millimetres and centimetres are taken over
// exactly or refused; inches are rounded to the nearest hundredth of a millimetre, which is the
// finest the house knows: a sixteenth is 1.5875 mm.
func length(text string, mark jobs.DecimalMark, unit jobs.LengthUnit) (any, *bad) {
	number := text
	if found := withUnit.FindStringSubmatch(strings.ToLower(text)); found != nil && found[2] != "" {
		own, ok := units[found[2]]
		if !ok {
			return nil, badf("UNIT", "%.60q was given; give the length in mm, cm or in (inches), or without a unit", text)
		}
		number, unit = found[1], own
	}
	hundredths, bad := hundredthsOf(number, mark, unit)
	if bad != nil {
		if asDate.MatchString(text) {
			bad.message += `. A spreadsheet makes a date of 3/16: format the column as text there, or write "3/16 in"`
		}
		return nil, bad
	}
	if hundredths > math.MaxInt32 || hundredths < math.MinInt32 {
		return nil, badf("OUT_OF_RANGE", "%.60q was given; give %s of at most 10 metres", text, aLength)
	}
	return json.Number(repairability.Length(hundredths).String()), nil
}

func hundredthsOf(text string, mark jobs.DecimalMark, unit jobs.LengthUnit) (int64, *bad) {
	if parts := fraction.FindStringSubmatch(strings.TrimSpace(vulgar.Replace(text))); parts != nil {
		return ofFraction(text, parts, unit)
	}
	d, bad := parseDecimal(text, mark, aLength)
	if bad != nil {
		return 0, bad
	}
	switch unit {
	case jobs.Inches:
		return divide(d.unscaled*hundredthsOfInch, pow10(d.scale)), nil
	case jobs.SixteenthInches:
		return divide(d.unscaled*hundredthsOfInch, 16*pow10(d.scale)), nil
	case jobs.Centimetres:
		return exactly(text, d, 3, "centimetres")
	}
	return exactly(text, d, 2, "millimetres")
}

// exactly reads a metric length with at most some decimals.
func exactly(text string, d decimal, most int, unit string) (int64, *bad) {
	if d.scale > most {
		return 0, badf("TOO_PRECISE", "%.60q was given; give %s with at most %d decimals", text, unit, most)
	}
	return d.unscaled * pow10(most-d.scale), nil
}

// ofFraction reads "3/4", "19/16", "1 3/16" and "1-3/16" of an inch. The parts are sign, whole,
// numerator and denominator.
func ofFraction(text string, parts []string, unit jobs.LengthUnit) (int64, *bad) {
	if unit != jobs.Inches && unit != jobs.SixteenthInches {
		return 0, badf("UNIT", "%.60q was given; fractions are of inches: write %q, or give millimetres", text, text+" in")
	}
	whole, _ := strconv.ParseInt("0"+parts[2], 10, 64) // digits, by the pattern
	above, _ := strconv.ParseInt(parts[3], 10, 64)
	below, _ := strconv.ParseInt(parts[4], 10, 64)
	if below < 2 || below > 64 || below&(below-1) != 0 {
		return 0, badf("NOT_A_NUMBER", "%.60q was given; give halves, fourths, eighths, sixteenths, 32nds or 64ths of an inch", text)
	}
	if parts[2] != "" && above >= below {
		return 0, badf("NOT_A_NUMBER", "%.60q was given; beside a whole number the fraction must be less than one", text)
	}
	n := divide((whole*below+above)*hundredthsOfInch, below)
	if parts[1] == "-" {
		n = -n
	}
	return n, nil
}

const aTemperature = `a temperature such as "21.5", "21.5 C" or "70 F"`

var degrees = regexp.MustCompile(`^(.*?[0-9])\s*(?:°|º|deg)?\s*([cf]?)$`)

// temperature reads degrees Celsius in decimal digits. Celsius is taken over exactly or refused;
// Fahrenheit is rounded to the nearest tenth of a degree Celsius: t/°C = (t/°F - 32) x 5/9 (from
// memory).
func temperature(text string, mark jobs.DecimalMark, unit jobs.TemperatureUnit) (any, *bad) {
	number := text
	if found := degrees.FindStringSubmatch(strings.ToLower(text)); found != nil {
		number = found[1]
		switch found[2] {
		case "c":
			unit = jobs.Celsius
		case "f":
			unit = jobs.Fahrenheit
		}
	}
	d, bad := parseDecimal(number, mark, aTemperature)
	if bad != nil {
		return nil, bad
	}
	if unit == jobs.Fahrenheit {
		tenths := divide((d.unscaled-32*pow10(d.scale))*50, 9*pow10(d.scale))
		return json.Number(decimal{unscaled: tenths, scale: 1}.String()), nil
	}
	if d.scale > 1 {
		return nil, badf("TOO_PRECISE", "%.60q was given; give degrees Celsius with at most one decimal", text)
	}
	return json.Number(d.String()), nil
}
