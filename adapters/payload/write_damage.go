package payload

import (
	"cullet/services/jobs"
	"cullet/services/repairability"
)

func writeGlass(g repairability.Glass) Glass {
	return Glass{
		Width: millimetres(g.Width), Height: millimetres(g.Height), DriverSide: string(g.DriverSide),
		WiperTop: millimetres(g.WiperTop), SteeringCentre: millimetres(g.SteeringCentre),
		SteeringTop: millimetres(g.SteeringTop), EarlierRepairs: g.EarlierRepairs,
		DriverAssistance: string(g.DriverAssistance),
	}
}

func writeDamages(job jobs.Job) []Damage {
	all := make([]Damage, len(job.Record.Damages))
	for i, d := range job.Record.Damages {
		all[i] = writeDamage(i+1, d)
		if i < len(job.Assessments) {
			all[i].Assessment = writeAssessment(job.Assessments[i])
		}
	}
	return all
}

func writeDamage(number int, d jobs.Damage) Damage {
	written := Damage{
		Number: number, Kind: string(d.Kind), Outcome: string(d.Outcome),
		BodyDiameter: millimetres(d.BodyDiameter), Spread: millimetres(d.Spread),
		CrackLength: millimetres(d.CrackLength), PitDiameter: millimetres(d.PitDiameter),
		PitDepth: millimetres(d.PitDepth), FinishedPit: millimetres(d.FinishedPit),
		EdgesTouched: d.EdgesTouched, LegCount: d.LegCount, LongLegs: d.LongLegs,
		Layer: string(d.Layer), Contamination: string(d.Contamination), Cause: string(d.Cause),
		AgeDays: d.AgeDays, DistanceToEdge: millimetres(d.DistanceToEdge),
		DistanceToRepair: millimetres(d.DistanceToRepair), InCameraArea: string(d.InCameraArea),
		OverFeature: string(d.OverFeature), Process: writeProcess(d.Process),
	}
	if d.Place != nil {
		written.Place = PlaceOnGlass{
			FromDriverEdge: millimetres(&d.Place.FromDriverEdge),
			FromLowerEdge:  millimetres(&d.Place.FromLowerEdge),
		}
	}
	return written
}

// writeAssessment leaves out what only advises and what speaks of the finished repair: the payer
// is shown the verdict and the limits that were compared with a reading.
func writeAssessment(a repairability.Assessment) *Assessment {
	written := &Assessment{
		Verdict: string(a.Verdict), Standard: a.Standard, Edition: a.Edition, Clause: a.Clause,
		Zone: a.Zone, InViewingArea: string(a.InViewingArea), Missing: a.Missing, Readings: []Reading{},
	}
	for _, r := range a.Reasons {
		switch r.Result {
		case repairability.Within, repairability.AtLimit, repairability.Over, repairability.Missing:
			written.Readings = append(written.Readings,
				Reading{Code: r.Code, Result: string(r.Result), Value: r.Value, Limit: r.Limit})
		}
	}
	return written
}

func writeProcess(p *repairability.Process) *Process {
	if p == nil {
		return nil
	}
	return &Process{
		GlassTemperature: celsius(p.GlassTemperature), TemperatureNote: p.Warming,
		HumidityPercent: p.HumidityPercent, Drilled: p.Drilled, DrillReason: p.DrillReason,
		DrillDepth: millimetres(p.DrillDepth), VacuumCycles: p.VacuumCycles,
		PressureCycles: p.PressureCycles, ResinViscosityCP: p.ResinViscosityCP,
		ResinFilled: p.ResinFilled, CureOutsideSeconds: p.CureOutsideSeconds,
		CureInsideSeconds: p.CureInsideSeconds, PitFilled: p.PitFilled, PitResinCP: p.PitResinCP,
		PitCureSeconds: p.PitCureSeconds, PitFlush: p.PitFlush, Result: p.Result, StartTime: maybeInstant(p.StartTime),
		InjectionEndTime: maybeInstant(p.InjectionEndTime), CureStartTime: maybeInstant(p.CureStartTime),
		EndTime: maybeInstant(p.EndTime), Reason: p.Reason,
	}
}
