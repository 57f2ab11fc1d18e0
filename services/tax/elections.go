package tax

import "cullet/services/finding"

// ohioTable is the page that asks for each jurisdiction by itself.
var ohioTable = finding.Source{Citation: "Ohio SSTP rate table page: compute for each taxing jurisdiction separately; SSUTA section 324(B) allows the aggregate",
	Known: finding.Read, ReadOn: "2026-11-25"}

// elect applies the seller's elections as far as the law of the place leaves him the choice.
func (q *quotation) elect(st *stack) []finding.Finding {
	e := q.request.Elections
	var findings []finding.Finding
	if e.Basis != "" && e.Basis != Item && e.Basis != Invoice {
		return []finding.Finding{stop("TAX-ELECTION", "elections.basis",
			"Give ITEM, INVOICE or nothing.", own, "The basis %q is not known.", e.Basis)}
	}
	ignored := func(path, what string) {
		findings = append(findings, caution("TAX-ELECTION-IGNORED", path,
			"Take the election back for this place.", own,
			"%s has no choice of %s; the election is not applied.", st.head.Name, what))
	}
	if st.rounding == PerInvoice {
		q.basis = Invoice
		if e.Basis == Item {
			ignored("elections.basis", "rounding each line")
		}
		if e.Aggregate {
			ignored("elections.aggregate", "rounding several taxes as one")
		}
	} else {
		q.basis, q.aggregate = e.Basis, e.Aggregate
		if q.basis == "" {
			q.basis = Item
		}
		if q.aggregate && st.head.Code == "US-OH" {
			findings = append(findings, note("TAX-OHIO-AGGREGATE", "elections.aggregate",
				"Keep the election and its day on file.", ohioTable,
				"Ohio's own page asks to compute for each jurisdiction separately; the election to round them as one is kept as it is stored."))
		}
	}
	if e.RoundDown {
		if st.head.Country == "GB" {
			q.mode = roundDown
		} else {
			ignored("elections.round_down", "rounding down")
		}
	}
	return findings
}

// The sentences about rounding, by who decided.
const (
	thirdDecimal = "carried to the third decimal place and rounded up when that is greater than four (SSUTA 324)"

	itemEach      = "Each line's tax is " + thirdDecimal + ", for each jurisdiction by itself"
	itemAggregate = "Each line's tax is " + thirdDecimal +
		", for all jurisdictions as one sum, which is then split over them"
	invoiceEach = "The tax of the whole invoice is " + thirdDecimal +
		", for each jurisdiction by itself, and then split over the lines"
	invoiceAggregate = "The tax of the whole invoice is " + thirdDecimal +
		", for all jurisdictions as one sum, which is then split over lines and jurisdictions"
	perInvoice     = "The tax of each rate is computed once on the invoice's total, a half unit rounds up, and it is then split over the lines"
	perInvoiceDown = "The invoice's total tax is rounded down to a whole unit, as an invoice trader may (HMRC VATREC12010), and then split over the lines"

	byElection = ", as the seller elected."
	byDefault  = ", the default where the seller elected nothing else."
	byLaw      = "."
)

// roundingSentence says how it was rounded and who chose so.
func (q *quotation) roundingSentence(st *stack) string {
	if st.rounding == PerInvoice {
		if q.mode == roundDown {
			return perInvoiceDown + byElection
		}
		return perInvoice + byLaw
	}
	elected := q.request.Elections.Basis != "" || q.request.Elections.Aggregate
	switch {
	case q.basis == Item && q.aggregate:
		return itemAggregate + byElection
	case q.basis == Item && elected:
		return itemEach + byElection
	case q.basis == Item:
		return itemEach + byDefault
	case q.aggregate:
		return invoiceAggregate + byElection
	}
	return invoiceEach + byElection
}
