package repairability

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// usual is a process in which nothing is unusual.
func usual() Process {
	start := today
	at := func(minutes int) *time.Time { return new(start.Add(time.Duration(minutes) * time.Minute)) }
	return Process{GlassTemperature: new(Temperature(200)), HumidityPercent: new(50),
		Drilled: new(true), DrillReason: "the pit could not be felt", DrillDepth: Hundredths(160),
		VacuumCycles: []int{60}, PressureCycles: []int{120}, ResinViscosityCP: new(40), ResinFilled: new(true),
		CureOutsideSeconds: new(120), CureInsideSeconds: new(120), PitFilled: new(true), PitResinCP: new(1000),
		PitCureSeconds: new(180),
		StartTime:      at(0), InjectionEndTime: at(10), CureStartTime: at(11), EndTime: at(30)}
}

// TestProcessRanges writes the usual ranges out: common practice, no source. Each is tried at,
// below and above both of its ends.
func TestProcessRanges(t *testing.T) {
	t.Parallel()
	none, unusual, impossible := "", "PROCESS-UNUSUAL", "PROCESS-IMPOSSIBLE"
	for _, c := range []struct {
		field    string
		set      func(*Process, int)
		readings map[int]string
	}{
		{"glass_temperature_c", func(p *Process, n int) { p.GlassTemperature = new(Temperature(n)) }, map[int]string{
			-401: impossible, -400: unusual, -1: unusual, 99: unusual, 100: none, 350: none, 351: unusual, 900: unusual, 901: impossible}},
		{"humidity_percent", func(p *Process, n int) { p.HumidityPercent = &n }, map[int]string{
			-1: impossible, 0: none, 90: none, 91: unusual, 100: unusual, 101: impossible}},
		{"drill_depth_mm", func(p *Process, n int) { p.DrillDepth = Hundredths(n) }, map[int]string{
			0: impossible, 49: unusual, 50: none, 180: none, 181: unusual, 209: unusual, 210: "PROCESS-INNER-LAYER", 230: "PROCESS-INNER-LAYER"}},
		{"vacuum_seconds[0]", func(p *Process, n int) { p.VacuumCycles = []int{n} }, map[int]string{
			-1: impossible, 0: impossible, 29: unusual, 30: none, 900: none, 901: unusual}},
		{"pressure_seconds[0]", func(p *Process, n int) { p.PressureCycles = []int{n} }, map[int]string{
			0: impossible, 59: unusual, 60: none, 1800: none, 1801: unusual}},
		{"resin_viscosity_cp", func(p *Process, n int) { p.ResinViscosityCP = &n }, map[int]string{
			0: impossible, 14: unusual, 15: none, 150: none, 151: unusual}},
		{"pit_resin_viscosity_cp", func(p *Process, n int) { p.PitResinCP = &n }, map[int]string{
			0: impossible, 399: unusual, 400: none, 2000: none, 2001: unusual}},
		{"cure_outside_seconds", func(p *Process, n int) { p.CureOutsideSeconds = &n }, map[int]string{
			0: impossible, 59: unusual, 60: none, 1800: none, 1801: unusual}},
		{"cure_inside_seconds", func(p *Process, n int) { p.CureInsideSeconds = &n }, map[int]string{
			0: impossible, 59: unusual, 60: none, 1800: none, 1801: unusual}},
		{"pit_cure_seconds", func(p *Process, n int) { p.PitCureSeconds = &n }, map[int]string{
			0: impossible, 29: unusual, 30: none, 100_000: none}},
		{"end_time", func(p *Process, n int) {
			p.EndTime = new(p.StartTime.Add(time.Duration(n) * time.Minute))
			p.CureStartTime, p.InjectionEndTime = nil, nil
		}, map[int]string{
			7: unusual, 8: none, 180: none, 181: unusual}},
	} {
		for n, want := range c.readings {
			p := usual()
			c.set(&p, n)
			var wanted []string
			if want != none {
				wanted = []string{want + " CAUTION process." + c.field}
			}
			found := CheckProcess(DefaultRanges(), p)
			if diff := cmp.Diff(wanted, codesOf(found)); diff != "" {
				t.Errorf("%s %d (-want +got):\n%s", c.field, n, diff)
			}
			wholeFindings(t, found)
		}
	}
}

func TestProcessRules(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(*Process)
		want   []string
	}{
		{"usual", func(*Process) {}, nil},
		{"nothing read", func(p *Process) { *p = Process{} }, nil},
		{"drilled without a reason", func(p *Process) { p.DrillReason = "" }, []string{"PROCESS-DRILL-REASON CAUTION process.drill_reason"}},
		{"a depth without drilling", func(p *Process) { p.Drilled = new(false) }, []string{"PROCESS-DRILL-NOT CAUTION process.drill_depth_mm"}},
		{"second cycles", func(p *Process) { p.VacuumCycles, p.PressureCycles = []int{60, 20}, []int{120, 120} },
			[]string{"PROCESS-UNUSUAL CAUTION process.vacuum_seconds[1]"}},
		{"nine cycles", func(p *Process) { p.PressureCycles = []int{60, 60, 60, 60, 60, 60, 60, 60, 60} },
			[]string{"PROCESS-UNUSUAL CAUTION process.pressure_seconds"}},
		{"pressure without vacuum", func(p *Process) { p.VacuumCycles = nil }, []string{"PROCESS-NO-CYCLE CAUTION process.vacuum_seconds"}},
		{"not filled after one cycle", func(p *Process) { p.ResinFilled = new(false) }, []string{"PROCESS-NOT-FILLED CAUTION process.is_resin_filled"}},
		{"not filled after two", func(p *Process) { p.ResinFilled, p.PressureCycles = new(false), []int{120, 120} }, nil},
		{"pit left open", func(p *Process) { p.PitFilled = new(false) }, []string{"PROCESS-PIT-NOT-FILLED CAUTION process.is_pit_filled"}},
		{"thick resin on cold glass", func(p *Process) { p.GlassTemperature, p.ResinViscosityCP = new(Temperature(149)), new(51) },
			[]string{"PROCESS-RESIN-TEMPERATURE CAUTION process.resin_viscosity_cp"}},
		{"as thick as is usual on cold glass", func(p *Process) { p.GlassTemperature, p.ResinViscosityCP = new(Temperature(149)), new(50) }, nil},
		{"thick resin on glass no longer cold", func(p *Process) { p.GlassTemperature, p.ResinViscosityCP = new(Temperature(150)), new(51) }, nil},
		{"thin resin on warm glass", func(p *Process) { p.GlassTemperature, p.ResinViscosityCP = new(Temperature(301)), new(39) },
			[]string{"PROCESS-RESIN-TEMPERATURE CAUTION process.resin_viscosity_cp"}},
		{"as thin as is usual on warm glass", func(p *Process) { p.GlassTemperature, p.ResinViscosityCP = new(Temperature(301)), new(40) }, nil},
		{"thin resin on glass not yet warm", func(p *Process) { p.GlassTemperature, p.ResinViscosityCP = new(Temperature(300)), new(39) }, nil},
		{"pit left proud", func(p *Process) { p.PitFlush = new(false) }, []string{"PROCESS-PIT-NOT-FLUSH CAUTION process.is_pit_flush"}},
		{"pit finished", func(p *Process) { p.PitFlush = new(true) }, nil},
		{"cured before it was filled", func(p *Process) { p.CureStartTime = new(p.InjectionEndTime.Add(-time.Second)) },
			[]string{"PROCESS-ORDER CAUTION process.cure_start_time"}},
		{"ended before it began", func(p *Process) {
			p.EndTime, p.InjectionEndTime, p.CureStartTime = new(p.StartTime.Add(-time.Hour)), nil, nil
		}, []string{"PROCESS-ORDER CAUTION process.end_time"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := usual()
			c.change(&p)
			found := CheckProcess(DefaultRanges(), p)
			if diff := cmp.Diff(c.want, codesOf(found)); diff != "" {
				t.Errorf("findings (-want +got):\n%s", diff)
			}
			wholeFindings(t, found)
		})
	}
}

// TestEveryRangeIsASetting: each range of DefaultRanges has a name of its own, and moving either of
// its ends just past the usual process makes the caution of that reading.
func TestEveryRangeIsASetting(t *testing.T) {
	t.Parallel()
	caution := map[string]string{ // the caution that a range gives, where it is not "PROCESS-UNUSUAL" of its own name
		"vacuum_seconds": "PROCESS-UNUSUAL CAUTION process.vacuum_seconds[0]", "pressure_seconds": "PROCESS-UNUSUAL CAUTION process.pressure_seconds[0]",
		"cycles": "PROCESS-UNUSUAL CAUTION process.vacuum_seconds", "cure_seconds": "PROCESS-UNUSUAL CAUTION process.cure_outside_seconds",
		"whole_repair_minutes":   "PROCESS-UNUSUAL CAUTION process.end_time",
		"resin_on_cold_glass_cp": "PROCESS-RESIN-TEMPERATURE CAUTION process.resin_viscosity_cp",
		"resin_on_warm_glass_cp": "PROCESS-RESIN-TEMPERATURE CAUTION process.resin_viscosity_cp",
	}
	readings := map[string]int{"glass_temperature_c": 200, "humidity_percent": 50, "drill_depth_mm": 160, "vacuum_seconds": 60,
		"pressure_seconds": 120, "cycles": 1, "resin_viscosity_cp": 40, "resin_on_cold_glass_cp": 40, "resin_on_warm_glass_cp": 40,
		"pit_resin_viscosity_cp": 1000, "cure_seconds": 120, "pit_cure_seconds": 180, "whole_repair_minutes": 30}
	if got, want := len(new(Ranges).Named()), reflect.TypeFor[Ranges]().NumField(); got != want {
		t.Errorf("%d of %d ranges have a name", got, want)
	}
	for i, named := range new(Ranges).Named() {
		p := usual()
		switch named.Name {
		case "resin_on_cold_glass_cp":
			p.GlassTemperature = new(Temperature(149))
		case "resin_on_warm_glass_cp":
			p.GlassTemperature = new(Temperature(301))
		}
		want := caution[named.Name]
		if want == "" {
			want = "PROCESS-UNUSUAL CAUTION process." + named.Name
		}
		for name, set := range map[string]func(*Range, int){
			"low":  func(r *Range, n int) { r.UsualLow = n + 1 },
			"high": func(r *Range, n int) { r.UsualLow, r.UsualHigh = r.PossibleLow, n-1 },
		} {
			ranges := DefaultRanges()
			set(ranges.Named()[i].Range, readings[named.Name])
			if got := codesOf(CheckProcess(ranges, p)); !slices.Contains(got, want) {
				t.Errorf("%s, %s end: got %v, want %s", named.Name, name, got, want)
			}
		}
		if len(CheckProcess(DefaultRanges(), p)) > 0 || named.Unit == "" || named.Scale < 1 {
			t.Errorf("%s: the usual process has findings, or the range has no unit", named.Name)
		}
	}
}
