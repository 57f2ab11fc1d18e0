package jobs

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/ident"
)

// Encoding is how the characters of a file are written.
type Encoding string

// The encodings. Empty reads as UTF8.
const (
	UTF8        Encoding = "UTF_8"
	UTF16       Encoding = "UTF_16"
	Windows1252 Encoding = "WINDOWS_1252"
	Latin1      Encoding = "ISO_8859_1"
)

// Delimiter is what stands between the cells of a row.
type Delimiter string

// The delimiters. Empty reads as Comma.
const (
	Comma     Delimiter = "COMMA"
	Semicolon Delimiter = "SEMICOLON"
	Tab       Delimiter = "TAB"
	Pipe      Delimiter = "PIPE"
)

// DecimalMark is what stands before the decimals of a number.
type DecimalMark string

// The marks. Empty reads as DecimalPoint.
const (
	DecimalPoint DecimalMark = "POINT"
	DecimalComma DecimalMark = "COMMA"
)

// LengthUnit is the unit of lengths that name none themselves.
type LengthUnit string

// The units of length. Empty reads as Millimetres.
const (
	Millimetres     LengthUnit = "MILLIMETRE"
	Centimetres     LengthUnit = "CENTIMETRE"
	Inches          LengthUnit = "INCH"
	SixteenthInches LengthUnit = "SIXTEENTH_INCH"
)

// TemperatureUnit is the unit of temperatures that name none themselves.
type TemperatureUnit string

// The units of temperature. Empty reads as Celsius.
const (
	Celsius    TemperatureUnit = "CELSIUS"
	Fahrenheit TemperatureUnit = "FAHRENHEIT"
)

// DateOrder is the order of a date in digits.
type DateOrder string

// The orders. Empty reads as YearMonthDay.
const (
	YearMonthDay DateOrder = "YEAR_MONTH_DAY"
	DayMonthYear DateOrder = "DAY_MONTH_YEAR"
	MonthDayYear DateOrder = "MONTH_DAY_YEAR"
)

// Mapping says how the files of one shop system are read.
type Mapping struct {
	ID              ident.Mapping   `json:"-"`
	Name            string          `json:"name,omitempty" validate:"max=60"`
	Format          string          `json:"format" validate:"required"`
	Encoding        Encoding        `json:"encoding,omitempty"`
	Delimiter       Delimiter       `json:"delimiter,omitempty"`
	DecimalMark     DecimalMark     `json:"decimal_mark,omitempty"`
	LengthUnit      LengthUnit      `json:"length_unit,omitempty"`
	TemperatureUnit TemperatureUnit `json:"temperature_unit,omitempty"`
	DateOrder       DateOrder       `json:"date_order,omitempty"`
	// TimeZone is of times that name none; in the mapping of an import it is never empty.
	TimeZone string `json:"time_zone,omitempty" validate:"max=60"`
	// Currency is that of the shop's books; in the mapping of an import it is never empty.
	Currency       string   `json:"currency_code,omitempty"`
	IsRowPerDamage bool     `json:"is_row_per_damage,omitempty"`
	Columns        []Column `json:"columns,omitempty" validate:"max=400,dive"`
	// Version is 0 in a mapping that is not saved.
	Version    int       `json:"-"`
	UpdateTime time.Time `json:"-"`
	UpdatedBy  string    `json:"-"`
}

// Column says where one field of a record comes from.
type Column struct {
	// Field is a path that ParseField reads.
	Field string `json:"field" validate:"required,max=100"`
	// Name is that of the column; "#" in it stands for the number of a damage or photo.
	Name string `json:"column,omitempty" validate:"max=200"`
	// Value stands when the cell is empty, or when there is no column.
	Value string `json:"value,omitempty" validate:"max=1000"`
	// IsOptional reads files without this column too.
	IsOptional bool   `json:"is_optional,omitempty"`
	Words      []Word `json:"words,omitempty" validate:"max=200,dive"`
}

// Word says what a word of a file means.
type Word struct {
	Given string `json:"given" validate:"required,max=200"`
	// Meaning is empty when the word says nothing, "n/a".
	Meaning string `json:"meaning,omitempty" validate:"max=200"`
}

// Number stands for the number of a damage or photo in the names of fields and columns.
const Number = "#"

// Bindings are the columns of the mapping; those of a mapping without any have the names of the
// fields themselves.
func (m Mapping) Bindings() []Column {
	if len(m.Columns) > 0 {
		return m.Columns
	}
	own := make([]Column, len(intakeFields))
	for i, f := range intakeFields {
		own[i] = Column{Field: f.Path, Name: f.Path, IsOptional: !slices.Contains(needed, f.Path)}
	}
	return own
}

// needed are the fields without which no record can be: a mapping without them imports nothing.
var needed = []string{"external_reference", "vehicle.vin", "start_time", "finish_time", "technician",
	"damages.#.kind", "damages.#.outcome"}

var mappingName = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)

// CheckMapping gives every fault of a mapping, apart from those that its validate tags say and an
// unknown format. Paths begin with "mapping.". It is pure and may be repeated.
func CheckMapping(m Mapping) []errs.Field {
	c := mappingChecker{patterns: map[string][]string{}}
	if m.Name != "" && !mappingName.MatchString(m.Name) {
		c.fault("name", "FORM", "%.60q was given; give small letters, digits and hyphens: \"front-desk\"", m.Name)
	}
	if _, ok := access.ParseZone(m.TimeZone); !ok && m.TimeZone != "" {
		c.fault("time_zone", "TIME_ZONE", "%.60q was given; give the name of a time zone from the IANA list, "+
			"\"America/New_York\", or nothing for the shop's", m.TimeZone)
	}
	for i, column := range m.Columns {
		c.column(fmt.Sprintf("columns[%d].", i), column)
	}
	if len(m.Columns) == 0 {
		return c.faults
	}
	for _, field := range needed {
		if len(c.patterns[field]) == 0 {
			c.fault("columns", "FIELD_MISSING", "nothing stands for the field %s, and no record can be without it: name its "+
				"column, or a value for all rows", field)
		}
	}
	return c.faults
}

type mappingChecker struct {
	// patterns are the fields that stand for each path of the table.
	patterns map[string][]string
	faults   []errs.Field
}

func (c *mappingChecker) fault(path, reason, message string, args ...any) {
	c.faults = append(c.faults, errs.Field{Path: "mapping." + path, Reason: reason, Message: fmt.Sprintf(message, args...)})
}

func (c *mappingChecker) column(at string, column Column) {
	field, _, ok := ParseField(column.Field)
	if !ok {
		c.fault(at+"field", "UNKNOWN_VALUE", "%.100q was given; give a field of RepairRecord such as vehicle.vin, with "+
			"damages.#. or photos.#. and then the field for those, or damages.1. for one of them, up to %d", column.Field, maxDamages)
		return
	}
	if column.Name == "" && column.Value == "" {
		c.fault(at+"column", "REQUIRED", "nothing was given; give the name of a column, or a value for all rows")
	}
	if strings.Count(column.Name, Number) > 1 || strings.Contains(column.Name, Number) && !strings.Contains(column.Field, Number) {
		c.fault(at+"column", "NUMBER", "%.100q was given for the field %s; # may stand once in the name of a column, and only "+
			"when it stands in the field too", column.Name, column.Field)
	}
	for _, before := range c.patterns[field.Path] {
		if before == column.Field || before == field.Path || column.Field == field.Path {
			c.fault(at+"field", "REPEATED", "%s was given and %s stands already; let one column fill a field", column.Field, before)
			break
		}
	}
	c.patterns[field.Path] = append(c.patterns[field.Path], column.Field)
	if column.Value != "" {
		c.meaning(at+"value", field, column.Value)
	}
	seen := map[string]bool{}
	for i, w := range column.Words {
		if key := FoldWord(w.Given); seen[key] {
			c.fault(fmt.Sprintf("%swords[%d].given", at, i), "REPEATED", "%.60q stands already; a word means one thing", w.Given)
		} else {
			seen[key] = true
		}
		if w.Meaning != "" {
			c.meaning(fmt.Sprintf("%swords[%d].meaning", at, i), field, w.Meaning)
		}
	}
}

// meaning refuses what the field cannot take; other kinds than words are read with the file.
func (c *mappingChecker) meaning(at string, f IntakeField, text string) {
	if _, ok := f.Own(text); !ok {
		c.fault(at, "UNKNOWN_VALUE", "%.60q was given for the field %s; allowed are %s", text, f.Path, strings.Join(f.Allowed(), ", "))
	}
}

// FoldWord writes a word so that those that differ in letters' size and in spaces alone are equal.
func FoldWord(text string) string { return strings.ToLower(strings.Join(strings.Fields(text), " ")) }
