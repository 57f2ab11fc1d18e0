package scenario

import (
	"testing"
	"time"
	_ "time/tzdata" // The zone of the shop must be known wherever the test runs.

	"google.golang.org/protobuf/proto"
)

func TestShiftTo(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	visits := load(t)
	for _, c := range []struct {
		today string
		weeks int
	}{{"2026-11-25", 0}, {"2026-11-23", 0}, {"2026-11-29", 0}, {"2026-11-30", 1}, {"2026-11-22", -1}, {"2026-11-16", -1},
		{"2026-11-15", -2}, {"2027-07-05", 32}, {"2026-03-02", -38}} {
		day, err := time.Parse(time.DateOnly, c.today)
		if err != nil {
			t.Fatal(err)
		}
		moved, err := ShiftTo(visits, day)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range visits {
			was, is := v.Record.GetFinishTime().AsTime().In(zone), moved[i].Record.GetFinishTime().AsTime().In(zone)
			if want := was.AddDate(0, 0, 7*c.weeks); is.Format(time.DateTime) != want.Format(time.DateTime) {
				t.Fatalf("%s to %s: from %v to %v, want %d weeks on the same clock", v.Name, c.today, was, is, c.weeks)
			}
			for n, p := range moved[i].Photos {
				if before := v.Photos[n].TakeTime; !before.IsZero() &&
					p.TakeTime.Sub(moved[i].Record.GetStartTime().AsTime()) != before.Sub(v.Record.GetStartTime().AsTime()) &&
					v.Name != "R-0078-camera-clock-wrong" && v.Name != "R-0035-date-in-the-future" {
					t.Fatalf("%s to %s: photo %d is at another time of the visit", v.Name, c.today, n+1)
				}
			}
		}
	}
}

func TestShiftToMovesEveryDay(t *testing.T) {
	t.Parallel()
	visits := load(t)
	untouched := make([]proto.Message, len(visits))
	for i, v := range visits {
		untouched[i] = proto.Clone(v.Record)
	}
	moved, err := ShiftTo(visits, time.Date(2026, 12, 3, 9, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range visits {
		if !proto.Equal(v.Record, untouched[i]) {
			t.Fatalf("%s itself was changed", v.Name)
		}
		c, m := v.Record.GetCoverage(), moved[i].Record.GetCoverage()
		for _, pair := range [][2]string{{c.GetDateOfLoss(), m.GetDateOfLoss()},
			{c.GetAuthorization().GetValidTo(), m.GetAuthorization().GetValidTo()}} {
			if pair[0] != "" && dayAfter(t, pair[0], 7) != pair[1] {
				t.Errorf("%s: %s became %s, want a week later", v.Name, pair[0], pair[1])
			}
		}
		given := c.GetAuthorization().GetGiveTime()
		if given != nil && proto.Equal(given, m.GetAuthorization().GetGiveTime()) {
			t.Errorf("%s: the authorization was given at the same time", v.Name)
		}
		if v.Later != nil && dayAfter(t, v.Later.Coverage.GetDateOfLoss(), 7) != moved[i].Later.Coverage.GetDateOfLoss() {
			t.Errorf("%s: the later coverage was not moved", v.Name)
		}
	}
}

func dayAfter(t *testing.T, day string, days int) string {
	t.Helper()
	parsed, err := time.Parse(time.DateOnly, day)
	if err != nil {
		t.Fatal(err)
	}
	return parsed.AddDate(0, 0, days).Format(time.DateOnly)
}
