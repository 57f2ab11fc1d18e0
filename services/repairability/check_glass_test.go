package repairability

import (
	"testing"
	"time"

	"cullet/services/finding"

	"github.com/google/go-cmp/cmp"
)

func codesOf(found []finding.Finding) []string {
	var codes []string
	for _, f := range found {
		codes = append(codes, f.Code+" "+string(f.Severity)+" "+f.Path)
	}
	return codes
}

func wholeFindings(t *testing.T, found []finding.Finding) {
	t.Helper()
	for _, f := range found {
		if f.Code == "" || f.Severity == "" || f.Path == "" || f.Sentence == "" || f.Fix == "" ||
			f.Source.Citation == "" || f.Source.Known == "" {
			t.Errorf("the finding is not whole: %+v", f)
		}
	}
}

func TestFindingsAboutTheGlass(t *testing.T) {
	t.Parallel()
	on := today
	for _, c := range []struct {
		name   string
		key    string
		on     time.Time
		change func(g *Glass, all *[]Damage)
		want   []string
	}{
		{"nothing", "ROLAGS", on, func(*Glass, *[]Damage) {}, nil},
		{"a camera", "ROLAGS", on, func(g *Glass, _ *[]Damage) { g.DriverAssistance = Yes },
			[]string{"GLASS-CAMERA CAUTION glass.has_driver_assistance"}},
		{"a damage in a camera area", "ROLAGS", on, func(_ *Glass, all *[]Damage) { (*all)[0].InCameraArea = Yes },
			[]string{"GLASS-CAMERA CAUTION glass.has_driver_assistance"}},
		{"nobody looked for a camera", "ROLAGS", on, func(g *Glass, _ *[]Damage) { g.DriverAssistance = "" },
			[]string{"GLASS-CAMERA-UNKNOWN NOTE glass.has_driver_assistance"}},
		{"not sold yet", "ROLAGS", on, func(g *Glass, _ *[]Damage) { g.SoldAlready = No },
			[]string{"GLASS-NOT-SOLD CAUTION glass.is_sold_already"}},
		{"a withdrawn edition", "BS-AU-242A-1998", on, func(*Glass, *[]Damage) {},
			[]string{"STANDARD-NOT-IN-FORCE CAUTION standard_key"}},
		{"the same on its last day", "BS-AU-242A-1998", day(2023, 3, 31), func(*Glass, *[]Damage) {}, nil},
		{"the day after", "BS-AU-242A-1998", day(2023, 4, 1), func(*Glass, *[]Damage) {},
			[]string{"STANDARD-NOT-IN-FORCE CAUTION standard_key"}},
		{"a third repair", "ROLAGS", on, func(g *Glass, _ *[]Damage) { g.EarlierRepairs = new(2) }, nil},
		{"a fourth repair", "ROLAGS", on, func(g *Glass, _ *[]Damage) { g.EarlierRepairs = new(3) },
			[]string{"GLASS-MANY-REPAIRS CAUTION damages"}},
		{"two damages that overlap", "ROLAGS", on, func(_ *Glass, all *[]Damage) { *all = append(*all, besideFirst(*all, 7)) },
			[]string{"GLASS-OVERLAP CAUTION damages[1].place"}},
		{"two damages 100 mm apart", "ROLAGS", on, func(_ *Glass, all *[]Damage) { *all = append(*all, besideFirst(*all, 108)) },
			[]string{"GLASS-SPACING NOTE damages[1].place"}},
		{"two damages 101 mm apart", "ROLAGS", on, func(_ *Glass, all *[]Damage) { *all = append(*all, besideFirst(*all, 109)) }, nil},
		{"a commercial vehicle within the rule", "ROLAGS", on, func(g *Glass, _ *[]Damage) { g.Commercial = true }, nil},
		{"a commercial vehicle outside of it", "ROLAGS", on,
			func(g *Glass, all *[]Damage) { g.Commercial, (*all)[0].BodyDiameter = true, MM(20) },
			[]string{"GLASS-IN-USE CAUTION damages[0]"}},
		{"a commercial vehicle, below the steering wheel", "ROLAGS", on,
			func(g *Glass, all *[]Damage) {
				g.Commercial, (*all)[0].BodyDiameter = true, MM(20)
				(*all)[0].Place.FromLowerEdge = 50 * Millimetre
			}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g, all := testGlass(), []Damage{soundDamage(Bullseye, "passenger")}
			c.change(&g, &all)
			_, found := Assess(edition(t, c.key), g, all, c.on)
			if diff := cmp.Diff(c.want, codesOf(found)); diff != "" {
				t.Errorf("findings (-want +got):\n%s", diff)
			}
			wholeFindings(t, found)
		})
	}
}

// besideFirst is a damage like the first one, so many millimetres beside it, middle to middle.
func besideFirst(all []Damage, mm int) Damage {
	d := all[0]
	d.Place = &Place{FromDriverEdge: d.Place.FromDriverEdge + Length(mm)*Millimetre, FromLowerEdge: d.Place.FromLowerEdge}
	return d
}
