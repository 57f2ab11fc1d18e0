package claims

import (
	"slices"
	"strings"
	"testing"

	"cullet/services/finding"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

// measuredBreak is a case with one damage in which every reading was taken, assessed by the shop's
// standard as a record is.
func measuredBreak(d repairability.Damage) Case {
	mm := repairability.MM
	c := sound()
	d.Layer, d.Contamination, d.Cause, d.Outcome = repairability.OuterLayer, repairability.NoContamination, repairability.Impact, repairability.Repaired
	d.InCameraArea, d.OverFeature, d.EdgesTouched, d.FinishedPit = repairability.No, repairability.No, new(0), mm(1)
	c.Job.Record.Glass = repairability.Glass{Width: mm(1500), Height: mm(800), DriverSide: repairability.Left, WiperTop: mm(700),
		SteeringCentre: mm(400), SteeringTop: mm(100), SoldAlready: repairability.Yes, EarlierRepairs: new(0), DriverAssistance: repairability.No}
	c.Job.Record.Damages[0].Damage = d
	c.Job.Assessments, _ = jobs.Assess(&c.Job.Record, c.Shop.StandardKey, jobs.Ranges(nil))
	return c
}

// TestThePayersStandardDecides: the same break is within the shop's standard and over the one that a
// payer demands; without a demand the shop's decides, and what it comes to names its edition.
func TestThePayersStandardDecides(t *testing.T) {
	t.Parallel()
	at := &repairability.Place{FromDriverEdge: 400 * repairability.Millimetre, FromLowerEdge: 400 * repairability.Millimetre}
	bullseye := repairability.Damage{Kind: repairability.Bullseye, BodyDiameter: repairability.MM(24), PitDiameter: repairability.MM(1), Place: at}
	beside := &repairability.Place{FromDriverEdge: 1200 * repairability.Millimetre, FromLowerEdge: 400 * repairability.Millimetre}
	crack := repairability.Damage{Kind: repairability.Crack, CrackLength: repairability.MM(200), Place: beside}
	for _, c := range []struct {
		name, shop, payer string
		damage            repairability.Damage
		named             string // in the sentence of the finding; empty for no finding
	}{
		{"the shop's own", "ROLAGS", "", bullseye, ""},
		{"no standard chosen", "", "", bullseye, ""},
		{"the payer demands what the shop works to", "ROLAGS", "ROLAGS", bullseye, ""},
		{"the payer demands the British text", "ROLAGS", "BS-AU-242", bullseye, "BS AU 242b 2022"},
		{"the shop works to the British text", "BS-AU-242", "", bullseye, "BS AU 242b 2022"},
		{"the payer demands the American text", "BS-AU-242", "ROLAGS", bullseye, ""},
		{"a crack by today's edition", "ROLAGS", "", crack, ""},
		{"a crack by an edition that a payer still demands", "ROLAGS", "ROLAGS-2009", crack, "2009, damage of 6 inches or less"},
	} {
		about := measuredBreak(c.damage)
		about.Shop.StandardKey, about.Payer.Profile.StandardKey = c.shop, c.payer
		found := slices.DeleteFunc(Check(about, Translation{}), func(f finding.Finding) bool { return f.Code != "DAMAGE-NOT-REPAIRABLE" })
		if (len(found) == 1) != (c.named != "") || len(found) == 1 && !strings.Contains(found[0].Sentence, c.named) {
			t.Errorf("%s: Check found %v, want one that names %q", c.name, found, c.named)
		}
	}
}

// TestAStandardThatDidNotStand: what the payer demands has to have stood on the day of repair.
func TestAStandardThatDidNotStand(t *testing.T) {
	t.Parallel()
	about := sound()
	about.Payer.Profile.StandardKey = "BS-AU-242"
	about.Job.Record.FinishTime = about.Job.Record.FinishTime.AddDate(-40, 0, 0)
	if found := codes(Check(about, Translation{})); !slices.Contains(found, "DAMAGE-STANDARD-UNKNOWN") {
		t.Errorf("Check found %v, want DAMAGE-STANDARD-UNKNOWN", found)
	}
}
