package payload

import (
	"fmt"
	"strings"

	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/jobs"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/repairability"
)

// price makes the lines of the case by the payer's agreement of the day of repair. A repair that
// repeats another under warranty has lines of zero and needs no agreement.
func price(c claims.Case) ([]pricing.Line, []finding.Finding) {
	if c.Job.Record.WarrantyOf != "" {
		return freeOfCharge(c), nil
	}
	found := crackLengths(c.Job.Record.Damages)
	lines, more := pricing.Price(priceRequest(c))
	for _, f := range more {
		f.Path = pricePath(f.Path)
		found = append(found, f)
	}
	if finding.HasStop(found) {
		return nil, found
	}
	return lines, append(found, agreementDoubts(c)...)
}

func priceRequest(c claims.Case) pricing.Request {
	record := c.Job.Record
	request := pricing.Request{
		Agreements: c.Payer.Profile.Agreements,
		On:         record.RepairDate(),
		Mobile:     record.Place.IsMobile && (c.Payer.Profile.IsMobileWorkPaid || isSelfPaid(c)),
	}
	for i, d := range record.Damages {
		request.Repairs = append(request.Repairs, pricing.Repair{
			DamageIndex:   i,
			Kind:          string(d.Kind),
			CrackLengthMM: wholeMillimetres(d),
			Outcome:       pricing.Outcome(d.Outcome),
			// NoMaterials stays false: no field of the record states it, and it is never assumed.
		})
	}
	return request
}

// wholeMillimetres gives the length of a crack rounded up, and zero for every other damage: the
// legs of a star break make it no crack.
func wholeMillimetres(d jobs.Damage) int {
	if d.Kind != repairability.Crack || d.CrackLength == nil || *d.CrackLength <= 0 {
		return 0
	}
	return int((*d.CrackLength + repairability.Millimetre - 1) / repairability.Millimetre)
}

// crackLengths stops a crack that was worked on and not measured: without its length it would be
// billed as a chip.
func crackLengths(damages []jobs.Damage) []finding.Finding {
	var found []finding.Finding
	for i, d := range damages {
		if d.Kind != repairability.Crack || d.Outcome == repairability.Declined || wholeMillimetres(d) > 0 {
			continue
		}
		found = append(found, finding.Finding{
			Code: "DAMAGE-CRACK-LENGTH", Severity: finding.Stop,
			Path:     fmt.Sprintf("job.damages[%d].crack_length_mm", i),
			Sentence: fmt.Sprintf("Damage %d is a crack without a length; cracks are paid by their length.", i+1),
			Fix:      "Amend the job with the length of the crack in millimetres.",
			Source:   ownSource,
		})
	}
	return found
}

// agreementDoubts tells where the payer's profile and its agreement of the day do not fit.
func agreementDoubts(c claims.Case) []finding.Finding {
	profile, on := c.Payer.Profile, c.Job.Record.RepairDate()
	var found []finding.Finding
	for i, a := range profile.Agreements {
		if on < a.ValidFrom || (a.ValidTo != "" && on > a.ValidTo) {
			continue
		}
		if isUnpaidTrip(c, profile, a) {
			found = append(found, finding.Finding{
				Code: "PAYER-TRIP-CONTRADICTED", Severity: finding.Caution, Path: "payer.profile.is_mobile_work_paid",
				Sentence: fmt.Sprintf("The van went to the vehicle and agreement %q has a trip charge of %s, "+
					"but the profile says that mobile work is not paid; it is not billed.", a.Key, *a.TripCharge),
				Fix:    "If the payer pays for mobile work, say so in its profile; else remove the trip charge.",
				Source: ownSource,
			})
		}
		if len(a.VolumeSteps) > 0 {
			found = append(found, finding.Finding{
				Code: "PAYER-VOLUME-NOT-COUNTED", Severity: finding.Caution,
				Path: fmt.Sprintf("payer.profile.agreements[%d].volume_steps", i),
				Sentence: fmt.Sprintf("Agreement %q has prices by volume, and the repairs of the period are "+
					"not counted: the prices are those of the first step.", a.Key),
				Fix:    "Compare the prices with the number of repairs that were billed in the period.",
				Source: ownSource,
			})
		}
	}
	return found
}

func isUnpaidTrip(c claims.Case, profile payers.Profile, a pricing.Agreement) bool {
	return c.Job.Record.Place.IsMobile && a.TripCharge != nil && !profile.IsMobileWorkPaid && !isSelfPaid(c)
}

// freeOfCharge makes one line of zero for each damage that was worked on, so that the paper shows
// what was done and that nothing is asked for it.
func freeOfCharge(c claims.Case) []pricing.Line {
	record := c.Job.Record
	zero := money.From(0, c.Shop.CurrencyCode)
	lines := []pricing.Line{}
	for i, d := range record.Damages {
		if d.Outcome == repairability.Declined {
			continue
		}
		lines = append(lines, pricing.Line{
			ID: len(lines) + 1, Kind: pricing.RepairLabor, DamageIndex: i,
			Description: inWords(string(d.Kind)) + " repaired again under warranty",
			Quantity:    1, UnitPrice: zero, Amount: zero, MaterialsPart: zero,
			Because: fmt.Sprintf("warranty of job %s: no charge", record.WarrantyOf),
		})
	}
	return lines
}

// inWords turns "STAR_BREAK" into "Star break".
func inWords(code string) string {
	if code == "" {
		return "Damage"
	}
	return code[:1] + strings.ToLower(strings.ReplaceAll(code[1:], "_", " "))
}
