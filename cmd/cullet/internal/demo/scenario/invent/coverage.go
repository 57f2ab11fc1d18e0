package invent

import (
	"fmt"
	"slices"
	"time"

	payersv1 "cullet/proto/cullet/payers/v1"
)

// The payers, by the shop's own codes.
const (
	lantern = "lantern-mutual"
	quarry  = "quarry-casualty"
	fernway = "fernway-insurance"
	oldMill = "old-mill-indemnity"
	tannery = "tannery-freight"
	parks   = "franklin-parks"
)

func isInsurer(code string) bool {
	return slices.Contains([]string{lantern, quarry, fernway, oldMill}, code)
}

// coverage invents who pays, complete for what the payer demands.
func (d *draft) coverage() *payersv1.Coverage {
	switch {
	case d.payer == "":
		return nil
	case d.payer == tannery:
		return &payersv1.Coverage{PayerCode: tannery, PurchaseOrder: fmt.Sprintf("TF-%05d", 41_000+d.rng.IntN(900)),
			CostCentre: pick(d.rng, []string{"Columbus yard", "Dayton yard", "Riverside yard"})}
	case d.payer == parks:
		return &payersv1.Coverage{PayerCode: parks, PurchaseOrder: fmt.Sprintf("FP-2026-%04d", 300+d.rng.IntN(90)),
			CostCentre: "grounds"}
	}
	c := &payersv1.Coverage{PayerCode: d.payer, InsuredName: d.Record.Motorist.Name,
		DateOfLoss: d.day(-int(d.Record.Damages[0].GetAgeDays())), LossState: "OH", PolicyState: "OH",
		CauseOfLoss: pick(d.rng, []string{"ROAD_DEBRIS", "ROAD_DEBRIS", "ROAD_DEBRIS", "WEATHER", "UNKNOWN"})}
	if d.at.state == "KY" {
		c.LossState, c.PolicyState = "KY", "KY"
		c.DeductibleBasis = payersv1.DeductibleBasis_DEDUCTIBLE_BASIS_STATUTE // KRS 304.20-060.
	}
	switch d.payer {
	case lantern:
		c.PolicyNumber = fmt.Sprintf("LM-%02d-%06d", 19+d.rng.IntN(8), 100_000+d.rng.IntN(800_000))
		c.Authorization = d.authorization(lanternNumber(d.slug))
	case quarry:
		c.PolicyNumber = fmt.Sprintf("QC%08d", 10_000_000+d.rng.IntN(80_000_000))
		c.LossReference = fmt.Sprintf("QL-%06d", 200_000+d.rng.IntN(90_000))
		if c.DeductibleBasis == 0 {
			c.DeductibleBasis = payersv1.DeductibleBasis_DEDUCTIBLE_BASIS_ENDORSEMENT
		}
	case oldMill:
		c.PolicyNumber = fmt.Sprintf("OM %04d %04d", d.rng.IntN(10_000), d.rng.IntN(10_000))
		c.Authorization = d.authorization(fmt.Sprintf("OMA-%05d", 10_000+hashOf(d.slug)%90_000))
	case fernway:
		c.PolicyNumber = fmt.Sprintf("FW%06d-%d", d.rng.IntN(1_000_000), 1+d.rng.IntN(4))
		if d.at.state == "KY" {
			c.LossReference = fmt.Sprintf("FWL%05d", 10_000+d.rng.IntN(90_000))
		}
	}
	return c
}

// lanternNumber is the authorization number of a visit; another visit may wrongly use it too.
func lanternNumber(slug string) string { return fmt.Sprintf("A%07d", 1_000_000+hashOf(slug)%9_000_000) }

func (d *draft) authorization(number string) *payersv1.Authorization {
	return &payersv1.Authorization{Number: number, GivenBy: pick(d.rng, []string{"Ms. Abernauld", "Desmond at the desk", "Mr. Okoru",
		"Priya, glass desk", "Lowell"}), GiveTime: stamp(d.start.Add(-time.Duration(25+d.rng.IntN(180)) * time.Minute)),
		ValidTo: d.day(30), RepairsAllowed: int32(max(len(d.breaks), 2))}
}
