package repairability

import "time"

// takenReading is a reading of the process that a payer may want to see.
type takenReading struct {
	// name is that of the contract, words how people call it.
	name, words string
	isTaken     func(*Process) bool
	// isIdle tells that there was nothing to read: no depth where nothing was drilled. Nil is never.
	isIdle func(*Process) bool
}

// takenReadings are in the order of the work.
var takenReadings = []takenReading{
	{"glass_temperature_c", "temperature of the glass", func(p *Process) bool { return p.GlassTemperature != nil }, nil},
	{"temperature_note", "way in which the glass was brought to its temperature", func(p *Process) bool { return p.Warming != "" }, nil},
	{"humidity_percent", "humidity of the air", func(p *Process) bool { return p.HumidityPercent != nil }, nil},
	{"is_drilled", "word on whether it was drilled", func(p *Process) bool { return p.Drilled != nil }, nil},
	{"drill_reason", "reason for drilling", func(p *Process) bool { return p.DrillReason != "" }, isNotDrilled},
	{"drill_depth_mm", "depth of drilling", func(p *Process) bool { return p.DrillDepth != nil }, isNotDrilled},
	{"vacuum_seconds", "seconds of vacuum", func(p *Process) bool { return len(p.VacuumCycles) > 0 }, nil},
	{"pressure_seconds", "seconds of pressure", func(p *Process) bool { return len(p.PressureCycles) > 0 }, nil},
	{"resin_viscosity_cp", "viscosity of the resin", func(p *Process) bool { return p.ResinViscosityCP != nil }, nil},
	{"is_resin_filled", "word on whether the break was seen to be filled", func(p *Process) bool { return p.ResinFilled != nil }, nil},
	{"cure_outside_seconds", "seconds of curing from outside", func(p *Process) bool { return p.CureOutsideSeconds != nil }, nil},
	{"cure_inside_seconds", "seconds of curing from inside", func(p *Process) bool { return p.CureInsideSeconds != nil }, nil},
	{"is_pit_filled", "word on whether the pit was filled", func(p *Process) bool { return p.PitFilled != nil }, nil},
	{"pit_resin_viscosity_cp", "viscosity of the pit resin", func(p *Process) bool { return p.PitResinCP != nil }, isPitLeft},
	{"pit_cure_seconds", "seconds of curing the pit", func(p *Process) bool { return p.PitCureSeconds != nil }, isPitLeft},
	{"is_pit_flush", "word on whether the pit is flush with the glass", func(p *Process) bool { return p.PitFlush != nil }, isPitLeft},
	{"result_note", "word on the result that was seen", func(p *Process) bool { return p.Result != "" }, nil},
	{"start_time", "time at which the work began", timed(func(p *Process) *time.Time { return p.StartTime }), nil},
	{"injection_end_time", "time at which the injection ended", timed(func(p *Process) *time.Time { return p.InjectionEndTime }), nil},
	{"cure_start_time", "time at which curing began", timed(func(p *Process) *time.Time { return p.CureStartTime }), nil},
	{"end_time", "time at which the work ended", timed(func(p *Process) *time.Time { return p.EndTime }), nil},
}

func timed(of func(*Process) *time.Time) func(*Process) bool {
	return func(p *Process) bool { return of(p) != nil }
}

func isNotDrilled(p *Process) bool { return p.Drilled != nil && !*p.Drilled }

func isPitLeft(p *Process) bool { return p.PitFilled != nil && !*p.PitFilled }

// ReadingNames lists the readings that a payer may demand, by their names in the contract, in the order
// of the work.
func ReadingNames() []string {
	names := make([]string, len(takenReadings))
	for i, r := range takenReadings {
		names[i] = r.name
	}
	return names
}

// Lacks tells whether a process, which may be nil, should hold the reading and does not, and how people
// call the reading. What there was nothing to read of, such as the depth of a break that was not
// drilled, is not lacking; neither is a reading that nobody knows.
func (p *Process) Lacks(name string) (words string, isLacking bool) {
	for _, r := range takenReadings {
		if r.name != name {
			continue
		}
		if p == nil {
			return r.words, true
		}
		return r.words, !r.isTaken(p) && (r.isIdle == nil || !r.isIdle(p))
	}
	return "", false
}
