package repairability

// Side is a side of the vehicle, seen in the direction of travel.
type Side string

// The sides.
const (
	Left  Side = "LEFT"
	Right Side = "RIGHT"
)

// Glass is what is known of the windshield and its vehicle. A nil reading was not taken.
type Glass struct {
	Width  *Length `json:"width_mm,omitempty"`
	Height *Length `json:"height_mm,omitempty"`
	// DriverSide is where the driver sits: the side of the edge that Place is measured from.
	DriverSide Side `json:"driver_side,omitempty"`
	// WiperTop is how far above the lower edge the wipers reach in front of the driver.
	WiperTop *Length `json:"wiper_top_mm,omitempty"`
	// SteeringCentre is the distance of the steering wheel's middle from the driver-side edge.
	SteeringCentre *Length `json:"steering_centre_mm,omitempty"`
	// SteeringTop is the height of the top of the steering wheel above the lower edge.
	SteeringTop *Length `json:"steering_top_mm,omitempty"`
	// HeavyVehicle marks a heavy goods vehicle or coach, for which some standards widen an area.
	HeavyVehicle bool `json:"is_heavy_vehicle,omitempty"`
	// Commercial marks a vehicle under the federal rules for motor carriers.
	Commercial bool `json:"is_commercial,omitempty"`
	// SoldAlready is No for a new vehicle that no one has bought yet (a dealer's or carrier's stock).
	SoldAlready Answer `json:"is_sold_already,omitempty"`
	// EarlierRepairs counts repairs that the glass already had before this visit; 0 says none.
	EarlierRepairs *int `json:"earlier_repair_count,omitempty"`
	// DriverAssistance tells whether a camera or sensor looks through this glass.
	DriverAssistance Answer `json:"has_driver_assistance,omitempty"`
}
