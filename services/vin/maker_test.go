package vin

import (
	"slices"
	"strings"
	"testing"
)

func TestMaker(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		vin     Number
		makes   []string
		vehicle VehicleType
		known   bool
	}{
		{"1HGCM82633A004352", []string{"Honda"}, PassengerCar, true},
		{"JN1DA31D63T505967", []string{"Nissan", "Infiniti", "Datsun"}, PassengerCar, true},
		{"5GZCZ43D13S812715", []string{"Saturn"}, MultipurposeVehicle, true},
		{"1XPTD40X6JD456115", []string{"Peterbilt"}, Truck, true},
		{"1M8GDM9AXKP042788", []string{"Motor Coach Industries"}, Bus, true},
		{"2NKWL00X16M149834", []string{"Kenworth"}, IncompleteVehicle, true},
		// A maker of few vehicles is told by positions 12 to 14 too.
		{"1A9AAAAA0AA326001", []string{"APS Systems"}, Bus, true},
		{"1A9AAAAA0AA000001", nil, "", false},
		{"1J9RP1A36A1644345", nil, "", false}, // a trailer
		{"11111111111111111", nil, "", false},
		{"1HG", nil, "", false},
		{"", nil, "", false},
	} {
		got, known := c.vin.Maker()
		if known != c.known || got.Vehicle != c.vehicle || !slices.Equal(got.Makes, c.makes) {
			t.Errorf("%s: got %+v %v, want %v %s %v", c.vin, got, known, c.makes, c.vehicle, c.known)
		}
	}
}

func TestMakerTableIsWhole(t *testing.T) {
	t.Parallel()
	rows := strings.Count(makersTSV, "\n") - strings.Count(makersTSV, "#")
	if got := len(makers()); got != rows || got < 1500 {
		t.Errorf("rows: got %d of %d, want all and at least 1500", got, rows)
	}
	for wmi, maker := range makers() {
		if len(wmi) != 3 && (len(wmi) != 6 || wmi[2] != '9') {
			t.Errorf("%q is neither of three characters nor of six with a 9", wmi)
		}
		if maker.Vehicle == "" || len(maker.Makes) == 0 || maker.Makes[0] == "" {
			t.Errorf("%s: row is not whole: %+v", wmi, maker)
		}
	}
}
