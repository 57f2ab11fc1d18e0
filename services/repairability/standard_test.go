package repairability

import (
	"testing"
	"time"
)

func TestFind(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		key  string
		on   time.Time
		want string
	}{
		{"ROLAGS", day(2007, 5, 31), ""},
		{"ROLAGS", day(2007, 6, 1), "ROLAGS-2007"},
		{"ROLAGS", day(2009, 9, 28), "ROLAGS-2007"},
		{"ROLAGS", day(2009, 9, 29), "ROLAGS-2009"},
		{"ROLAGS", time.Date(2013, 12, 31, 23, 59, 0, 0, time.UTC), "ROLAGS-2009"},
		{"ROLAGS", day(2014, 1, 1), "ROLAGS-2014"},
		{"ROLAGS", today, "ROLAGS-2022"},
		{"ROLAGS", time.Time{}, "ROLAGS-2022"},
		{"ROLAGS-2009", today, "ROLAGS-2009"},
		{"BS-AU-242", day(2022, 2, 28), "BS-AU-242A-1998"},
		{"BS-AU-242", day(2022, 3, 1), "BS-AU-242B-2022"},
		{"BS-AU-242", today, "BS-AU-242B-2022"},
		{"BS-AU-242A-1998", today, "BS-AU-242A-1998"},
		{"UK-MOT", today, "UK-MOT"},
		{"AS-NZS-2366", today, "AS-NZS-2366-1"},
		{CommercialKey, day(1998, 1, 8), CommercialKey}, // the key is the edition's too
		{"rolags", today, ""},
		{"", today, ""},
	} {
		got, ok := Find(c.key, c.on)
		if got.Key != c.want || ok != (c.want != "") {
			t.Errorf("%s on %s: got %q %v, want %q", c.key, c.on.Format(time.DateOnly), got.Key, ok, c.want)
		}
	}
}

// TestEditionsAreWhole: every row says how well it is known, every sense and exclusion has its
// rule, zones named by rules exist, and the last zone is the rest.
func TestEditionsAreWhole(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, s := range Editions() {
		if seen[s.Key] || s.Key == "" || s.Family == "" || s.Name == "" || s.Edition == "" || s.Purpose == "" {
			t.Errorf("%s: the edition is not whole or not unique", s.Key)
		}
		seen[s.Key] = true
		if s.Source.Citation == "" || s.Source.Known == "" {
			t.Errorf("%s: no source", s.Key)
		}
		if !s.To.IsZero() && s.To.Before(s.From) {
			t.Errorf("%s: ends before it begins", s.Key)
		}
		wholeZones(t, s)
		wholeRules(t, s)
	}
}

func wholeZones(t *testing.T, s Standard) {
	t.Helper()
	for i, z := range s.Zones {
		if last := i == len(s.Zones)-1; z.Name == "" || last != (z.Band == "") {
			t.Errorf("%s: zone %d %q: only the last zone is the rest", s.Key, i, z.Name)
		}
	}
}

func wholeRules(t *testing.T, s Standard) {
	t.Helper()
	zones := map[string]bool{}
	for _, z := range s.Zones {
		zones[z.Name] = true
	}
	for _, l := range s.Limits {
		if l.Code == "" || l.Clause == "" || l.Printed == "" || l.Source.Known == "" || measureWords[l.Measure] == "" ||
			senseWords[l.Sense] == "" || l.Value <= 0 || l.Exact <= 0 {
			t.Errorf("%s %s: the limit is not whole", s.Key, l.Code)
		}
		for _, name := range l.Zones {
			if !zones[name] {
				t.Errorf("%s %s: zone %q is not one of the standard's", s.Key, l.Code, name)
			}
		}
	}
	for _, e := range s.Exclusions {
		rule, ok := exclusionRules[e.Code]
		if !ok || e.Clause == "" || e.Source.Known == "" || e.Result != Over && e.Result != Advice {
			t.Errorf("%s %s: the exclusion is not whole", s.Key, e.Code)
		}
		if !rule.silent && rule.field != "kind" && readingWords[rule.field] == "" {
			t.Errorf("%s %s: no words to ask for %s", s.Key, e.Code, rule.field)
		}
	}
}
