package tax

import (
	"fmt"
	"strings"

	"cullet/services/errs"
	"cullet/services/finding"
)

// Locals says whether a jurisdiction has others beneath it that must be known.
type Locals string

// The values.
const (
	// LocalsNone: nobody beneath levies this tax; the rate is the whole rate.
	LocalsNone Locals = "NONE"
	// LocalsNeeded: others levy too, and a local row that is complete must be found.
	LocalsNeeded Locals = "NEEDED"
	// LocalsListed: only the local jurisdictions on file levy; the county must be named.
	LocalsListed Locals = "LISTED"
	// LocalsStates: a country whose states or provinces have laws of their own.
	LocalsStates Locals = "STATES"
)

// RoundingRule says who decides how tax is rounded.
type RoundingRule string

// The rules.
const (
	// SellerElects: item or invoice, each jurisdiction or aggregate, as the seller elects; item
	// and each jurisdiction when he elected nothing.
	SellerElects RoundingRule = "SELLER"
	// PerInvoice: once for all lines of a rate.
	PerInvoice RoundingRule = "INVOICE"
)

// RateRow is the rate of one jurisdiction for some days: one line of rates/*.csv.
type RateRow struct {
	Country string `json:"country"`
	State   string `json:"state,omitempty"`
	Level   Level  `json:"level"`
	Code    string `json:"code"`
	Name    string `json:"name"`
	// Scheme names the tax: "SALES_TAX", "VAT", "GST", "HST"; "NONE" when there is none.
	Scheme string `json:"scheme"`
	// ValidFrom and ValidTo are civil dates, both included; ValidTo is empty while open.
	ValidFrom string `json:"valid_from"`
	ValidTo   string `json:"valid_to,omitempty"`
	Rate      Rate   `json:"rate_units"`
	// Unknown is true when it is on file that the rate is not known.
	Unknown bool `json:"unknown,omitempty"`
	// Locals and LocalsKnown stand on a country's and a state's row.
	Locals      Locals        `json:"locals,omitempty"`
	LocalsKnown finding.Known `json:"locals_known,omitempty"`
	// Complete is true on a local row that, with Also, is all that is levied there.
	Complete bool `json:"complete,omitempty"`
	// Includes lists codes whose tax is contained in this rate.
	Includes []string `json:"includes,omitempty"`
	// Also lists codes that apply wherever this one does.
	Also []string `json:"also,omitempty"`
	// Asks lists codes that apply in a part only: the place must say whether it lies in them.
	Asks []string `json:"asks,omitempty"`
	// CapMinor is the largest basis of one line that is taxed, in minor units; 0 means no cap.
	CapMinor int64        `json:"cap_minor_units,omitempty"`
	Rounding RoundingRule `json:"rounding,omitempty"`
	// Source is where the rate comes from; DocumentDate is its date, empty when undated.
	Source       finding.Source `json:"source"`
	DocumentDate string         `json:"document_date,omitempty"`

	rateText, percentText, doubtFrom string
}

// Method is how a jurisdiction decides on a category of charge.
type Method string

// The methods. A line "stated separately" has its materials on a line of their own.
const (
	MethodTaxed      Method = "TAXED"
	MethodNotTaxable Method = "NOT_TAXABLE"
	MethodExempt     Method = "EXEMPT"
	MethodZeroRated  Method = "ZERO_RATED"
	// MethodWithMaterials taxes labor unless nothing was put into the glass.
	MethodWithMaterials Method = "WITH_MATERIALS"
	// MethodWholeUnlessSeparate taxes a sum that contains materials, and no labor stated apart.
	MethodWholeUnlessSeparate Method = "WHOLE_UNLESS_SEPARATE"
	// MethodShopConsumes taxes no labor and no sum; the shop is the consumer of its materials
	// unless they are stated separately.
	MethodShopConsumes Method = "SHOP_CONSUMES_UNLESS_SEPARATE"
	// MethodMaterialsOverTenth taxes the materials in a sum when they are over a tenth of it.
	MethodMaterialsOverTenth Method = "MATERIALS_OVER_TENTH"
	// MethodWholeFromTenth taxes a whole sum when the materials are a tenth of it or more.
	MethodWholeFromTenth Method = "WHOLE_FROM_TENTH"
	// MethodWithRepair treats the charge as the repair of the same job.
	MethodWithRepair Method = "WITH_REPAIR"
	// MethodUnknown stops: the law was not read.
	MethodUnknown Method = "UNKNOWN"
)

var methods = map[Method]bool{
	MethodTaxed: true, MethodNotTaxable: true, MethodExempt: true, MethodZeroRated: true,
	MethodWithMaterials: true, MethodWholeUnlessSeparate: true, MethodShopConsumes: true,
	MethodMaterialsOverTenth: true, MethodWholeFromTenth: true, MethodWithRepair: true, MethodUnknown: true,
}

// Taxability is what one jurisdiction does with one category for some days.
type Taxability struct {
	Country string `json:"country"`
	State   string `json:"state,omitempty"`
	// Category is empty on the row for all categories that have none of their own.
	Category Category `json:"category,omitempty"`
	// ValidFrom is empty when the first day is not on file, ValidTo while open.
	ValidFrom string `json:"valid_from,omitempty"`
	ValidTo   string `json:"valid_to,omitempty"`
	Method    Method `json:"method"`
	// Rule is the stable code: "US-OH-REPAIR-TAXED".
	Rule string `json:"rule"`
	// Taxed, Untaxed and Separate open the sentence for what is taxed, for what is not, and for
	// labor that is stated apart from its materials.
	Taxed        string         `json:"taxed,omitempty"`
	Untaxed      string         `json:"untaxed,omitempty"`
	Separate     string         `json:"separate,omitempty"`
	Source       finding.Source `json:"source"`
	DocumentDate string         `json:"document_date,omitempty"`

	isDoubtful bool
}

func covers(from, to, on string) bool { return from <= on && (to == "" || on <= to) }

// isDate tells whether text is a real day in the form "2006-01-02".
func isDate(text string) bool {
	if len(text) != 10 || text[4] != '-' || text[7] != '-' {
		return false
	}
	for _, i := range [8]int{0, 1, 2, 3, 5, 6, 8, 9} {
		if text[i] < '0' || text[i] > '9' {
			return false
		}
	}
	y, m, d := year(text), int(text[5]-'0')*10+int(text[6]-'0'), int(text[8]-'0')*10+int(text[9]-'0')
	if m < 1 || m > 12 || d < 1 {
		return false
	}
	last := [12]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}[m-1]
	if m == 2 && y%4 == 0 && (y%100 != 0 || y%400 == 0) {
		last = 29
	}
	return d <= last
}

func (r *RateRow) faults(path string) []errs.Field {
	var f []errs.Field
	add := func(column, reason, message string) {
		f = append(f, errs.Field{Path: path + "." + column, Reason: reason, Message: message})
	}
	if r.Code == "" || r.Name == "" || len(r.Country) != 2 {
		add("code", "TAX_ROW_CODE", "country (two letters), code and name are required")
	}
	if want := r.Country; r.State != "" && !strings.HasPrefix(r.Code, want+"-"+r.State) ||
		r.State == "" && r.Code != want {
		add("code", "TAX_ROW_CODE",
			fmt.Sprintf("code %q must begin with the codes of its country and state", r.Code))
	}
	if !levels[r.Level] {
		add("level", "TAX_ROW_LEVEL",
			fmt.Sprintf("level %q: allowed are COUNTRY, STATE, PROVINCE, COUNTY, CITY, DISTRICT",
				r.Level))
	}
	if r.Level.local() >= 0 && r.State == "" {
		add("state", "TAX_ROW_STATE", "a county, city or district needs its state")
	}
	if !isDate(r.ValidFrom) || (r.ValidTo != "" && (!isDate(r.ValidTo) || r.ValidTo < r.ValidFrom)) {
		add("valid_from", "TAX_ROW_DATES",
			fmt.Sprintf("days %q to %q: allowed are real days like 2026-07-01, the first not after the last", r.ValidFrom, r.ValidTo))
	}
	if r.CapMinor < 0 || r.Rate < 0 || r.Rate > rateOne {
		add("rate", "TAX_ROW_RATE", "rate and cap are not negative, and the rate is at most 1")
	}
	if r.Source.Citation == "" || r.Source.Known == "" {
		add("citation", "TAX_ROW_SOURCE", "a rate needs its source and how well it is known")
	}
	if r.DocumentDate != "" && !isDate(r.DocumentDate) {
		add("document_date", "TAX_ROW_DATES",
			fmt.Sprintf("day %q: give a real day like 2026-07-01, or nothing", r.DocumentDate))
	}
	return f
}

func (t *Taxability) faults(path string) []errs.Field {
	var f []errs.Field
	add := func(column, reason, message string) {
		f = append(f, errs.Field{Path: path + "." + column, Reason: reason, Message: message})
	}
	if len(t.Country) != 2 || t.Rule == "" {
		add("rule", "TAX_ROW_RULE", "country (two letters) and rule are required")
	}
	if !methods[t.Method] {
		add("method", "TAX_ROW_METHOD", fmt.Sprintf("method %q is not one of the methods", t.Method))
	}
	if t.Category != "" && !chargeable[t.Category] {
		add("category", "TAX_ROW_CATEGORY",
			fmt.Sprintf("category %q: allowed are REPAIR_LABOR, MATERIALS, TRIP_CHARGE, CALIBRATION or empty for all", t.Category))
	}
	if (t.ValidFrom != "" && !isDate(t.ValidFrom)) || (t.ValidTo != "" && (!isDate(t.ValidTo) ||
		t.ValidTo < t.ValidFrom)) {
		add("valid_from", "TAX_ROW_DATES",
			fmt.Sprintf("days %q to %q: allowed are real days like 2026-07-01, the first not after the last", t.ValidFrom, t.ValidTo))
	}
	if t.Source.Citation == "" || t.Source.Known == "" {
		add("citation", "TAX_ROW_SOURCE", "a rule needs its source and how well it is known")
	}
	for _, s := range t.missingSentences() {
		add(s, "TAX_ROW_SENTENCE", fmt.Sprintf("method %s needs the sentence %q", t.Method, s))
	}
	return f
}

// missingSentences names the openings that the method may need and the row lacks.
func (t *Taxability) missingSentences() []string {
	var missing []string
	need := func(name, text string, when ...Method) {
		for _, m := range when {
			if t.Method == m && text == "" {
				missing = append(missing, name)
			}
		}
	}
	need("taxed", t.Taxed, MethodTaxed, MethodWithMaterials, MethodWholeUnlessSeparate,
		MethodMaterialsOverTenth, MethodWholeFromTenth, MethodWithRepair)
	need("untaxed", t.Untaxed, MethodNotTaxable, MethodExempt, MethodZeroRated, MethodWithMaterials,
		MethodShopConsumes, MethodMaterialsOverTenth, MethodWholeFromTenth, MethodWithRepair)
	need("separate", t.Separate, MethodWholeUnlessSeparate, MethodShopConsumes,
		MethodMaterialsOverTenth, MethodWholeFromTenth)
	return missing
}

var (
	levels = map[Level]bool{Country: true, State: true, Province: true, County: true, City: true,
		District: true}
	chargeable = map[Category]bool{RepairLabor: true, Materials: true, TripCharge: true,
		Calibration: true}
)
