package tax

import (
	"fmt"

	"cullet/services/finding"
)

// relief is what the buyer's status does to the levies of a place.
type relief struct {
	treatment Treatment
	// region is the code from which, and from all beneath it, the buyer is relieved.
	region  string
	opening string
	law     *Taxability
}

// reliefOf decides on the buyer's status and certificate. A certificate that is missing, not in
// force on the day or made for another jurisdiction relieves from nothing: the tax is charged,
// and a caution says why.
func (q *quotation) reliefOf(st *stack) (relief, []finding.Finding) {
	b := &q.request.Buyer
	switch b.Status {
	case "", Taxable:
		return relief{}, nil
	case ReverseCharge:
		return q.reverse(st)
	case ExemptGovernment, Resale, ExemptOther:
		return q.exempt(st)
	}
	return relief{}, []finding.Finding{stop("TAX-BUYER-STATUS", "buyer.status",
		"Give TAXABLE, EXEMPT_GOVERNMENT, RESALE, EXEMPT_OTHER or REVERSE_CHARGE.", own,
		"The buyer's status %q is not known.", b.Status)}
}

// certificates is the rule about exemption certificates.
var certificates = finding.Source{
	Citation: "SSUTA section 317: without a certificate the tax is due; its form F0003 was read",
	Known:    finding.FromMemory,
}

func (q *quotation) exempt(st *stack) (relief, []finding.Finding) {
	c := q.request.Buyer.Certificate
	on := q.request.On
	var code, why string
	switch {
	case c == nil || c.Number == "":
		code, why = "TAX-CERTIFICATE-MISSING", "has no certificate on file"
	case c.ValidTo != "" && c.ValidTo < on:
		code, why = "TAX-CERTIFICATE-EXPIRED", fmt.Sprintf("has certificate %s, which expired on %s",
			c.Number, c.ValidTo)
	case c.ValidFrom > on:
		code, why = "TAX-CERTIFICATE-NOT-YET", fmt.Sprintf("has certificate %s, which begins on %s",
			c.Number, c.ValidFrom)
	case c.Jurisdiction == "" || !st.touches(c.Jurisdiction):
		code, why = "TAX-CERTIFICATE-ELSEWHERE", fmt.Sprintf(
			"has certificate %s, which is for %q and not for %s", c.Number, c.Jurisdiction, st.head.Code)
	}
	if code != "" {
		return relief{}, []finding.Finding{caution(code, "buyer.certificate",
			"Get a certificate in force on the day of repair, or bill the tax.", certificates,
			"The buyer is said to be exempt but %s; tax is charged.", why)}
	}
	reason := c.Reason
	if reason == "" {
		reason = string(q.request.Buyer.Status)
	}
	return relief{treatment: Exempt, region: c.Jurisdiction,
		opening: "The buyer is exempt by certificate " + c.Number + " (" + reason + ")",
		law:     &Taxability{Rule: "BUYER-EXEMPT", Source: certificates}}, nil
}

func (q *quotation) reverse(st *stack) (relief, []finding.Finding) {
	c := q.request.Buyer.Certificate
	source := finding.Source{Citation: "Dir. 2006/112/EC art. 44 and 196", Known: finding.FromMemory}
	if st.head.Scheme != "VAT" {
		return relief{}, []finding.Finding{stop("TAX-REVERSE-CHARGE", "buyer.status",
			"Give the buyer's exemption instead.", source,
			"There is no reverse charge in %s.", st.head.Name)}
	}
	if c == nil || c.Number == "" {
		return relief{}, []finding.Finding{stop("TAX-REVERSE-CHARGE", "buyer.certificate.number",
			"Give the buyer's VAT number.", source,
			"A reverse charge needs the buyer's VAT number.")}
	}
	return relief{treatment: ReverseCharged, region: st.head.Code,
		opening: "Reverse charge: the buyer with VAT number " + c.Number + " accounts for the tax",
		law:     &Taxability{Rule: "REVERSE-CHARGE", Source: source}}, nil
}

// touches tells whether a region covers a levy of the stack.
func (st *stack) touches(region string) bool {
	for i := range st.levies {
		if within(st.levies[i].row.Code, region) {
			return true
		}
	}
	return false
}

func (r *relief) covers(code string) bool { return r.region != "" && within(code, r.region) }
