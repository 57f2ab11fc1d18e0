package repairability

// Range is what is usual for one reading and what is possible at all. Both ends belong to it.
type Range struct {
	UsualLow  int `json:"usual_low"`
	UsualHigh int `json:"usual_high"`
	// PossibleLow and PossibleHigh are what no working instrument exceeds.
	PossibleLow  int `json:"possible_low"`
	PossibleHigh int `json:"possible_high"`
}

// Ranges are a shop's settings for the readings of the process. They only ever cause cautions.
type Ranges struct {
	// GlassTemperature is in tenths of a degree Celsius.
	GlassTemperature Range `json:"glass_temperature_tenths_c"`
	HumidityPercent  Range `json:"humidity_percent"`
	// DrillDepth is in hundredths of a millimetre; what is not possible reaches the inner layer.
	DrillDepth       Range `json:"drill_depth_hundredths_mm"`
	VacuumSeconds    Range `json:"vacuum_seconds"`
	PressureSeconds  Range `json:"pressure_seconds"`
	Cycles           Range `json:"cycles"`
	ResinViscosityCP Range `json:"resin_viscosity_cp"`
	// ResinOnColdCP and ResinOnWarmCP are the resin's viscosity on glass that is colder or warmer than
	// ColdGlass and WarmGlass: a thick resin hardly creeps on cold glass, a thin one runs off on warm.
	ResinOnColdCP     Range `json:"resin_on_cold_glass_cp"`
	ResinOnWarmCP     Range `json:"resin_on_warm_glass_cp"`
	PitViscosityCP    Range `json:"pit_viscosity_cp"`
	CureSeconds       Range `json:"cure_seconds"`
	PitCureSeconds    Range `json:"pit_cure_seconds"`
	WholeRepairMinute Range `json:"whole_repair_minutes"`
}

// ColdGlass and WarmGlass bound the temperatures at which most repairs are done.
const (
	ColdGlass Temperature = 150
	WarmGlass Temperature = 300
)

// NamedRange is a range with the name of its reading, for settings.
type NamedRange struct {
	// Name is that of the reading in a process, or of what is common to several: "cure_seconds".
	Name string
	// Unit is for people, and Scale how many steps of the range make one of it: 10 for "°C".
	Unit  string
	Scale int
	Range *Range
}

// Named lists the ranges, each by the name of its setting. What it points to may be changed.
func (r *Ranges) Named() []NamedRange {
	return []NamedRange{
		{"glass_temperature_c", "°C", 10, &r.GlassTemperature},
		{"humidity_percent", "%", 1, &r.HumidityPercent},
		{"drill_depth_mm", "mm", 100, &r.DrillDepth},
		{"vacuum_seconds", "s", 1, &r.VacuumSeconds},
		{"pressure_seconds", "s", 1, &r.PressureSeconds},
		{"cycles", "cycles", 1, &r.Cycles},
		{"resin_viscosity_cp", "cP", 1, &r.ResinViscosityCP},
		{"resin_on_cold_glass_cp", "cP", 1, &r.ResinOnColdCP},
		{"resin_on_warm_glass_cp", "cP", 1, &r.ResinOnWarmCP},
		{"pit_resin_viscosity_cp", "cP", 1, &r.PitViscosityCP},
		{"cure_seconds", "s", 1, &r.CureSeconds},
		{"pit_cure_seconds", "s", 1, &r.PitCureSeconds},
		{"whole_repair_minutes", "min", 1, &r.WholeRepairMinute},
	}
}

// UsualPractice is the source of every range that a shop has not set itself.
var UsualPractice = practice("usual readings of a repair; the resin maker's sheet goes before them")

// never is an upper end that no reading reaches.
const never = 1 << 30

// DefaultRanges are the values that a new shop starts with. Every one of them is common practice,
// without a source; the resin maker's sheet goes before them, and a shop may change them.
func DefaultRanges() Ranges {
	return Ranges{
		GlassTemperature:  Range{UsualLow: 100, UsualHigh: 350, PossibleLow: -400, PossibleHigh: 900},
		HumidityPercent:   Range{UsualLow: 0, UsualHigh: 90, PossibleLow: 0, PossibleHigh: 100},
		DrillDepth:        Range{UsualLow: 50, UsualHigh: 180, PossibleLow: 1, PossibleHigh: 209},
		VacuumSeconds:     Range{UsualLow: 30, UsualHigh: 900, PossibleLow: 1, PossibleHigh: never},
		PressureSeconds:   Range{UsualLow: 60, UsualHigh: 1800, PossibleLow: 1, PossibleHigh: never},
		Cycles:            Range{UsualLow: 1, UsualHigh: 8, PossibleLow: 1, PossibleHigh: never},
		ResinViscosityCP:  Range{UsualLow: 15, UsualHigh: 150, PossibleLow: 1, PossibleHigh: never},
		ResinOnColdCP:     Range{UsualLow: 1, UsualHigh: 50, PossibleLow: 1, PossibleHigh: never},
		ResinOnWarmCP:     Range{UsualLow: 40, UsualHigh: never, PossibleLow: 1, PossibleHigh: never},
		PitViscosityCP:    Range{UsualLow: 400, UsualHigh: 2000, PossibleLow: 1, PossibleHigh: never},
		CureSeconds:       Range{UsualLow: 60, UsualHigh: 1800, PossibleLow: 1, PossibleHigh: never},
		PitCureSeconds:    Range{UsualLow: 30, UsualHigh: never, PossibleLow: 1, PossibleHigh: never},
		WholeRepairMinute: Range{UsualLow: 8, UsualHigh: 180, PossibleLow: 0, PossibleHigh: never},
	}
}
