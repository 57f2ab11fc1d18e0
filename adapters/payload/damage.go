package payload

// Glass is the windshield. A reading that was not taken is absent.
type Glass struct {
	Width          Millimetres `json:"width_mm,omitempty"`
	Height         Millimetres `json:"height_mm,omitempty"`
	DriverSide     string      `json:"driver_side,omitempty"`
	WiperTop       Millimetres `json:"wiper_top_mm,omitempty"`
	SteeringCentre Millimetres `json:"steering_centre_mm,omitempty"`
	SteeringTop    Millimetres `json:"steering_top_mm,omitempty"`
	EarlierRepairs *int        `json:"earlier_repairs,omitempty"`
	// DriverAssistance is YES, NO or UNKNOWN: whether a camera or sensor looks through the glass.
	DriverAssistance string `json:"driver_assistance,omitempty"`
}

// Damage is one break with what was measured, judged and done.
type Damage struct {
	// Number counts from 1 and is what lines and photos point to.
	Number           int          `json:"damage_number"`
	Kind             string       `json:"kind"`
	Outcome          string       `json:"outcome,omitempty"`
	BodyDiameter     Millimetres  `json:"body_diameter_mm,omitempty"`
	Spread           Millimetres  `json:"spread_mm,omitempty"`
	CrackLength      Millimetres  `json:"crack_length_mm,omitempty"`
	PitDiameter      Millimetres  `json:"pit_diameter_mm,omitempty"`
	PitDepth         Millimetres  `json:"pit_depth_mm,omitempty"`
	FinishedPit      Millimetres  `json:"finished_pit_mm,omitempty"`
	EdgesTouched     *int         `json:"edges_touched,omitempty"`
	LegCount         *int         `json:"leg_count,omitempty"`
	LongLegs         *int         `json:"long_legs,omitempty"`
	Layer            string       `json:"layer,omitempty"`
	Contamination    string       `json:"contamination,omitempty"`
	Cause            string       `json:"cause,omitempty"`
	AgeDays          *int         `json:"age_days,omitempty"`
	DistanceToEdge   Millimetres  `json:"distance_to_edge_mm,omitempty"`
	DistanceToRepair Millimetres  `json:"distance_to_repair_mm,omitempty"`
	Place            PlaceOnGlass `json:"place,omitzero"`
	InCameraArea     string       `json:"in_camera_area,omitempty"`
	OverFeature      string       `json:"over_feature,omitempty"`
	// Assessment is absent when the damage was not assessed.
	Assessment *Assessment `json:"assessment,omitempty"`
	// Process is absent when nothing was done.
	Process *Process `json:"process,omitempty"`
}

// PlaceOnGlass is the centre of a damage, from two named edges of the glass.
type PlaceOnGlass struct {
	FromDriverEdge Millimetres `json:"from_driver_edge_mm"`
	FromLowerEdge  Millimetres `json:"from_lower_edge_mm"`
}

// Assessment is what a published standard says of the damage.
type Assessment struct {
	Verdict       string `json:"verdict"`
	Standard      string `json:"standard"`
	Edition       string `json:"edition"`
	Clause        string `json:"clause,omitempty"`
	Zone          string `json:"zone,omitempty"`
	InViewingArea string `json:"in_viewing_area,omitempty"`
	// Readings are the limits that were compared; what only advises is left out.
	Readings []Reading `json:"readings"`
	// Missing names the readings without which the standard cannot be applied.
	Missing []string `json:"missing,omitempty"`
}

// Reading is one limit of the standard beside what was measured.
type Reading struct {
	Code   string `json:"code"`
	Result string `json:"result"`
	Value  string `json:"value,omitempty"`
	Limit  string `json:"limit,omitempty"`
}

// Process is what the technician read while repairing the damage.
type Process struct {
	GlassTemperature Celsius `json:"glass_temperature_c,omitempty"`
	// Warming is in the schema, which only grows, and is not written: the words are in TemperatureNote.
	Warming            string      `json:"warming,omitempty"`
	TemperatureNote    string      `json:"temperature_note,omitempty"`
	HumidityPercent    *int        `json:"humidity_percent,omitempty"`
	Drilled            *bool       `json:"drilled,omitempty"`
	DrillReason        string      `json:"drill_reason,omitempty"`
	DrillDepth         Millimetres `json:"drill_depth_mm,omitempty"`
	VacuumCycles       []int       `json:"vacuum_cycles_s,omitempty"`
	PressureCycles     []int       `json:"pressure_cycles_s,omitempty"`
	ResinViscosityCP   *int        `json:"resin_viscosity_cp,omitempty"`
	ResinFilled        *bool       `json:"resin_filled,omitempty"`
	CureOutsideSeconds *int        `json:"cure_outside_s,omitempty"`
	CureInsideSeconds  *int        `json:"cure_inside_s,omitempty"`
	PitFilled          *bool       `json:"pit_filled,omitempty"`
	PitResinCP         *int        `json:"pit_resin_viscosity_cp,omitempty"`
	PitCureSeconds     *int        `json:"pit_cure_s,omitempty"`
	PitFlush           *bool       `json:"pit_flush,omitempty"`
	Result             string      `json:"result,omitempty"`
	StartTime          Instant     `json:"start_time,omitempty"`
	InjectionEndTime   Instant     `json:"injection_end_time,omitempty"`
	CureStartTime      Instant     `json:"cure_start_time,omitempty"`
	EndTime            Instant     `json:"end_time,omitempty"`
	// Reason is the technician's word on a reading that lies outside the usual range.
	Reason string `json:"reason,omitempty"`
}
