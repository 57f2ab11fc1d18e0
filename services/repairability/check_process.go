package repairability

import (
	"fmt"
	"time"

	"cullet/services/finding"
)

// The codes of findings about the readings of the process, stable for ever. All are cautions.
const (
	CodeUnusual      = "PROCESS-UNUSUAL"
	CodeImpossible   = "PROCESS-IMPOSSIBLE"
	CodeInnerLayer   = "PROCESS-INNER-LAYER"
	CodeDrillReason  = "PROCESS-DRILL-REASON"
	CodeDrillNot     = "PROCESS-DRILL-NOT"
	CodeNoCycle      = "PROCESS-NO-CYCLE"
	CodeNotFilled    = "PROCESS-NOT-FILLED"
	CodePitNotFilled = "PROCESS-PIT-NOT-FILLED"
	CodeOrder        = "PROCESS-ORDER"
	CodeResinGlass   = "PROCESS-RESIN-TEMPERATURE"
	CodePitNotFlush  = "PROCESS-PIT-NOT-FLUSH"
)

// CheckProcess looks at the readings of one repair. Every finding is a caution that asks for a
// reason, and never a refusal; a reading that was not taken is no finding, since what has to be
// there is the payer's to say. Paths are relative to the damage: "process.vacuum_seconds[1]".
func CheckProcess(ranges Ranges, p Process) []finding.Finding {
	c := processChecker{reason: p.Reason}
	c.temperature(ranges, p)
	c.drill(ranges, p)
	c.cycles(ranges, p)
	c.resin(ranges, p)
	c.cure(ranges, p)
	c.times(ranges, p)
	return c.found
}

// processChecker collects the cautions of one repair.
type processChecker struct {
	// reason is the technician's word; it is repeated beside what it explains.
	reason string
	found  []finding.Finding
}

func (c *processChecker) caution(code, field, sentence, fix string) {
	if c.reason != "" {
		fix = "The reason given is kept beside it."
	}
	c.found = append(c.found, finding.Finding{Code: code, Severity: finding.Caution, Path: "process." + field,
		Sentence: sentence, Fix: fix, Source: UsualPractice})
}

// unit writes a number of a reading for a person.
type unit func(n int) string

func whole(name string) unit { return func(n int) string { return fmt.Sprintf("%d %s", n, name) } }

func tenthsCelsius(n int) string {
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	return fmt.Sprintf("%s%d.%d °C", sign, n/10, n%10)
}

func hundredthsMillimetre(n int) string { return Length(n).String() + " mm" }

// reading holds one reading against its range.
func (c *processChecker) reading(field, name string, n *int, r Range, u unit) {
	switch {
	case n == nil:
	case *n < r.PossibleLow || *n > r.PossibleHigh:
		c.caution(CodeImpossible, field,
			fmt.Sprintf("%s reads %s, which cannot be.", name, u(*n)), "Confirm the reading, or correct it.")
	case *n < r.UsualLow:
		c.caution(CodeUnusual, field,
			fmt.Sprintf("%s is %s; usual is %s or more.", name, u(*n), u(r.UsualLow)), "Give the reason, or correct it.")
	case *n > r.UsualHigh:
		c.caution(CodeUnusual, field,
			fmt.Sprintf("%s is %s; usual is %s or less.", name, u(*n), u(r.UsualHigh)), "Give the reason, or correct it.")
	}
}

func (c *processChecker) temperature(ranges Ranges, p Process) {
	if p.GlassTemperature != nil {
		tenths := int(*p.GlassTemperature)
		c.reading("glass_temperature_c", "Glass temperature", &tenths, ranges.GlassTemperature, tenthsCelsius)
	}
	c.reading("humidity_percent", "Humidity", p.HumidityPercent, ranges.HumidityPercent, whole("%"))
}

// drill asks why it was drilled: a break whose pit can be felt needs no hole.
func (c *processChecker) drill(ranges Ranges, p Process) {
	drilled := p.Drilled != nil && *p.Drilled
	if drilled && p.DrillReason == "" {
		c.caution(CodeDrillReason, "drill_reason",
			"The break was drilled, and no reason is given; it is usual only where the pit cannot be felt.",
			"Say why it was drilled.")
	}
	if p.DrillDepth == nil {
		return
	}
	if p.Drilled != nil && !drilled {
		c.caution(CodeDrillNot, "drill_depth_mm", "A drill depth is given for a break that was not drilled.",
			"Correct one of the two.")
	}
	depth := int(*p.DrillDepth)
	if depth > ranges.DrillDepth.PossibleHigh {
		c.caution(CodeInnerLayer, "drill_depth_mm",
			fmt.Sprintf("The drill went %s deep, as deep as the outer ply is thick or deeper: the inner layer is at risk.",
				hundredthsMillimetre(depth)), "Confirm the depth, and look at the inner layer.")
		return
	}
	c.reading("drill_depth_mm", "Drill depth", &depth, ranges.DrillDepth, hundredthsMillimetre)
}

func (c *processChecker) cycles(ranges Ranges, p Process) {
	for i := range p.VacuumCycles {
		field := fmt.Sprintf("vacuum_seconds[%d]", i)
		c.reading(field, "Vacuum", &p.VacuumCycles[i], ranges.VacuumSeconds, whole("s"))
	}
	for i := range p.PressureCycles {
		field := fmt.Sprintf("pressure_seconds[%d]", i)
		c.reading(field, "Pressure", &p.PressureCycles[i], ranges.PressureSeconds, whole("s"))
	}
	if len(p.VacuumCycles) == 0 && len(p.PressureCycles) > 0 {
		c.caution(CodeNoCycle, "vacuum_seconds", "Resin was pressed in without a vacuum before it.",
			"Give the reason, or the seconds.")
	}
	c.number("vacuum_seconds", "vacuum", len(p.VacuumCycles), ranges.Cycles)
	c.number("pressure_seconds", "pressure", len(p.PressureCycles), ranges.Cycles)
	if p.ResinFilled != nil && !*p.ResinFilled && max(len(p.VacuumCycles), len(p.PressureCycles)) < 2 {
		c.caution(CodeNotFilled, "is_resin_filled",
			"The resin did not fill the break, and there was no second cycle.",
			"Repeat vacuum and pressure, or give the reason.")
	}
}

func (c *processChecker) number(field, name string, n int, r Range) {
	switch {
	case n > r.UsualHigh:
		c.caution(CodeUnusual, field, fmt.Sprintf("There were %d %s cycles; usual are %d or fewer.", n, name, r.UsualHigh),
			"Give the reason, or correct it.")
	case n > 0 && n < r.UsualLow:
		c.caution(CodeUnusual, field, fmt.Sprintf("There were %d %s cycles; usual are %d or more.", n, name, r.UsualLow),
			"Give the reason, or correct it.")
	}
}

func (c *processChecker) resin(ranges Ranges, p Process) {
	c.reading("resin_viscosity_cp", "Resin viscosity", p.ResinViscosityCP, ranges.ResinViscosityCP, whole("cP"))
	c.reading("pit_resin_viscosity_cp", "Pit resin viscosity", p.PitResinCP, ranges.PitViscosityCP, whole("cP"))
	c.resinOnGlass(ranges, p)
}

// resinOnGlass holds the resin against the temperature of the glass.
func (c *processChecker) resinOnGlass(ranges Ranges, p Process) {
	if p.ResinViscosityCP == nil || p.GlassTemperature == nil {
		return
	}
	n, glass := *p.ResinViscosityCP, *p.GlassTemperature
	r, where := ranges.ResinOnColdCP, "below "+tenthsCelsius(int(ColdGlass))
	switch {
	case glass > WarmGlass:
		r, where = ranges.ResinOnWarmCP, "above "+tenthsCelsius(int(WarmGlass))
	case glass >= ColdGlass:
		return
	}
	usual := fmt.Sprintf("%d cP or less", r.UsualHigh)
	switch {
	case n < r.UsualLow:
		usual = fmt.Sprintf("%d cP or more", r.UsualLow)
	case n <= r.UsualHigh:
		return
	}
	c.caution(CodeResinGlass, "resin_viscosity_cp", fmt.Sprintf("The resin has %d cP on glass of %s; usual on glass %s is %s.",
		n, tenthsCelsius(int(glass)), where, usual), "Give the reason, or correct it.")
}

func (c *processChecker) cure(ranges Ranges, p Process) {
	c.reading("cure_outside_seconds", "Cure outside", p.CureOutsideSeconds, ranges.CureSeconds, whole("s"))
	c.reading("cure_inside_seconds", "Cure inside", p.CureInsideSeconds, ranges.CureSeconds, whole("s"))
	c.reading("pit_cure_seconds", "Pit cure", p.PitCureSeconds, ranges.PitCureSeconds, whole("s"))
	if p.PitFilled != nil && !*p.PitFilled {
		c.caution(CodePitNotFilled, "is_pit_filled", "The pit was not filled; it stays open to dirt and the wipers.",
			"Give the reason, or fill and cure the pit.")
	}
	if p.PitFlush != nil && !*p.PitFlush {
		c.caution(CodePitNotFlush, "is_pit_flush", "The pit was not finished flush with the glass; the wipers catch on it.",
			"Give the reason, or scrape and polish the pit.")
	}
}

// times looks at their order, and at the length of the whole.
func (c *processChecker) times(ranges Ranges, p Process) {
	steps := []struct {
		field, name string
		at          *time.Time
	}{
		{"start_time", "start", p.StartTime}, {"injection_end_time", "end of the injection", p.InjectionEndTime},
		{"cure_start_time", "start of the cure", p.CureStartTime}, {"end_time", "end", p.EndTime},
	}
	last := -1
	for i := range steps {
		if steps[i].at == nil {
			continue
		}
		if last >= 0 && steps[i].at.Before(*steps[last].at) {
			c.caution(CodeOrder, steps[i].field,
				fmt.Sprintf("The %s lies before the %s.", steps[i].name, steps[last].name), "Correct the times.")
		}
		last = i
	}
	if p.StartTime == nil || p.EndTime == nil || p.EndTime.Before(*p.StartTime) {
		return
	}
	minutes := int(p.EndTime.Sub(*p.StartTime) / time.Minute)
	c.reading("end_time", "The whole repair", &minutes, ranges.WholeRepairMinute, whole("min"))
}
