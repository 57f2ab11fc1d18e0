package document_test

import (
	"fmt"
	"testing"
	"time"

	"cullet/adapters/payload"
	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/ident"
	"cullet/services/invoices"
	"cullet/services/jobs"
	"cullet/services/money"
	"cullet/services/payers"
	"cullet/services/pricing"
	"cullet/services/repairability"
	"cullet/services/tax"
)

// Everything below is an invented scenario: the shop, the payers and the people do not exist.

func usd(minor int64) money.Amount { return money.From(minor, "USD") }

func shop() access.Shop {
	return access.Shop{
		Name: "Harbourline Glass Repair (invented)",
		Address: access.Address{Street: "18 Quarry Lane", City: "Cincinnati", County: "Hamilton", State: "OH",
			PostalCode: "45202", CountryCode: "US"},
		RemitTo:   access.Address{Street: "Post Box 550", City: "Covington", State: "KY", PostalCode: "41011", CountryCode: "US"},
		Telephone: "+1 513 555 0142", TimeZone: "America/New_York", CurrencyCode: "USD", TaxNumber: "00-0000000",
		WarrantyText: "A repair that spreads within twelve months is repaired again without charge; where that is no longer " +
			"possible, its price is taken off the price of a new windshield. Invented wording, for this scenario only.",
	}
}

func agreement() pricing.Agreement {
	return pricing.Agreement{
		Key: "Lantern 2026-01", ValidFrom: "2026-01-01", Currency: "USD", First: usd(7995), Further: usd(1500),
		Crack: &pricing.CrackRates{Base: usd(9500), UpToMM: 150, StepMM: 25, PerStep: usd(1000)}, TripCharge: new(usd(2000)),
	}
}

// repair is one job of the scenario.
type repair struct {
	kinds  []repairability.Kind
	mobile bool
	vin    string
	unit   string
	plate  string
}

// line prices and taxes a job as the product does.
func priced(t testing.TB, r repair, payer payers.Payer, coverage payers.Coverage) (claims.Translation, jobs.Job) {
	t.Helper()
	record := jobs.Record{
		Vehicle: jobs.Vehicle{VIN: r.vin, Plate: r.plate, UnitNumber: r.unit}, TimeZone: "America/New_York",
		StartTime: time.Date(2026, 10, 20, 18, 5, 0, 0, time.UTC), FinishTime: time.Date(2026, 10, 20, 18, 42, 0, 0, time.UTC),
		Place: jobs.Place{IsMobile: r.mobile, Address: shop().Address},
	}
	for _, kind := range r.kinds {
		d := jobs.Damage{Damage: repairability.Damage{Kind: kind, Outcome: repairability.Repaired}}
		if kind == repairability.Crack {
			d.CrackLength = repairability.MM(140)
		}
		record.Damages = append(record.Damages, d)
	}
	job := jobs.Job{ID: "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69", Version: 1, Record: record}
	made, err := payload.Translator{Book: tax.Shipped()}.Translate(claims.Case{Shop: shop(), Job: job, Payer: payer, Coverage: coverage})
	if err != nil || len(made.Lines) == 0 {
		t.Fatalf("no lines: %v, %+v", err, made.Findings)
	}
	return made, job
}

func lantern() payers.Payer {
	return payers.Payer{ID: "01980f3e-0000-7000-8000-0000000000b1", Code: "lantern-mutual", Name: "Lantern Mutual (invented)",
		Kind: payers.Insurer, Profile: payers.Profile{IsMobileWorkPaid: true, Agreements: []pricing.Agreement{agreement()}}}
}

func draft() invoices.Draft {
	s := shop()
	return invoices.Draft{
		Kind: invoices.KindInvoice, Seller: invoices.SellerOf(s), RemitTo: invoices.RemitToOf(s),
		IssueDate: "2026-10-21", PaymentDays: 30, IssueTime: time.Date(2026, 10, 21, 1, 30, 0, 0, time.UTC),
	}
}

func (b *builder) add(t testing.TB, r repair, payer payers.Payer, coverage payers.Coverage, claim string) {
	made, job := priced(t, r, payer, coverage)
	for _, line := range made.Lines {
		b.Lines = append(b.Lines, invoices.Line{Line: line, ClaimNumber: claim,
			Job: ident.Job(fmt.Sprintf("job-%d", b.jobs)), Reference: invoices.ReferenceOf(job)})
	}
	b.jobs++
	b.PayerShare.Minor += made.Totals.PayerShare.Minor
	b.MotoristShare.Minor += made.Totals.MotoristShare.Minor
}

type builder struct {
	invoices.Draft
	jobs int
}

func (b *builder) issue(t testing.TB, sequence int64) invoices.Invoice {
	t.Helper()
	b.PayerShare.Currency, b.MotoristShare.Currency = "USD", "USD"
	i, _, err := invoices.Issue("shop", b.Draft, sequence)
	if err != nil {
		t.Fatal(err)
	}
	return i
}

// insured is one claim of an insurer with a deductible: two who pay.
func insured(t testing.TB) invoices.Invoice {
	b := builder{Draft: draft()}
	b.BillTo = invoices.Party{Name: "Lantern Mutual (invented)", Telephone: "+1 614 555 0119",
		Address: access.Address{Street: "200 Beacon Court", City: "Columbus", State: "OH", PostalCode: "43215", CountryCode: "US"}}
	b.PayerName, b.MotoristName, b.Payer = b.BillTo.Name, "Jordan Example (invented)", lantern().ID
	b.add(t, repair{kinds: []repairability.Kind{repairability.StarBreak, repairability.Bullseye}, mobile: true,
		vin: "1FTMW1T88MFA00001", plate: "ABC 1234"}, lantern(),
		payers.Coverage{Deductible: new(usd(2000)), DeductibleBasis: payers.Applies}, "C-000123")
	return b.issue(t, 7)
}

// cash is paid by the motorist on the spot.
func cash(t testing.TB) invoices.Invoice {
	b := builder{Draft: draft()}
	b.PaymentDays = 0
	b.BillTo = invoices.Party{Name: "Jordan Example (invented)"}
	b.MotoristName = b.BillTo.Name
	b.RemitTo = invoices.Party{}
	b.add(t, repair{kinds: []repairability.Kind{repairability.Crack}, vin: "1FTMW1T88MFA00001"},
		payers.Payer{Profile: payers.Profile{Agreements: []pricing.Agreement{agreement()}}}, payers.Coverage{}, "")
	return b.issue(t, 8)
}

// fleet is a month of one fleet: n jobs on one invoice.
func fleet(t testing.TB, n int) invoices.Invoice {
	b := builder{Draft: draft()}
	b.BillTo = invoices.Party{Name: "Northgate Parcel Fleet (invented)",
		Address: access.Address{Street: "1 Depot Road", City: "Dayton", State: "OH", PostalCode: "45402", CountryCode: "US"}}
	b.PayerName, b.PurchaseOrder, b.Payer = b.BillTo.Name, "PO-7710", "01980f3e-0000-7000-8000-0000000000b2"
	payer := lantern()
	payer.Kind = payers.Fleet
	kinds := []repairability.Kind{repairability.StarBreak, repairability.Bullseye, repairability.HalfMoon, repairability.CombinationBreak, repairability.Crack}
	for k := range n {
		b.add(t, repair{kinds: kinds[k%len(kinds) : k%len(kinds)+1], mobile: k%3 == 0, unit: fmt.Sprint(100 + k),
			vin: fmt.Sprintf("1FTMW1T88MFA%05d", k+1)}, payer, payers.Coverage{}, fmt.Sprintf("C-%06d", 200+k))
	}
	return b.issue(t, 9)
}

// credited takes the first invoice back.
func credited(t testing.TB) invoices.Invoice {
	original := insured(t)
	b := builder{Draft: draft()}
	b.Kind, b.Credits, b.CreditsNumber = invoices.KindCreditNote, original.ID, original.Number
	b.CreditReason = "billed to the wrong payer"
	b.BillTo, b.Payer, b.Lines, b.PaymentDays = original.BillTo, original.Payer, original.Lines, 0
	b.PayerShare, b.MotoristShare = original.Receivables[0].Amount, original.Receivables[1].Amount
	return b.issue(t, 1)
}

// exempt is billed to a government garage: no tax, and the paper says why.
func exempt(t testing.TB) invoices.Invoice {
	b := builder{Draft: draft()}
	b.BillTo = invoices.Party{Name: "County Garage (invented)",
		Address: access.Address{Street: "4 Works Yard", City: "Cincinnati", State: "OH", PostalCode: "45202", CountryCode: "US"}}
	b.PayerName, b.PurchaseOrder, b.Payer = b.BillTo.Name, "PO-31", "01980f3e-0000-7000-8000-0000000000b3"
	payer := lantern()
	payer.Kind = payers.Government
	payer.Profile.Buyer = tax.Buyer{Status: tax.ExemptGovernment, Certificate: &tax.Certificate{
		Number: "OH-EX-1", Jurisdiction: "US-OH", Reason: "government", ValidFrom: "2026-01-01"}}
	payer.Profile.Agreements[0].DiscountBasisPoints = 250
	b.add(t, repair{kinds: []repairability.Kind{repairability.HalfMoon}, vin: "1FTMW1T88MFA00001", unit: "17"}, payer, payers.Coverage{}, "C-000150")
	return b.issue(t, 10)
}
