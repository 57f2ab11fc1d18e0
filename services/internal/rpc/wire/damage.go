package wire

import (
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

// The prefixes of the enums of a record.
const (
	kindPrefix          = "DAMAGE_KIND_"
	outcomePrefix       = "OUTCOME_"
	layerPrefix         = "LAYER_"
	contaminationPrefix = "CONTAMINATION_"
	causePrefix         = "CAUSE_"
	sidePrefix          = "DRIVER_SIDE_"
	knownPrefix         = "KNOWN_"
	photoPrefix         = "PHOTO_KIND_"
	verdictPrefix       = "VERDICT_"
)

// FromDamages gives glass and damages of a question about them, with a fault for each reading that
// cannot be taken over exactly; such a reading is missing then. Paths are relative to the request.
func FromDamages(glass *jobsv1.Glass, damages []*jobsv1.Damage, isCommercial bool) (repairability.Glass, []jobs.Damage, []errs.Field) {
	r := newReader("")
	return r.glass(glass, isCommercial), r.damages(damages), r.faults
}

func fromKnown(k jobsv1.Known) repairability.Answer {
	return Word[repairability.Answer](knownPrefix, k)
}

func toKnown(a repairability.Answer) jobsv1.Known {
	return Value[jobsv1.Known](jobsv1.Known_value, knownPrefix, a)
}

func (r *reader) glass(m *jobsv1.Glass, isCommercial bool) repairability.Glass {
	if m == nil {
		return repairability.Glass{Commercial: isCommercial}
	}
	r.part = "glass."
	defer func() { r.part = "" }()
	return repairability.Glass{
		Width: r.length("width_mm", m.WidthMm), Height: r.length("height_mm", m.HeightMm),
		DriverSide:     Word[repairability.Side](sidePrefix, m.GetDriverSide()),
		WiperTop:       r.length("wiper_top_mm", m.WiperTopMm),
		SteeringCentre: r.length("steering_centre_mm", m.SteeringCentreMm),
		SteeringTop:    r.length("steering_top_mm", m.SteeringTopMm),
		HeavyVehicle:   m.GetIsHeavyVehicle(), Commercial: isCommercial,
		SoldAlready: fromKnown(m.GetIsSoldAlready()), EarlierRepairs: intOrNil(m.EarlierRepairCount),
		DriverAssistance: fromKnown(m.GetHasDriverAssistance()),
	}
}

func toGlass(g repairability.Glass) *jobsv1.Glass {
	g.Commercial = false // the vehicle says it
	if g == (repairability.Glass{}) {
		return nil
	}
	return &jobsv1.Glass{
		WidthMm: toMM(g.Width), HeightMm: toMM(g.Height),
		DriverSide:       Value[jobsv1.DriverSide](jobsv1.DriverSide_value, sidePrefix, g.DriverSide),
		SteeringCentreMm: toMM(g.SteeringCentre), WiperTopMm: toMM(g.WiperTop),
		HasDriverAssistance: toKnown(g.DriverAssistance), EarlierRepairCount: int32OrNil(g.EarlierRepairs),
		SteeringTopMm: toMM(g.SteeringTop), IsHeavyVehicle: g.HeavyVehicle, IsSoldAlready: toKnown(g.SoldAlready),
	}
}

func (r *reader) damages(messages []*jobsv1.Damage) []jobs.Damage {
	all := make([]jobs.Damage, len(messages))
	for i, m := range messages {
		r.damage = i
		all[i] = r.readDamage(m)
	}
	r.damage = -1
	return all
}

func (r *reader) readDamage(m *jobsv1.Damage) jobs.Damage {
	return jobs.Damage{
		Damage: repairability.Damage{
			Kind:         Word[repairability.Kind](kindPrefix, m.GetKind()),
			BodyDiameter: r.length("body_diameter_mm", m.BodyDiameterMm), Spread: r.length("spread_mm", m.SpreadMm),
			CrackLength: r.length("crack_length_mm", m.CrackLengthMm),
			PitDiameter: r.length("pit_diameter_mm", m.PitDiameterMm), PitDepth: r.length("pit_depth_mm", m.PitDepthMm),
			FinishedPit: r.length("finished_pit_mm", m.FinishedPitMm), EdgesTouched: intOrNil(m.EdgesTouched),
			LegCount: intOrNil(m.LegCount), LongLegs: intOrNil(m.LongLegCount),
			Layer:            Word[repairability.Layer](layerPrefix, m.GetLayer()),
			Contamination:    Word[repairability.Contamination](contaminationPrefix, m.GetContamination()),
			Cause:            Word[repairability.Cause](causePrefix, m.GetCause()),
			AgeDays:          intOrNil(m.AgeDays),
			Outcome:          Word[repairability.Outcome](outcomePrefix, m.GetOutcome()),
			DistanceToEdge:   r.length("edge_distance_mm", m.EdgeDistanceMm),
			DistanceToRepair: r.length("repair_distance_mm", m.RepairDistanceMm),
			Place:            r.placeOnGlass(m.GetPlace()),
			InCameraArea:     fromKnown(m.GetIsInCameraArea()), OverFeature: fromKnown(m.GetIsOverFeature()),
		},
		Process: r.process(m.GetProcess()),
		Note:    m.GetNote(),
	}
}

// placeOnGlass needs both distances; none at all is a place that was not measured.
func (r *reader) placeOnGlass(m *jobsv1.PlaceOnGlass) *repairability.Place {
	if m == nil {
		return nil
	}
	r.part = "place."
	defer func() { r.part = "" }()
	const missing = "nothing was given and the other distance was; a place needs both, or leave the place out"
	driver, lower := r.length("from_driver_edge_mm", m.FromDriverEdgeMm), r.length("from_lower_edge_mm", m.FromLowerEdgeMm)
	switch {
	case m.FromDriverEdgeMm == nil && m.FromLowerEdgeMm == nil:
		return nil
	case m.FromDriverEdgeMm == nil:
		r.fault("from_driver_edge_mm", "REQUIRED", missing)
	case m.FromLowerEdgeMm == nil:
		r.fault("from_lower_edge_mm", "REQUIRED", missing)
	}
	// A distance with a fault reads 0, which lies on every glass, so that the other one is looked at too.
	var place repairability.Place
	if driver != nil {
		place.FromDriverEdge = *driver
	}
	if lower != nil {
		place.FromLowerEdge = *lower
	}
	return &place
}

func (r *reader) process(m *jobsv1.Process) *repairability.Process {
	if m == nil {
		return nil
	}
	r.part = "process."
	defer func() { r.part = "" }()
	return &repairability.Process{
		GlassTemperature: r.temperature("glass_temperature_c", m.GlassTemperatureC), Warming: m.GetTemperatureNote(),
		HumidityPercent: intOrNil(m.HumidityPercent), Drilled: m.IsDrilled, DrillReason: m.GetDrillReason(),
		DrillDepth: r.length("drill_depth_mm", m.DrillDepthMm), VacuumCycles: ints(m.GetVacuumSeconds()),
		PressureCycles: ints(m.GetPressureSeconds()), ResinViscosityCP: intOrNil(m.ResinViscosityCp),
		ResinFilled: m.IsResinFilled, CureOutsideSeconds: intOrNil(m.CureOutsideSeconds),
		CureInsideSeconds: intOrNil(m.CureInsideSeconds), PitFilled: m.IsPitFilled,
		PitResinCP: intOrNil(m.PitResinViscosityCp), PitCureSeconds: intOrNil(m.PitCureSeconds),
		StartTime: FromTimeOrNil(m.GetStartTime()), InjectionEndTime: FromTimeOrNil(m.GetInjectionEndTime()),
		CureStartTime: FromTimeOrNil(m.GetCureStartTime()), EndTime: FromTimeOrNil(m.GetEndTime()),
		PitFlush: m.IsPitFlush, Result: m.GetResultNote(), Reason: m.GetReason(),
	}
}

func toDamages(all []jobs.Damage) []*jobsv1.Damage {
	messages := make([]*jobsv1.Damage, len(all))
	for i := range all {
		messages[i] = toDamage(&all[i])
	}
	return messages
}

func toDamage(d *jobs.Damage) *jobsv1.Damage {
	message := &jobsv1.Damage{
		Kind:           Value[jobsv1.DamageKind](jobsv1.DamageKind_value, kindPrefix, d.Kind),
		BodyDiameterMm: toMM(d.BodyDiameter), SpreadMm: toMM(d.Spread), CrackLengthMm: toMM(d.CrackLength),
		EdgesTouched: int32OrNil(d.EdgesTouched), PitDiameterMm: toMM(d.PitDiameter), PitDepthMm: toMM(d.PitDepth),
		LegCount: int32OrNil(d.LegCount), LongLegCount: int32OrNil(d.LongLegs),
		Layer:         Value[jobsv1.Layer](jobsv1.Layer_value, layerPrefix, d.Layer),
		Contamination: Value[jobsv1.Contamination](jobsv1.Contamination_value, contaminationPrefix, d.Contamination),
		Cause:         Value[jobsv1.Cause](jobsv1.Cause_value, causePrefix, d.Cause),
		AgeDays:       int32OrNil(d.AgeDays), Outcome: Value[jobsv1.Outcome](jobsv1.Outcome_value, outcomePrefix, d.Outcome),
		EdgeDistanceMm: toMM(d.DistanceToEdge), RepairDistanceMm: toMM(d.DistanceToRepair),
		IsInCameraArea: toKnown(d.InCameraArea), FinishedPitMm: toMM(d.FinishedPit), Process: toProcess(d.Process),
		Note: d.Note, IsOverFeature: toKnown(d.OverFeature),
	}
	if d.Place != nil {
		message.Place = &jobsv1.PlaceOnGlass{FromDriverEdgeMm: toMM(&d.Place.FromDriverEdge),
			FromLowerEdgeMm: toMM(&d.Place.FromLowerEdge)}
	}
	return message
}

func toProcess(p *repairability.Process) *jobsv1.Process {
	if p == nil {
		return nil
	}
	message := &jobsv1.Process{
		TemperatureNote: p.Warming, IsDrilled: p.Drilled, DrillReason: p.DrillReason, DrillDepthMm: toMM(p.DrillDepth),
		VacuumSeconds: int32s(p.VacuumCycles), PressureSeconds: int32s(p.PressureCycles),
		ResinViscosityCp: int32OrNil(p.ResinViscosityCP), CureOutsideSeconds: int32OrNil(p.CureOutsideSeconds),
		CureInsideSeconds: int32OrNil(p.CureInsideSeconds), IsPitFilled: p.PitFilled,
		PitCureSeconds: int32OrNil(p.PitCureSeconds), Reason: p.Reason, HumidityPercent: int32OrNil(p.HumidityPercent),
		IsResinFilled: p.ResinFilled, PitResinViscosityCp: int32OrNil(p.PitResinCP),
		StartTime: ToTimeOrNil(p.StartTime), InjectionEndTime: ToTimeOrNil(p.InjectionEndTime),
		CureStartTime: ToTimeOrNil(p.CureStartTime), EndTime: ToTimeOrNil(p.EndTime),
		IsPitFlush: p.PitFlush, ResultNote: p.Result,
	}
	if p.GlassTemperature != nil {
		message.GlassTemperatureC = new(float64(*p.GlassTemperature) / 10)
	}
	return message
}
