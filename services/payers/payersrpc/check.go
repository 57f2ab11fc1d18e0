package payersrpc

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"

	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/payers"
	"cullet/services/tax"
)

var codeForm = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,59}$`)

const maxName = 200

// faultList collects faults under a prefix.
type faultList struct {
	prefix string
	all    []errs.Field
}

func (f *faultList) add(path, reason, message string, args ...any) {
	f.all = append(f.all, errs.Field{Path: rpc.Join(f.prefix, path), Reason: reason, Message: fmt.Sprintf(message, args...)})
}

func checkNames(req *payersv1.CreatePayerRequest) []errs.Field {
	var f faultList
	if code := req.GetCode(); code != "" && !codeForm.MatchString(code) {
		f.add("code", "FORM", "%q was given; allowed are 1 to 60 lower case letters, digits and hyphens, a letter or "+
			"digit first: \"lantern-mutual\"", code)
	}
	if n := len([]rune(req.GetName())); n > maxName {
		f.add("name", "TOO_LARGE", "%d characters were given and at most %d are allowed; shorten the name", n, maxName)
	}
	return f.all
}

// checkProfile gives every fault of a profile except those of its prices.
func (s *Server) checkProfile(path string, m *payersv1.PayerProfile, p payers.Profile) []errs.Field {
	f := faultList{prefix: path, all: rpc.Validate(path, p)}
	s.checkFieldNames(&f, p)
	s.checkReadings(&f, p.Readings)
	checkPattern(&f, "policy_number_pattern", p.PolicyNumberPattern)
	checkPattern(&f, "authorization_number_pattern", p.AuthorizationNumberPattern)
	oneOf(&f, "format", p.Format, s.Formats)
	oneOf(&f, "channel", p.Channel, s.Channels)
	oneOf(&f, "standard_key", p.StandardKey, s.Standards)
	checkForm(&f, p)
	checkBuyer(&f, m)
	checkAgreements(&f, m.GetPriceAgreements())
	return f.all
}

// checkReach wants to know how a payer is reached; nothing is ever sent to the motorist.
func checkReach(path string, kind payers.Kind, p payers.Profile) []errs.Field {
	f := faultList{prefix: path}
	if kind == payers.Motorist {
		return nil
	}
	for _, field := range []struct{ name, given string }{{"format", p.Format}, {"channel", p.Channel}, {"address", p.Address}} {
		if field.given == "" {
			f.add(field.name, "REQUIRED", "nothing was given; say how claims reach this payer")
		}
	}
	if p.Channel == "sftp" && len(p.HostKeys) == 0 {
		f.add("host_keys", "REQUIRED", "nothing was given and the payer's server is known by its host key; ask the payer for it")
	}
	return f.all
}

// oneOf refuses a name that is not on the list; an empty one is somebody else's to judge.
func oneOf(f *faultList, path, given string, allowed []string) {
	if given != "" && !slices.Contains(allowed, given) {
		f.add(path, "UNKNOWN_VALUE", "%q was given; allowed are %s", given, strings.Join(slices.Sorted(slices.Values(allowed)), ", "))
	}
}

func (s *Server) checkFieldNames(f *faultList, p payers.Profile) {
	known := slices.Sorted(maps.Keys(s.CoverageFields))
	for i, name := range p.RequiredFields {
		if !s.CoverageFields[name] {
			f.add(fmt.Sprintf("required_fields[%d]", i), "UNKNOWN_VALUE", "%q was given; allowed are %s", name,
				strings.Join(known, ", "))
		}
	}
	for i, name := range p.ForbiddenFields {
		path := fmt.Sprintf("forbidden_fields[%d]", i)
		if !s.CoverageFields[name] {
			f.add(path, "UNKNOWN_VALUE", "%q was given; allowed are %s", name, strings.Join(known, ", "))
		} else if slices.Contains(p.RequiredFields, name) {
			f.add(path, "CONTRADICTION", "%q is demanded and forbidden at once; take it out of one of the lists", name)
		}
	}
}

// checkReadings refuses readings that nobody takes, and the same one twice.
func (s *Server) checkReadings(f *faultList, demands []payers.ReadingDemand) {
	for i, d := range demands {
		path := fmt.Sprintf("required_readings[%d].reading", i)
		if !slices.Contains(s.Readings, d.Reading) {
			f.add(path, "UNKNOWN_VALUE", "%.60q was given; allowed are %s", d.Reading, strings.Join(s.Readings, ", "))
		}
		first := slices.IndexFunc(demands, func(other payers.ReadingDemand) bool { return other.Reading == d.Reading })
		if first < i {
			f.add(path, "REPEATED", "%.60q is demanded in required_readings[%d] already; give each reading once", d.Reading, first)
		}
	}
}

func checkPattern(f *faultList, path, pattern string) {
	if pattern == "" {
		return
	}
	if _, err := regexp.Compile("^(?:" + pattern + ")$"); err != nil {
		reason := strings.TrimPrefix(err.Error(), "error parsing regexp: ")
		f.add(path, "PATTERN", "%q is no regular expression of RE2: %s; mend it, or leave it out to allow any number",
			pattern, reason)
	}
}

// buyerStatuses are the words of services/tax.
var buyerStatuses = []string{string(tax.Taxable), string(tax.ExemptGovernment), string(tax.Resale),
	string(tax.ExemptOther), string(tax.ReverseCharge)}

func checkBuyer(f *faultList, m *payersv1.PayerProfile) {
	oneOf(f, "buyer_status", m.GetBuyerStatus(), buyerStatuses)
	checkSpan(f, "certificate_", m.GetCertificateValidFrom(), m.GetCertificateValidTo())
	number := m.GetCertificateNumber()
	if len([]rune(number)) > 60 {
		f.add("certificate_number", "TOO_LARGE", "%d characters were given and at most 60 are allowed; copy it from the certificate again", len([]rune(number)))
	}
	isTaxable := m.GetBuyerStatus() == "" || m.GetBuyerStatus() == string(tax.Taxable)
	if isTaxable && number != "" {
		f.add("buyer_status", "CONTRADICTION", "a certificate was given and the payer is taxable; say what the "+
			"certificate proves, one of %s, or leave the certificate out", strings.Join(buyerStatuses[1:], ", "))
	}
	if isTaxable || number == "" {
		return
	}
	for _, needed := range []struct{ path, given string }{
		{"certificate_jurisdiction", m.GetCertificateJurisdiction()},
		{"certificate_valid_from", m.GetCertificateValidFrom()},
	} {
		if needed.given == "" {
			f.add(needed.path, "REQUIRED", "nothing was given and a certificate needs it; copy it from the certificate")
		}
	}
}

// checkSpan refuses days that do not exist, and a last one before the first.
func checkSpan(f *faultList, prefix, from, to string) {
	isFrom, isTo := checkDay(f, prefix+"valid_from", from), checkDay(f, prefix+"valid_to", to)
	if isFrom && isTo && to != "" && to < from {
		f.add(prefix+"valid_to", "CONTRADICTION", "%s was given and the first day is %s; give the same day or a later one, "+
			"or leave it out while the end is open", to, from)
	}
}

// checkDay refuses a day that does not exist; an empty one is none and passes.
func checkDay(f *faultList, path, day string) bool {
	if day == "" {
		return true
	}
	if !isDay(day) {
		f.add(path, "NOT_A_DAY", "%q was given; give a day that exists, as year-month-day: \"2026-10-20\"", day)
		return false
	}
	return true
}

func isDay(text string) bool {
	_, err := time.Parse(time.DateOnly, text)
	return err == nil
}

const maxBasisPoints = 10_000

// checkAgreements gives the faults of everything in price agreements but the prices.
func checkAgreements(f *faultList, agreements []*payersv1.PriceAgreement) {
	for i, a := range agreements {
		path := fmt.Sprintf("price_agreements[%d].", i)
		if n := len([]rune(a.GetKey())); n == 0 || n > 60 {
			f.add(path+"key", "FORM", "%d characters were given; give a name of 1 to 60 characters, it is shown beside "+
				"each price", n)
		}
		if a.GetValidFrom() == "" {
			f.add(path+"valid_from", "REQUIRED", "nothing was given; give the first day of the agreement: \"2026-01-01\"")
		}
		checkSpan(f, path, a.GetValidFrom(), a.GetValidTo())
		checkPoints(f, path+"discount_basis_points", a.GetDiscountBasisPoints())
		checkPoints(f, path+"materials_basis_points", a.GetMaterialsBasisPoints())
		checkPoints(f, path+"spread_basis_points", a.GetSpreadBasisPoints())
		if n := a.GetMaxRepairs(); n < 0 || n > 100 {
			f.add(path+"max_repairs", "OUT_OF_RANGE", "%d was given; allowed is 0 (no limit) to 100", n)
		}
		checkCrack(f, path, a)
		for j, other := range agreements[:i] {
			if overlaps(a, other) {
				f.add(path+"valid_from", "OVERLAP", "from %s on two agreements would be in force at once, this one and "+
					"price_agreements[%d]; end the earlier one the day before", max(a.GetValidFrom(), other.GetValidFrom()), j)
			}
		}
	}
}

func checkPoints(f *faultList, path string, n int32) {
	if n < 0 || n > maxBasisPoints {
		f.add(path, "OUT_OF_RANGE", "%d was given; allowed is 0 to %d hundredths of a percent", n, maxBasisPoints)
	}
}

func overlaps(a, b *payersv1.PriceAgreement) bool {
	return isDay(a.GetValidFrom()) && isDay(b.GetValidFrom()) && (b.GetValidTo() == "" || a.GetValidFrom() <= b.GetValidTo()) &&
		(a.GetValidTo() == "" || b.GetValidFrom() <= a.GetValidTo())
}

func checkCrack(f *faultList, path string, a *payersv1.PriceAgreement) {
	const longest = 10_000
	if n := a.GetCrackBaseMm(); n < 0 || n > longest {
		f.add(path+"crack_base_mm", "OUT_OF_RANGE", "%d was given; allowed is 0 to %d millimetres", n, longest)
	}
	switch {
	case a.GetCrackRepair() == nil && (a.GetCrackBaseMm() != 0 || a.GetCrackFurther_25Mm() != nil):
		f.add(path+"crack_repair", "REQUIRED", "nothing was given, but a length or a price for further length was; give "+
			"the price of a crack, or leave the others out when cracks are not paid")
	case a.GetCrackRepair() != nil && a.GetCrackBaseMm() == 0:
		f.add(path+"crack_base_mm", "REQUIRED", "0 was given and crack_repair pays up to a length; give that length in millimetres")
	}
}

// checkPrices gives the faults of the prices of one agreement.
func checkPrices(path string, a *payersv1.PriceAgreement, currency string) (faults []errs.Field) {
	f := faultList{prefix: path}
	if a.GetFirstRepair() == nil {
		f.add("first_repair", "REQUIRED", "nothing was given; give the price of the first repair on a glass")
	}
	if a.GetFurtherRepair() == nil {
		f.add("further_repair", "REQUIRED", "nothing was given; give the price of each further repair, the same as the first where it is")
	}
	faults = append(faults, f.all...)
	faults = append(faults, wire.CheckMoney(path+".first_repair", a.GetFirstRepair(), currency)...)
	faults = append(faults, wire.CheckMoney(path+".further_repair", a.GetFurtherRepair(), currency)...)
	faults = append(faults, wire.CheckMoney(path+".crack_repair", a.GetCrackRepair(), currency)...)
	faults = append(faults, wire.CheckMoney(path+".crack_further_25_mm", a.GetCrackFurther_25Mm(), currency)...)
	return append(faults, wire.CheckMoney(path+".trip_charge", a.GetTripCharge(), currency)...)
}
