package repairability

import "time"

// Temperature is in tenths of a degree Celsius.
type Temperature int32

// Process is what the technician read while repairing one damage. Nil was not read.
type Process struct {
	GlassTemperature *Temperature `json:"glass_temperature_c,omitempty"`
	// Warming says how the glass was brought to that temperature ("warmed from inside, in the shade").
	Warming string `json:"temperature_note,omitempty"`
	// HumidityPercent is of the surrounding air.
	HumidityPercent *int  `json:"humidity_percent,omitempty"`
	Drilled         *bool `json:"is_drilled,omitempty"`
	// DrillReason says why it was drilled ("the pit could not be felt").
	DrillReason string  `json:"drill_reason,omitempty"`
	DrillDepth  *Length `json:"drill_depth_mm,omitempty"`
	// VacuumCycles and PressureCycles give each cycle's seconds, in order.
	VacuumCycles   []int `json:"vacuum_seconds,omitempty"`
	PressureCycles []int `json:"pressure_seconds,omitempty"`
	// ResinViscosityCP is in centipoise, from the resin's label.
	ResinViscosityCP *int `json:"resin_viscosity_cp,omitempty"`
	// ResinFilled tells whether the break was seen to be filled after the last cycle.
	ResinFilled        *bool `json:"is_resin_filled,omitempty"`
	CureOutsideSeconds *int  `json:"cure_outside_seconds,omitempty"`
	CureInsideSeconds  *int  `json:"cure_inside_seconds,omitempty"`
	PitFilled          *bool `json:"is_pit_filled,omitempty"`
	PitResinCP         *int  `json:"pit_resin_viscosity_cp,omitempty"`
	PitCureSeconds     *int  `json:"pit_cure_seconds,omitempty"`
	// PitFlush tells whether the filled pit was finished flush with the glass.
	PitFlush *bool `json:"is_pit_flush,omitempty"`
	// Result says what was seen of the finished repair ("faint outline, no air, dry inside").
	Result string `json:"result_note,omitempty"`
	// StartTime and EndTime bound the work; InjectionEndTime and CureStartTime lie between them.
	StartTime        *time.Time `json:"start_time,omitempty"`
	InjectionEndTime *time.Time `json:"injection_end_time,omitempty"`
	CureStartTime    *time.Time `json:"cure_start_time,omitempty"`
	EndTime          *time.Time `json:"end_time,omitempty"`
	// Reason is the technician's own word on whatever is unusual.
	Reason string `json:"reason,omitempty"`
}
