package vin

import "testing"

func TestRegion(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		vin      Number
		name     string
		country  string
		required bool
	}{
		{"1HGCM82633A004352", northAmerica, "United States", true},
		{"2NKWL00X16M149834", northAmerica, "Canada", true},
		{"3VWDX7AJ5BM000001", northAmerica, "Mexico", true},
		{"5GZCZ43D13S812715", northAmerica, "United States", true},
		{"7SAYGDEE0NF123456", northAmerica, "United States", true},
		{"70ZAAAAA0AA000000", northAmerica, "United States", true},
		{"7AT00000000000000", oceania, "New Zealand", false},
		{"6G1AAAAA0AA000000", oceania, "Australia", false},
		{"JN1DA31D63T505967", asia, "Japan", false},
		{"WDBEA30D3HA391172", europe, "Germany", false},
		{"SGZCZ43D13S812715", europe, "United Kingdom", false},
		{"9BWAAAAA0AA000000", southAmerica, "Brazil", false},
		{"AAVAAAAA0AA000000", africa, "South Africa", false},
		{"00000000000000000", noRegion, "", false},
		{"D", "", "", false},
		{"", "", "", false},
	} {
		got := c.vin.Region()
		if got.Name != c.name || got.Country != c.country || got.CheckDigitRequired != c.required {
			t.Errorf("%s: got %+v, want %s %s %v", c.vin, got, c.name, c.country, c.required)
		}
		if got.Source.Known == "" {
			t.Errorf("%s: no source", c.vin)
		}
	}
}

// TestMakerTableHasSevensInTheUnitedStates shows where the block 7F to 70 is known from: each
// identifier in it whose country the public table gives is of the United States. (Elsewhere the
// table's country is the maker's, not the block's.)
func TestMakerTableHasSevensInTheUnitedStates(t *testing.T) {
	t.Parallel()
	seen := 0
	for wmi, maker := range makers() {
		if wmi[0] != '7' || maker.Country == "" || !between(Number(wmi[:2]), "7F", "70") {
			continue
		}
		if seen++; maker.Country != "USA" {
			t.Errorf("%s: got %s, want USA", wmi, maker.Country)
		}
	}
	if seen < 30 {
		t.Errorf("identifiers seen: got %d, want at least 30", seen)
	}
}
