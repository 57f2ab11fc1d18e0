package intake

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"cullet/services/jobs"
	"cullet/services/money"
)

// bad is why a cell cannot be read.
type bad struct{ reason, message string }

func badf(reason, message string, args ...any) *bad {
	return &bad{reason, fmt.Sprintf(message, args...)}
}

// parse reads a cell in which something stands, as the contract writes the field in JSON; nil without
// a fault when the word in it says that nothing is known.
func (b *builder) parse(f jobs.IntakeField, cell Cell) (any, *bad) {
	mark := b.DecimalMark
	if cell.IsNumber {
		mark = jobs.DecimalPoint
	}
	switch f.Kind {
	case jobs.YesNoField, jobs.AnswerField, jobs.ChoiceField:
		return word(f, cell.Text)
	case jobs.LengthField:
		return length(cell.Text, mark, b.LengthUnit)
	case jobs.TemperatureField:
		return temperature(cell.Text, mark, b.TemperatureUnit)
	case jobs.WholeField:
		return whole(cell.Text, mark)
	case jobs.DegreesField:
		d, bad := parseDecimal(cell.Text, mark, "decimal degrees such as 39.1031")
		if bad != nil {
			return nil, bad
		}
		return json.Number(d.String()), nil
	case jobs.InstantField:
		return b.instant(cell.Text)
	case jobs.DayField:
		return b.civilDay(cell.Text)
	case jobs.SumField:
		return sum(cell.Text, mark, b.Currency)
	case jobs.SecondsField:
		return seconds(cell.Text, mark)
	}
	return cell.Text, nil
}

// word reads what is chosen from words.
func word(f jobs.IntakeField, text string) (any, *bad) {
	own, ok := f.Own(text)
	switch {
	case !ok:
		return nil, badf("UNKNOWN_VALUE", "%.60q was given; allowed are %s, or say in the mapping which of them the word means",
			text, strings.Join(f.Allowed(), ", "))
	case own == "":
		return nil, nil
	case f.Kind == jobs.YesNoField:
		return own == "YES", nil
	case f.Kind == jobs.AnswerField:
		return "KNOWN_" + own, nil
	}
	return f.Prefix + own, nil
}

const aWhole = "a whole number"

func whole(text string, mark jobs.DecimalMark) (any, *bad) {
	d, bad := parseDecimal(text, mark, aWhole)
	if bad != nil {
		return nil, bad
	}
	if d.scale > 0 {
		return nil, badf("NOT_A_NUMBER", "%.60q was given; give %s without decimals", text, aWhole)
	}
	if d.unscaled > math.MaxInt32 || d.unscaled < math.MinInt32 {
		return nil, badf("OUT_OF_RANGE", "%.60q was given; give %s of at most %d", text, aWhole, math.MaxInt32)
	}
	return int32(d.unscaled), nil
}

// seconds reads a list of whole numbers: "120 60 60". They are separated by spaces, semicolons,
// slashes or plus signs, and by commas where no number has one.
func seconds(text string, mark jobs.DecimalMark) (any, *bad) {
	separators := " ;/+"
	if mark != jobs.DecimalComma {
		separators += ","
	}
	var all []any
	for _, item := range strings.FieldsFunc(text, func(c rune) bool { return strings.ContainsRune(separators, c) }) {
		n, bad := whole(item, mark)
		if bad != nil {
			return nil, badf(bad.reason, "%.60q was given; give the seconds of each cycle as whole numbers with spaces between them: \"120 60\"", text)
		}
		all = append(all, n)
	}
	if len(all) == 0 {
		return nil, badf("NOT_A_NUMBER", "%.60q was given; give the seconds of each cycle as whole numbers with spaces between them: \"120 60\"", text)
	}
	return all, nil
}

// signs are the signs of currencies that may stand beside a sum, when the books are in it.
var signs = map[string]string{"USD": "$", "CAD": "$", "AUD": "$", "NZD": "$", "EUR": "€", "GBP": "£"}

// sum reads money in the currency of the books.
func sum(text string, mark jobs.DecimalMark, currency string) (any, *bad) {
	plain := text
	for _, unit := range []string{currency, signs[currency]} {
		plain = strings.TrimSpace(strings.TrimSuffix(strings.TrimPrefix(plain, unit), unit))
	}
	d, bad := parseDecimal(plain, mark, "a sum in "+currency+" such as "+money.From(10050, currency).Decimal())
	if bad != nil {
		return nil, bad
	}
	amount, err := money.Parse(d.String(), currency)
	if err != nil {
		return nil, badf("AMOUNT", "%.60q was given; give a sum in %s with no more decimals than it has, such as %s", text, currency,
			money.From(10050, currency).Decimal())
	}
	return map[string]any{"minor_units": amount.Minor, "currency_code": currency}, nil
}
