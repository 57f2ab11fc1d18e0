package payload

import (
	"fmt"
	"slices"
	"time"

	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/jobs"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/repairability"
	"cullet/services/tax"
)

// write puts the case and what was computed of it into the payload's form.
func write(c claims.Case, made claims.Translation, taxed tax.Result, deductible Deductible) Claim {
	record := c.Job.Record
	return Claim{
		Schema: SchemaName, ClaimNumber: c.ClaimNumber, InvoiceNumber: c.InvoiceNumber,
		InvoiceDate: Date(c.InvoiceDate), IsPreview: c.ClaimNumber == "", Service: Service,
		Shop: Shop{
			Name: c.Shop.Name, Address: Address(c.Shop.Address), Telephone: c.Shop.Telephone,
			TaxNumber: c.Shop.TaxNumber, RemitTo: Address(c.Shop.RemitTo),
		},
		Payer: Payer{Code: c.Payer.Code, Name: c.Payer.Name, Kind: string(c.Payer.Kind)},
		Job:   writeJob(c),
		Vehicle: Vehicle{
			VIN: record.Vehicle.VIN, Plate: record.Vehicle.Plate, PlateRegion: record.Vehicle.PlateRegion,
			UnitNumber: record.Vehicle.UnitNumber, IsCommercial: record.Vehicle.IsCommercial,
			OdometerKM: record.Vehicle.OdometerKM,
		},
		Glass:   writeGlass(record.Glass),
		Damages: writeDamages(c.Job),
		Photos:  writePhotos(c),
		Motorist: Motorist{
			Name: record.Motorist.Name, Telephone: record.Motorist.Telephone,
			Address: Address(record.Motorist.Address),
		},
		Coverage:   writeCoverage(c.Coverage),
		Deductible: deductible,
		Lines:      writeLines(made.Lines),
		Tax:        writeTax(taxed),
		Totals:     Totals(made.Totals),
		Cautions:   []string{repairability.Caution, tax.AdviserCaution},
	}
}

func writeJob(c claims.Case) Job {
	record := c.Job.Record
	// What is not mobile was done in the shop; a record need not repeat the shop's address.
	place := record.Place.Address
	if !record.Place.IsMobile && place.IsZero() {
		place = c.Shop.Address
	}
	return Job{
		JobID: string(c.Job.ID), Version: c.Job.Version, ExternalReference: record.ExternalReference,
		RepairDate: Date(record.RepairDate()), StartTime: instant(record.StartTime),
		FinishTime: instant(record.FinishTime), TimeZone: record.TimeZone, Technician: record.Technician,
		Place:                Place{IsMobile: record.Place.IsMobile, Address: Address(place)},
		WarrantyOf:           string(record.WarrantyOf),
		WorkAuthorization:    writeSignature(record.WorkAuthorization),
		PaymentAuthorization: writeSignature(record.PaymentAuthorization),
	}
}

func writeSignature(s jobs.Signature) Signature {
	return Signature{SignedBy: s.SignedBy, SignTime: instant(s.SignTime)}
}

func writePhotos(c claims.Case) []Photo {
	all := make([]Photo, len(c.Job.Record.Photos))
	for i, reference := range c.Job.Record.Photos {
		all[i] = Photo{
			Hash: string(reference.Hash), Kind: string(reference.Kind), DamageNumber: reference.DamageNumber,
		}
		known, ok := c.Photos[reference.Hash]
		if !ok {
			continue
		}
		all[i].MediaType, all[i].SizeBytes = known.MediaType, known.SizeBytes
		all[i].TakeTime = maybeInstant(known.TakeTime)
	}
	return all
}

func writeCoverage(c payers.Coverage) Coverage {
	return Coverage{
		PolicyNumber: c.PolicyNumber, PolicyState: c.PolicyState, InsuredName: c.InsuredName,
		DateOfLoss: Date(c.DateOfLoss), CauseOfLoss: c.CauseOfLoss, LossState: c.LossState,
		LossReference: c.LossReference,
		Authorization: Authorization{
			Number: c.Authorization.Number, GivenBy: c.Authorization.GivenBy,
			GiveTime: maybeInstant(c.Authorization.GiveTime), ValidTo: Date(c.Authorization.ValidTo),
			RepairsAllowed: c.Authorization.RepairsAllowed,
		},
		PurchaseOrder: c.PurchaseOrder, CostCentre: c.CostCentre,
	}
}

func writeLines(lines []claims.Line) []Line {
	all := make([]Line, len(lines))
	for i, l := range lines {
		all[i] = Line{
			Number: i + 1, Kind: string(l.Kind), Description: l.Description, Quantity: l.Quantity,
			UnitPrice: l.UnitPrice, Amount: l.Amount, PriceReason: l.Because, Tax: l.Tax,
			Taxes: make([]LineTax, len(l.Taxes)),
		}
		if l.DamageIndex != pricing.NoDamage {
			all[i].DamageNumber = l.DamageIndex + 1
		}
		for j, t := range l.Taxes {
			all[i].Taxes[j] = LineTax{
				JurisdictionCode: t.JurisdictionCode, JurisdictionName: t.JurisdictionName,
				Level: string(t.Level), Basis: t.Basis, Rate: t.Rate, Tax: t.Tax,
				Treatment: string(t.Treatment), Rule: t.Rule, Sentence: t.Sentence,
			}
		}
	}
	return all
}

func writeSource(s finding.Source) Source {
	return Source{Citation: s.Citation, Known: string(s.Known), ReadOn: Date(s.ReadOn)}
}

// writeTax puts the sources of rules and rates beside the sums, once each: they are the longest
// texts of a claim and the same for every line.
func writeTax(taxed tax.Result) Tax {
	written := Tax{
		Jurisdictions: make([]Jurisdiction, len(taxed.Totals)), Rules: []Rule{}, Rounding: taxed.Rounding,
	}
	for i, t := range taxed.Totals {
		written.Jurisdictions[i] = Jurisdiction{
			Code: t.JurisdictionCode, Name: t.JurisdictionName, Level: string(t.Level), Rate: t.Rate,
			Taxed: t.Taxed, NotTaxed: t.NotTaxed, Tax: t.Tax,
		}
	}
	for _, line := range taxed.Lines {
		for i := range line.Components {
			written.addSources(&line.Components[i])
		}
	}
	return written
}

func (t *Tax) addSources(c *tax.Component) {
	for i := range t.Jurisdictions {
		j := &t.Jurisdictions[i]
		if j.Code == c.JurisdictionCode && j.Rate == c.Rate && j.RateSource == (Source{}) {
			j.RateSource = writeSource(c.RateSource)
		}
	}
	if !slices.ContainsFunc(t.Rules, func(r Rule) bool { return r.Code == c.Rule }) {
		t.Rules = append(t.Rules, Rule{Code: c.Rule, Source: writeSource(c.Source)})
	}
}

// instant writes a moment in UTC; the zero time is nothing.
func instant(t time.Time) Instant {
	if t.IsZero() {
		return ""
	}
	return Instant(t.UTC().Format(time.RFC3339Nano))
}

func maybeInstant(t *time.Time) Instant {
	if t == nil {
		return ""
	}
	return instant(*t)
}

func millimetres(l *repairability.Length) Millimetres {
	if l == nil {
		return ""
	}
	return Millimetres(l.String())
}

// celsius writes tenths of a degree as decimal text.
func celsius(t *repairability.Temperature) Celsius {
	if t == nil {
		return ""
	}
	sign, tenths := "", int64(*t)
	if tenths < 0 {
		sign, tenths = "-", -tenths
	}
	if tenths%10 == 0 {
		return Celsius(fmt.Sprintf("%s%d", sign, tenths/10))
	}
	return Celsius(fmt.Sprintf("%s%d.%d", sign, tenths/10, tenths%10))
}
