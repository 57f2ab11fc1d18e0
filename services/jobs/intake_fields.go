package jobs

import (
	"slices"
	"strconv"
	"strings"
)

// FieldKind is what a field of a record takes from a cell.
type FieldKind int

// The kinds.
const (
	// TextField takes the text as it is.
	TextField FieldKind = iota
	// YesNoField is yes or no, AnswerField yes, no or not known.
	YesNoField
	AnswerField
	// ChoiceField is one of the field's words.
	ChoiceField
	LengthField
	TemperatureField
	// WholeField is a whole number.
	WholeField
	// DegreesField is a coordinate in decimal degrees.
	DegreesField
	// InstantField is a day with a time of day, DayField a day alone.
	InstantField
	DayField
	// SumField is a sum of money in the currency of the shop's books.
	SumField
	// SecondsField is a list of whole numbers of seconds.
	SecondsField
)

// IntakeField is one field of a record that a column can fill.
type IntakeField struct {
	// Path is the contract's, with "#" for the number of a damage or photo: "damages.#.spread_mm".
	Path string
	Kind FieldKind
	// Prefix and Words are of a ChoiceField: the contract's enum without and with its prefix.
	Prefix string
	Words  []string
}

// RepairDate is the field that is the day of times without one. It is no field of the contract.
const RepairDate = "repair_date"

// IntakeFields lists every field of a record that a column can fill, and RepairDate.
func IntakeFields() []IntakeField { return slices.Clone(intakeFields) }

var fieldsByPath = func() map[string]IntakeField {
	all := make(map[string]IntakeField, len(intakeFields))
	for _, f := range intakeFields {
		all[f.Path] = f
	}
	return all
}()

// ParseField reads the path of a field: "vehicle.vin", "damages.#.spread_mm", "damages.2.spread_mm".
// Number is 0 unless the path names one, from 1. Ok is false when there is no such field.
func ParseField(path string) (f IntakeField, number int, ok bool) {
	if f, ok = fieldsByPath[path]; ok {
		return f, 0, true
	}
	list, rest, _ := strings.Cut(path, ".")
	text, rest, _ := strings.Cut(rest, ".")
	number, err := strconv.Atoi(text)
	if err != nil || number < 1 || number > maxDamages || strconv.Itoa(number) != text {
		return IntakeField{}, 0, false
	}
	f, ok = fieldsByPath[list+"."+Number+"."+rest]
	return f, number, ok
}

// yesNo are the words for yes and no that every mapping knows.
var yesNo = map[string]string{"yes": "YES", "y": "YES", "true": "YES", "1": "YES", "x": "YES", "known_yes": "YES",
	"no": "NO", "n": "NO", "false": "NO", "0": "NO", "known_no": "NO"}

// Own reads a word that every mapping knows, for the kinds that are chosen from words: those of the
// contract, in small or capital letters, with or without the prefix, with spaces or hyphens for
// underscores. An AnswerField takes "unknown" as empty. Text of other kinds comes back as it is. Ok
// is false for a word that is none of these.
func (f IntakeField) Own(text string) (word string, ok bool) {
	switch f.Kind {
	case YesNoField, AnswerField:
		folded := FoldWord(text)
		if f.Kind == AnswerField && folded == "unknown" {
			return "", true
		}
		word, ok = yesNo[folded]
		return word, ok
	case ChoiceField:
		word = strings.ToUpper(strings.NewReplacer(" ", "_", "-", "_").Replace(FoldWord(text)))
		word = strings.TrimPrefix(word, f.Prefix)
		return word, slices.Contains(f.Words, word)
	}
	return text, true
}

// Allowed lists what Own takes, as far as a person needs to know; nil for kinds without words.
func (f IntakeField) Allowed() []string {
	switch f.Kind {
	case YesNoField:
		return []string{"YES", "NO"}
	case AnswerField:
		return []string{"YES", "NO", "UNKNOWN"}
	}
	return f.Words
}

func choice(path, prefix string, words ...string) IntakeField {
	return IntakeField{Path: path, Kind: ChoiceField, Prefix: prefix, Words: words}
}

// under gives fields of one kind below a path.
func under(path string, kind FieldKind, names ...string) []IntakeField {
	all := make([]IntakeField, len(names))
	for i, name := range names {
		all[i] = IntakeField{Path: path + name, Kind: kind}
	}
	return all
}

func addressUnder(path string) []IntakeField {
	return under(path+"address.", TextField, "street", "city", "county", "state", "postal_code", "country_code")
}

const (
	damage  = "damages.#."
	process = damage + "process."
	photo   = "photos.#."
)

// intakeFields are in the order of the contract, record.proto.
var intakeFields = slices.Concat(
	under("", TextField, "external_reference"),
	under("vehicle.", TextField, "vin", "plate", "plate_region", "unit_number"),
	under("vehicle.", YesNoField, "is_commercial"),
	under("vehicle.", WholeField, "odometer_km", "model_year"),
	under("vehicle.", YesNoField, "is_for_north_america"),
	under("glass.", LengthField, "width_mm", "height_mm", "steering_centre_mm", "wiper_top_mm", "steering_top_mm"),
	[]IntakeField{choice("glass.driver_side", "DRIVER_SIDE_", "LEFT", "RIGHT")},
	under("glass.", AnswerField, "has_driver_assistance", "is_sold_already"),
	under("glass.", WholeField, "earlier_repair_count"),
	under("glass.", YesNoField, "is_heavy_vehicle"),
	[]IntakeField{
		choice(damage+"kind", "DAMAGE_KIND_", "BULLSEYE", "HALF_MOON", "STAR_BREAK", "COMBINATION_BREAK", "SURFACE_PIT", "CRACK"),
		choice(damage+"layer", "LAYER_", "OUTER", "INNER", "BOTH", "INTERLAYER"),
		choice(damage+"contamination", "CONTAMINATION_", "NONE", "MOISTURE", "DIRT", "EARLIER_RESIN"),
		choice(damage+"cause", "CAUSE_", "IMPACT", "STRESS"),
		choice(damage+"outcome", "OUTCOME_", "REPAIRED", "DECLINED", "SPREAD_DURING_REPAIR"),
	},
	under(damage, LengthField, "body_diameter_mm", "spread_mm", "crack_length_mm", "pit_diameter_mm", "pit_depth_mm",
		"edge_distance_mm", "repair_distance_mm", "place.from_driver_edge_mm", "place.from_lower_edge_mm", "finished_pit_mm"),
	under(damage, WholeField, "edges_touched", "leg_count", "long_leg_count", "age_days"),
	under(damage, AnswerField, "is_in_camera_area", "is_over_feature"),
	under(damage, TextField, "note"),
	under(process, TemperatureField, "glass_temperature_c"),
	under(process, TextField, "temperature_note", "drill_reason", "result_note", "reason"),
	under(process, YesNoField, "is_drilled", "is_pit_filled", "is_resin_filled", "is_pit_flush"),
	under(process, LengthField, "drill_depth_mm"),
	under(process, SecondsField, "vacuum_seconds", "pressure_seconds"),
	under(process, WholeField, "resin_viscosity_cp", "cure_outside_seconds", "cure_inside_seconds", "pit_cure_seconds",
		"humidity_percent", "pit_resin_viscosity_cp"),
	under(process, InstantField, "start_time", "injection_end_time", "cure_start_time", "end_time"),
	under("place_of_repair.", YesNoField, "is_mobile"),
	addressUnder("place_of_repair."),
	under("place_of_repair.", DegreesField, "latitude_degrees", "longitude_degrees"),
	under("", InstantField, "start_time", "finish_time"),
	under("", TextField, "time_zone", "technician"),
	under(photo, TextField, "photo_hash"),
	[]IntakeField{choice(photo+"kind", "PHOTO_KIND_", "BEFORE", "AFTER", "VIN_PLATE", "WHOLE_GLASS")},
	under(photo, WholeField, "damage_number"),
	under(photo, TextField, "plate_vin"),
	under("motorist.", TextField, "customer_id", "name", "telephone", "email"),
	addressUnder("motorist."),
	under("coverage.", TextField, "payer_code", "policy_number", "insured_name", "loss_state", "loss_reference",
		"purchase_order", "cost_centre", "policy_state", "fraud_statement_state"),
	under("coverage.", DayField, "date_of_loss", "policy_date", "written_statement_date"),
	[]IntakeField{
		choice("coverage.cause_of_loss", "", "ROAD_DEBRIS", "WEATHER", "VANDALISM", "UNKNOWN"),
		choice("coverage.payment_document", "", "DIRECTION_TO_PAY", "ASSIGNMENT"),
		choice("coverage.deductible_basis", "DEDUCTIBLE_BASIS_", "APPLIES", "WAIVED_BY_PAYER", "STATUTE", "ENDORSEMENT"),
		{Path: "coverage.deductible", Kind: SumField},
	},
	under("coverage.authorization.", TextField, "number", "given_by"),
	under("coverage.authorization.", InstantField, "give_time"),
	under("coverage.authorization.", DayField, "valid_to"),
	under("coverage.authorization.", WholeField, "repairs_allowed"),
	under("work_authorization.", TextField, "signed_by"),
	under("work_authorization.", InstantField, "sign_time"),
	under("payment_authorization.", TextField, "signed_by"),
	under("payment_authorization.", InstantField, "sign_time"),
	under("", TextField, "warranty_of_job_id"),
	under("", DayField, RepairDate),
)
