package repairability

// Kind is the kind of a damage, in the trade's words.
type Kind string

// The kinds. Whether a crack is short or long, an edge crack, a floater or a stress crack follows
// from its length, its ends and its cause, and is not a kind.
const (
	Bullseye         Kind = "BULLSEYE"
	HalfMoon         Kind = "HALF_MOON"
	StarBreak        Kind = "STAR_BREAK"
	CombinationBreak Kind = "COMBINATION_BREAK"
	SurfacePit       Kind = "SURFACE_PIT"
	Crack            Kind = "CRACK"
)

// Outcome is what became of a damage at the visit. Empty means that the repair is still to come.
type Outcome string

// The outcomes.
const (
	Repaired           Outcome = "REPAIRED"
	Declined           Outcome = "DECLINED"
	SpreadDuringRepair Outcome = "SPREAD_DURING_REPAIR"
)

// Layer is the part of the laminate that is broken.
type Layer string

// The layers. Empty reads as LayerUnknown.
const (
	OuterLayer   Layer = "OUTER"
	InnerLayer   Layer = "INNER"
	BothLayers   Layer = "BOTH"
	Interlayer   Layer = "INTERLAYER"
	LayerUnknown Layer = "UNKNOWN"
)

// Contamination is what was in the break and could not be brought out of it. Dirt that was
// cleaned out before the repair is NoContamination.
type Contamination string

// The contaminations. Empty reads as ContaminationUnknown.
const (
	NoContamination      Contamination = "NONE"
	Moisture             Contamination = "MOISTURE"
	Dirt                 Contamination = "DIRT"
	EarlierResin         Contamination = "EARLIER_RESIN"
	ContaminationUnknown Contamination = "UNKNOWN"
)

// Cause is what broke the glass.
type Cause string

// The causes. Empty reads as CauseUnknown.
const (
	Impact       Cause = "IMPACT"
	Stress       Cause = "STRESS"
	CauseUnknown Cause = "UNKNOWN"
)

// Answer is a question answered by yes, no, or not known.
type Answer string

// The answers. Empty reads as Unknown.
const (
	Yes     Answer = "YES"
	No      Answer = "NO"
	Unknown Answer = "UNKNOWN"
)

// Place is the centre of a damage on the glass, measured along the glass from its two named
// edges. The edges do not depend on whether one stands outside or sits inside.
type Place struct {
	// FromDriverEdge is the distance from the side edge that is next to the driver.
	FromDriverEdge Length `json:"from_driver_edge_mm"`
	// FromLowerEdge is the distance from the lower edge.
	FromLowerEdge Length `json:"from_lower_edge_mm"`
}

// Damage is one break in the glass as the technician measured it. A nil reading was not taken.
type Damage struct {
	Kind Kind `json:"kind"`
	// BodyDiameter is the diameter of the cone (bullseye, half-moon, combination), without legs.
	BodyDiameter *Length `json:"body_diameter_mm,omitempty"`
	// Spread is the diameter of the smallest circle around the whole damage, with its legs.
	Spread *Length `json:"spread_mm,omitempty"`
	// CrackLength is the length of a crack along its line.
	CrackLength *Length `json:"crack_length_mm,omitempty"`
	// PitDiameter and PitDepth are of the hole that the impact left in the surface.
	PitDiameter *Length `json:"pit_diameter_mm,omitempty"`
	PitDepth    *Length `json:"pit_depth_mm,omitempty"`
	// FinishedPit is the diameter of the filled pit after the repair.
	FinishedPit *Length `json:"finished_pit_mm,omitempty"`
	// EdgesTouched counts the ends of a crack that reach an edge of the glass: 0 is a floater.
	EdgesTouched *int `json:"edges_touched,omitempty"`
	// LegCount counts the legs of a star or combination break, LongLegs those that run on as cracks.
	LegCount      *int          `json:"leg_count,omitempty"`
	LongLegs      *int          `json:"long_leg_count,omitempty"`
	Layer         Layer         `json:"layer,omitempty"`
	Contamination Contamination `json:"contamination,omitempty"`
	Cause         Cause         `json:"cause,omitempty"`
	// AgeDays is how long ago the glass broke.
	AgeDays *int    `json:"age_days,omitempty"`
	Outcome Outcome `json:"outcome,omitempty"`
	// DistanceToEdge is from the nearest point of the damage to the nearest edge of the glass.
	DistanceToEdge *Length `json:"edge_distance_mm,omitempty"`
	// DistanceToRepair is from the nearest point of the damage to the nearest earlier repair.
	DistanceToRepair *Length `json:"repair_distance_mm,omitempty"`
	Place            *Place  `json:"place,omitempty"`
	// InCameraArea tells whether the damage lies where a camera or sensor looks through the glass.
	InCameraArea Answer `json:"is_in_camera_area,omitempty"`
	// OverFeature tells whether it lies over heater wires, an antenna or a display.
	OverFeature Answer `json:"is_over_feature,omitempty"`
}
