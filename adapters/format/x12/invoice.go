package x12

import (
	"strconv"
	"strings"

	"cullet/services/claims"
	"cullet/services/money"
	"cullet/services/payers"
)

// The lengths of elements. N102 after a public map (azoner/pyx12); the others are from memory and
// are the shorter ones of release 004010.
const (
	maxInvoiceNumber = 22 // BIG02, BIG04
	maxReference     = 30 // REF02
	maxName          = 60 // N102
	maxCode          = 80 // N104
	maxStreet        = 55 // N301
	maxCity          = 30 // N402
	maxPostalCode    = 15 // N403
	maxRegion        = 30 // N406
	maxTelephone     = 80 // PER04
	maxDescription   = 80 // PID05, SAC15
	maxAllowances    = 25 // SAC
)

// The qualifiers of REF: from memory, and partners' guides differ.
const (
	refClaim         = "VN" // the shop's own number
	refLoss          = "D9" // the payer's number of the loss
	refPolicy        = "IG"
	refAuthorization = "BB"
	refVehicle       = "VT"
	refPlate         = "LV"
	refUnit          = "EQ"
	refCostCentre    = "DP"
	refTaxNumber     = "TJ"
)

func interchangeVersion(v payers.X12Version) string { return string(v[:5]) }

// set writes the 810 of one claim.
func (w *writer) set(e claims.Envelope, position int, f claims.Frozen, from *source) {
	if err := from.read(f.Payload); err != nil || string(from.ClaimNumber) != f.Number || !w.isDraft && f.Number == "" {
		w.fault("payload", "BATCH_PAYLOAD", "the payload is not a frozen payload of claim %q", f.Number)
		return
	}
	if w.isDraft {
		from.InvoiceNumber, from.InvoiceDate = append(from.InvoiceNumber[:0], "INV-000000"...), append(from.InvoiceDate[:0], "2000-01-01"...)
		if f.Number == "" {
			from.ClaimNumber = append(from.ClaimNumber[:0], "C-000000"...)
		}
	}
	w.agree(f, from)
	w.invoice(e, position, from)
}

// agree holds the sums of the payload against each other and against what the batch asks for.
func (w *writer) agree(f claims.Frozen, from *source) {
	t := &from.Totals
	sum := t.Tax.Minor
	for i := range from.Lines {
		line := &from.Lines[i]
		sum += line.Amount.Minor
		if line.Quantity*line.UnitPrice.Minor != line.Amount.Minor {
			w.fault("lines["+strconv.Itoa(i)+"].amount", "BATCH_SUM", "%d times %s is not %s", line.Quantity, line.UnitPrice, line.Amount)
		}
	}
	switch digits, ok := money.Digits(t.Total.Currency); {
	case !ok || digits != 2:
		w.fault("totals.total", "X12_CURRENCY", "an 810 carries hundredths, and %q has none", t.Total.Currency)
	case t.PayerShare != f.PayerShare, sum != t.Total.Minor, t.Total.Minor-t.MotoristShare.Minor != t.PayerShare.Minor:
		w.fault("totals", "BATCH_SUM", "lines and tax sum to %d, the total is %d, the motorist's share %d and the payer's %d (asked for: %d): "+
			"they do not agree", sum, t.Total.Minor, t.MotoristShare.Minor, t.PayerShare.Minor, f.PayerShare.Minor)
	case t.PayerShare.Minor < 0:
		w.fault("totals.payer_share", "X12_CREDIT", "the payer is asked for %s; an invoice asks for nothing less than zero", t.PayerShare)
	}
	if len(from.InvoiceNumber) == 0 || len(from.InvoiceDate) == 0 {
		w.fault("invoice_number", "X12_INVOICE", "the claim has no invoice; an 810 is one, so the claim is released first")
	}
}

// invoice writes the segments from ST to SE.
func (w *writer) invoice(e claims.Envelope, position int, from *source) {
	w.segments = 0
	w.start("ST")
	w.code("810")
	w.setNumber(position)
	w.end()
	w.start("BIG")
	w.date("invoice_date", from.InvoiceDate)
	w.id("invoice_number", from.InvoiceNumber, maxInvoiceNumber)
	w.none()
	w.id("coverage.purchase_order", from.Coverage.PurchaseOrder, maxInvoiceNumber)
	w.skip(2)
	w.code("DI")
	w.end()
	w.start("CUR")
	w.code("SE")
	w.code(from.Totals.Total.Currency)
	w.end()
	w.references(from)
	w.parties(e, from)
	w.day("472", "job.repair_date", from.Job.RepairDate)
	w.day("439", "coverage.date_of_loss", from.Coverage.DateOfLoss)
	w.amounts(from)
	w.start("SE")
	w.number(int64(w.segments))
	w.setNumber(position)
	w.end()
}

// setNumber writes the place of the set in the group, from 0001.
func (w *writer) setNumber(position int) {
	w.next()
	n := position + 1
	for at := 1000; at > n && at > 1; at /= 10 {
		w.out = append(w.out, '0')
	}
	w.out = strconv.AppendInt(w.out, int64(n), 10)
}

func (w *writer) references(from *source) {
	w.ref(refClaim, "claim_number", from.ClaimNumber)
	w.ref(refPolicy, "coverage.policy_number", from.Coverage.PolicyNumber)
	w.ref(refLoss, "coverage.loss_reference", from.Coverage.LossReference)
	w.ref(refAuthorization, "coverage.authorization.number", from.Coverage.Authorization.Number)
	w.ref(refVehicle, "vehicle.vin", from.Vehicle.VIN)
	w.ref(refPlate, "vehicle.plate", from.Vehicle.Plate)
	w.ref(refUnit, "vehicle.unit_number", from.Vehicle.UnitNumber)
	w.ref(refCostCentre, "coverage.cost_centre", from.Coverage.CostCentre)
}

func (w *writer) ref(qualifier, path string, value []byte) {
	if len(value) == 0 {
		return
	}
	w.start("REF")
	w.code(qualifier)
	w.id(path, value, maxReference)
	w.end()
}

func (w *writer) day(qualifier, path string, day []byte) {
	if len(day) == 0 {
		return
	}
	w.start("DTM")
	w.code(qualifier)
	w.date(path, day)
	w.end()
}

// parties writes who asks, who is asked, where the money goes, who is insured and where the work
// was done.
func (w *writer) parties(e claims.Envelope, from *source) {
	if !w.isFinal && Spell(e.ShopName, w.isBasic) == "" {
		w.fault("shop_name", "X12_NAME", "%.60q has no character that X12 carries", e.ShopName)
	}
	w.start("N1")
	w.code("SE")
	w.name("shop_name", []byte(e.ShopName), maxName)
	w.end()
	w.place(&from.Shop.Address)
	w.ref(refTaxNumber, "shop.tax_number", from.Shop.TaxNumber)
	if len(from.Shop.Telephone) > 0 {
		w.start("PER")
		w.code("IC")
		w.none()
		w.code("TE")
		w.words(from.Shop.Telephone, 1, maxTelephone)
		w.end()
	}
	if from.Shop.RemitTo.isSet() {
		w.start("N1")
		w.code("RE")
		w.name("shop_name", []byte(e.ShopName), maxName)
		w.end()
		w.place(&from.Shop.RemitTo)
	}
	if e.PayerCode == "" {
		w.fault("payer_code", "ENVELOPE_TEXT", "the payer has no code")
	}
	w.start("N1")
	w.code("BT")
	w.name("payer.name", from.Payer.Name, maxName)
	w.code("91")
	w.payerCode(e.PayerCode)
	w.end()
	if len(w.spell(from.Coverage.InsuredName)) > 0 {
		w.start("N1")
		w.code("IL")
		w.name("coverage.insured_name", from.Coverage.InsuredName, maxName)
		w.end()
	}
	if from.Job.Place.IsMobile && from.Job.Place.Address.isSet() {
		w.start("N1")
		w.code("ST")
		w.code("PLACE OF REPAIR")
		w.end()
		w.place(&from.Job.Place.Address)
	}
}

// payerCode writes the shop's code of the payer, which has small letters; the basic set has none.
func (w *writer) payerCode(code string) {
	if strings.ToLower(code) != code {
		w.fault("payer_code", "ENVELOPE_TEXT", "%.60q is no code of a payer; they have no capitals", code)
	}
	if !w.isBasic {
		w.id("payer_code", []byte(code), maxCode)
		return
	}
	w.id("payer_code", appendSpelled(nil, []byte(code), true), maxCode)
}

// place writes an address.
func (w *writer) place(a *address) {
	if len(w.spell(a.Street)) > 0 {
		w.start("N3")
		w.words(a.Street, 1, maxStreet)
		w.end()
	}
	if !a.isSet() {
		return
	}
	begin := len(w.out)
	w.start("N4")
	w.words(a.City, 2, maxCity)
	isCode := len(w.spell(a.State)) == 2
	if isCode {
		w.words(a.State, 2, 2)
	} else {
		w.none()
	}
	w.words(a.PostalCode, 3, maxPostalCode)
	w.words(a.CountryCode, 2, 3)
	if !isCode && len(w.spell(a.State)) > 0 {
		w.code("SP")
		w.words(a.State, 1, maxRegion)
	}
	if len(w.out) == begin+len("N4") { // nothing of it can be written, and no segment is empty
		w.out = w.out[:begin]
		w.segments--
		return
	}
	w.end()
}
