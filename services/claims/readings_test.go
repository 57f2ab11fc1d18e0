package claims

import (
	"slices"
	"testing"
	"time"

	"cullet/services/payers"
	"cullet/services/repairability"
)

// everyReading is a process in which every reading was taken.
func everyReading() *repairability.Process {
	at := func(minute int) *time.Time { return new(repaired.Add(time.Duration(minute) * time.Minute)) }
	return &repairability.Process{GlassTemperature: new(repairability.Temperature(200)), Warming: "in the shade", HumidityPercent: new(50),
		Drilled: new(true), DrillReason: "the pit could not be felt", DrillDepth: repairability.Hundredths(150),
		VacuumCycles: []int{60}, PressureCycles: []int{120}, ResinViscosityCP: new(45), ResinFilled: new(true),
		CureOutsideSeconds: new(120), CureInsideSeconds: new(120), PitFilled: new(true), PitResinCP: new(1000), PitCureSeconds: new(180),
		PitFlush: new(true), Result: "faint outline, no air",
		StartTime: at(0), InjectionEndTime: at(10), CureStartTime: at(11), EndTime: at(30)}
}

// withoutReading takes one reading out of a process.
var withoutReading = map[string]func(*repairability.Process){
	"glass_temperature_c":    func(p *repairability.Process) { p.GlassTemperature = nil },
	"temperature_note":       func(p *repairability.Process) { p.Warming = "" },
	"humidity_percent":       func(p *repairability.Process) { p.HumidityPercent = nil },
	"is_drilled":             func(p *repairability.Process) { p.Drilled = nil },
	"drill_reason":           func(p *repairability.Process) { p.DrillReason = "" },
	"drill_depth_mm":         func(p *repairability.Process) { p.DrillDepth = nil },
	"vacuum_seconds":         func(p *repairability.Process) { p.VacuumCycles = nil },
	"pressure_seconds":       func(p *repairability.Process) { p.PressureCycles = nil },
	"resin_viscosity_cp":     func(p *repairability.Process) { p.ResinViscosityCP = nil },
	"is_resin_filled":        func(p *repairability.Process) { p.ResinFilled = nil },
	"cure_outside_seconds":   func(p *repairability.Process) { p.CureOutsideSeconds = nil },
	"cure_inside_seconds":    func(p *repairability.Process) { p.CureInsideSeconds = nil },
	"is_pit_filled":          func(p *repairability.Process) { p.PitFilled = nil },
	"pit_resin_viscosity_cp": func(p *repairability.Process) { p.PitResinCP = nil },
	"pit_cure_seconds":       func(p *repairability.Process) { p.PitCureSeconds = nil },
	"is_pit_flush":           func(p *repairability.Process) { p.PitFlush = nil },
	"result_note":            func(p *repairability.Process) { p.Result = "" },
	"start_time":             func(p *repairability.Process) { p.StartTime = nil },
	"injection_end_time":     func(p *repairability.Process) { p.InjectionEndTime = nil },
	"cure_start_time":        func(p *repairability.Process) { p.CureStartTime = nil },
	"end_time":               func(p *repairability.Process) { p.EndTime = nil },
}

// readingFindings checks a case whose payer demands the reading, and gives what was found about readings.
func readingFindings(process *repairability.Process, demand payers.ReadingDemand, outcome repairability.Outcome) (found []string) {
	c := sound()
	c.Job.Record.Damages[0].Process, c.Job.Record.Damages[0].Outcome = process, outcome
	c.Payer.Profile.Readings = []payers.ReadingDemand{demand}
	for _, f := range Check(c, Translation{}) {
		if f.Code == "READING-DEMANDED" || f.Code == "READING-WANTED" {
			found = append(found, f.Code+" "+string(f.Severity)+" "+f.Path)
		}
	}
	return found
}

// TestDemandedReadings: a process that has every reading but the demanded one breaks the rule, with the
// weight that the profile gives it, and one that has it passes.
func TestDemandedReadings(t *testing.T) {
	t.Parallel()
	const repairedOne, declined = repairability.Repaired, repairability.Declined
	for _, name := range repairability.ReadingNames() {
		remove, ok := withoutReading[name]
		if !ok {
			t.Errorf("no case takes %s out", name)
			continue
		}
		lacking, path := everyReading(), "job.damages[0].process."+name
		remove(lacking)
		for _, c := range []struct {
			what    string
			process *repairability.Process
			isStop  bool
			outcome repairability.Outcome
			want    []string
		}{
			{"taken", everyReading(), true, repairedOne, nil},
			{"not taken, a stop", lacking, true, repairedOne, []string{"READING-DEMANDED STOP " + path}},
			{"not taken, a caution", lacking, false, repairedOne, []string{"READING-WANTED CAUTION " + path}},
			{"no process at all", nil, true, repairedOne, []string{"READING-DEMANDED STOP " + path}},
			{"not taken of a damage that was declined", lacking, true, declined, nil},
		} {
			if got := readingFindings(c.process, payers.ReadingDemand{Reading: name, IsStop: c.isStop}, c.outcome); !slices.Equal(got, c.want) {
				t.Errorf("%s, %s: got %v, want %v", name, c.what, got, c.want)
			}
		}
	}
	if len(withoutReading) != len(repairability.ReadingNames()) {
		t.Errorf("%d readings are taken out, there are %d", len(withoutReading), len(repairability.ReadingNames()))
	}
}

// TestWhatThereWasNothingToReadOf: a depth of what was not drilled, a cure of a pit that was not filled.
func TestWhatThereWasNothingToReadOf(t *testing.T) {
	t.Parallel()
	idle := everyReading()
	idle.Drilled, idle.DrillReason, idle.DrillDepth = new(false), "", nil
	idle.PitFilled, idle.PitResinCP, idle.PitCureSeconds, idle.PitFlush = new(false), nil, nil, nil
	for _, name := range repairability.ReadingNames() {
		if got := readingFindings(idle, payers.ReadingDemand{Reading: name, IsStop: true}, repairability.Repaired); got != nil {
			t.Errorf("%s: got %v, want nothing", name, got)
		}
	}
	unsaid := everyReading()
	unsaid.Drilled, unsaid.DrillDepth = nil, nil
	if got := readingFindings(unsaid, payers.ReadingDemand{Reading: "drill_depth_mm", IsStop: true}, repairability.Repaired); len(got) != 1 {
		t.Errorf("nobody said whether it was drilled: got %v, want the depth to be missing", got)
	}
}
