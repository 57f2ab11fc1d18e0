package invent

import (
	"math/rand/v2"
	"time"

	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// hurt is one break as a plan tells of it.
type hurt struct {
	*jobsv1.Damage
	isInSight bool
}

func broken(kind jobsv1.DamageKind, set func(*jobsv1.Damage)) hurt {
	d := &jobsv1.Damage{Kind: kind, Outcome: jobsv1.Outcome_OUTCOME_REPAIRED, Layer: jobsv1.Layer_LAYER_OUTER,
		Contamination: jobsv1.Contamination_CONTAMINATION_NONE, Cause: jobsv1.Cause_CAUSE_IMPACT,
		IsInCameraArea: jobsv1.Known_KNOWN_NO, IsOverFeature: jobsv1.Known_KNOWN_NO}
	set(d)
	return hurt{Damage: d}
}

func bullseye(body float64) hurt {
	return broken(jobsv1.DamageKind_DAMAGE_KIND_BULLSEYE, func(d *jobsv1.Damage) { d.BodyDiameterMm = &body })
}

func halfMoon(body float64) hurt {
	return broken(jobsv1.DamageKind_DAMAGE_KIND_HALF_MOON, func(d *jobsv1.Damage) { d.BodyDiameterMm = &body })
}

func star(spread float64, legs int32) hurt {
	return broken(jobsv1.DamageKind_DAMAGE_KIND_STAR_BREAK, func(d *jobsv1.Damage) {
		d.SpreadMm, d.LegCount, d.LongLegCount = &spread, &legs, proto.Int32(0)
	})
}

func combination(body, spread float64, legs int32) hurt {
	return broken(jobsv1.DamageKind_DAMAGE_KIND_COMBINATION_BREAK, func(d *jobsv1.Damage) {
		d.BodyDiameterMm, d.SpreadMm, d.LegCount, d.LongLegCount = &body, &spread, &legs, proto.Int32(0)
	})
}

func pit(diameter, depth float64) hurt {
	return broken(jobsv1.DamageKind_DAMAGE_KIND_SURFACE_PIT, func(d *jobsv1.Damage) {
		d.PitDiameterMm, d.PitDepthMm = &diameter, &depth
	})
}

func crack(length float64, edges int32) hurt {
	return broken(jobsv1.DamageKind_DAMAGE_KIND_CRACK, func(d *jobsv1.Damage) { d.CrackLengthMm, d.EdgesTouched = &length, &edges })
}

// saying adds the technician's words.
func (h hurt) saying(words string) hurt {
	h.Note = words
	return h
}

func (h hurt) declined(why string) hurt {
	h.Outcome = jobsv1.Outcome_OUTCOME_DECLINED
	return h.saying(why)
}

func (h hurt) spreads(what string) hurt {
	h.Outcome = jobsv1.Outcome_OUTCOME_SPREAD_DURING_REPAIR
	return h.saying(what)
}

// inSight puts it in front of the driver.
func (h hurt) inSight() hurt {
	h.isInSight = true
	return h
}

// damages invents places and readings, and gives when the last repair ended.
func (d *draft) damages(at time.Time) time.Time {
	for i, h := range d.breaks {
		damage := proto.CloneOf(h.Damage)
		d.measure(damage)
		d.locate(damage, i, h.isInSight)
		if damage.Outcome != jobsv1.Outcome_OUTCOME_DECLINED {
			damage.Process, at = process(d.rng, damage, at)
			if damage.Outcome == jobsv1.Outcome_OUTCOME_REPAIRED {
				damage.FinishedPitMm = proto.Float64(tenths(d.rng, 2.4, 4.2))
			}
		}
		if damage.Note == "" && d.rng.IntN(2) == 0 {
			damage.Note = pick(d.rng, remarks[damage.Kind])
		}
		d.Record.Damages = append(d.Record.Damages, damage)
	}
	return at
}

// measure adds the sizes that are always read.
func (d *draft) measure(damage *jobsv1.Damage) {
	damage.AgeDays = proto.Int32(int32(1 + d.rng.IntN(24)))
	if damage.PitDiameterMm == nil {
		damage.PitDiameterMm = proto.Float64(tenths(d.rng, 1.5, 4))
	}
	if damage.PitDepthMm == nil && d.rng.IntN(3) == 0 {
		damage.PitDepthMm = proto.Float64(tenths(d.rng, 0.4, 1.1))
	}
}

// locate puts breaks beside one another on the passenger's side, or in front of the driver.
func (d *draft) locate(damage *jobsv1.Damage, index int, isInSight bool) {
	g := d.Record.Glass
	reach := max(damage.GetBodyDiameterMm(), damage.GetSpreadMm(), damage.GetPitDiameterMm()) / 2
	across := 690 + float64(170*index+5*d.rng.IntN(9))
	up := float64(200 + 10*d.rng.IntN(40))
	switch {
	case isInSight:
		across, up = g.GetSteeringCentreMm()+float64(5*d.rng.IntN(17)-40), float64(320+10*d.rng.IntN(20))
	case damage.Kind == jobsv1.DamageKind_DAMAGE_KIND_CRACK && damage.GetEdgesTouched() > 0:
		across = g.GetWidthMm() - damage.GetCrackLengthMm()/2 // It comes in from the passenger's edge.
	}
	damage.Place = &jobsv1.PlaceOnGlass{FromDriverEdgeMm: &across, FromLowerEdgeMm: &up}
	damage.EdgeDistanceMm = proto.Float64(max(0, min(across, g.GetWidthMm()-across, up, g.GetHeightMm()-up)-reach))
	if damage.GetEdgesTouched() > 0 {
		damage.EdgeDistanceMm = proto.Float64(0)
	}
	if index > 0 {
		damage.RepairDistanceMm = proto.Float64(float64(125 + 5*d.rng.IntN(5)))
	}
}

// process invents the readings of one repair, all of them usual, and gives when it ended.
func process(rng *rand.Rand, damage *jobsv1.Damage, at time.Time) (*jobsv1.Process, time.Time) {
	p := &jobsv1.Process{StartTime: stamp(at), GlassTemperatureC: proto.Float64(tenths(rng, 16, 28)),
		IsDrilled: proto.Bool(false), IsPitFilled: proto.Bool(true), IsResinFilled: proto.Bool(true),
		HumidityPercent: proto.Int32(int32(34 + rng.IntN(40))), PitResinViscosityCp: proto.Int32(int32(600 + 50*rng.IntN(18))),
		ResinViscosityCp: proto.Int32(int32(50 + 5*rng.IntN(14)))}
	hasLegs := damage.GetLegCount() > 0 || damage.Kind == jobsv1.DamageKind_DAMAGE_KIND_CRACK
	if damage.Kind == jobsv1.DamageKind_DAMAGE_KIND_CRACK {
		p.ResinViscosityCp = proto.Int32(int32(20 + 5*rng.IntN(5)))
	}
	if hasLegs && rng.IntN(4) == 0 {
		p.IsDrilled, p.DrillDepthMm = proto.Bool(true), proto.Float64(tenths(rng, 0.8, 1.4))
		p.DrillReason = "no opening could be felt with the probe"
		at = at.Add(2 * time.Minute)
	}
	cycles := 1 + rng.IntN(2)
	if hasLegs {
		cycles++
	}
	for range cycles {
		vacuum, pressure := 60+10*rng.IntN(10), 150+10*rng.IntN(20)
		p.VacuumSeconds = append(p.VacuumSeconds, int32(vacuum))
		p.PressureSeconds = append(p.PressureSeconds, int32(pressure))
		at = at.Add(time.Duration(vacuum+pressure+20) * time.Second)
	}
	p.InjectionEndTime, p.CureStartTime = stamp(at), stamp(at.Add(time.Minute))
	outside, ofPit := 180+20*rng.IntN(11), 60+10*rng.IntN(9)
	p.CureOutsideSeconds, p.PitCureSeconds = proto.Int32(int32(outside)), proto.Int32(int32(ofPit))
	at = at.Add(time.Duration(60+outside+ofPit+240) * time.Second)
	p.EndTime = stamp(at)
	return p, at
}

// tenths gives a number with one decimal.
func tenths(rng *rand.Rand, low, high float64) float64 {
	return float64(int(low*10)+rng.IntN(int((high-low)*10)+1)) / 10
}

var remarks = map[jobsv1.DamageKind][]string{
	jobsv1.DamageKind_DAMAGE_KIND_BULLSEYE: {"Clean cone, took resin at once.",
		"Kept under tape since the stone hit; dry inside.", "Faint ring left in low sun, shown to the customer."},
	jobsv1.DamageKind_DAMAGE_KIND_HALF_MOON: {"Open side toward the roof.", "Wiper had been catching on it.",
		"Air worked out at the second pull."},
	jobsv1.DamageKind_DAMAGE_KIND_STAR_BREAK: {"One leg was slow to fill, flexed it with the probe.",
		"Legs closed to the tips, checked from inside.", "Warmed the longest leg a little before the second cycle."},
	jobsv1.DamageKind_DAMAGE_KIND_COMBINATION_BREAK: {"Filled the body first, then the legs.",
		"Two short legs not visible any more.", "Car washed the day before, dried it for ten minutes."},
	jobsv1.DamageKind_DAMAGE_KIND_SURFACE_PIT: {"Nothing below the pit.", "Polished flush, fingernail does not catch."},
	jobsv1.DamageKind_DAMAGE_KIND_CRACK: {"Stopped the end first.", "Closed from the tip toward the edge.",
		"Line still to be seen against a dark hood, told the customer."},
}
