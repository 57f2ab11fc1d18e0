package ubl

import "encoding/xml"

// The tree of the two documents, in the order that the schema of UBL 2.1 wants. Invoice and CreditNote
// differ in a few names; what is nil or empty is left out.
type root struct {
	XMLName xml.Name
	Space   string `xml:"xmlns,attr"`
	CAC     string `xml:"xmlns:cac,attr"`
	CBC     string `xml:"xmlns:cbc,attr"`

	Customization  string      `xml:"cbc:CustomizationID,omitempty"`
	Number         string      `xml:"cbc:ID"`
	IssueDate      string      `xml:"cbc:IssueDate"`
	DueDate        string      `xml:"cbc:DueDate,omitempty"`
	InvoiceKind    string      `xml:"cbc:InvoiceTypeCode,omitempty"`
	CreditNoteKind string      `xml:"cbc:CreditNoteTypeCode,omitempty"`
	Notes          []string    `xml:"cbc:Note,omitempty"`
	Currency       string      `xml:"cbc:DocumentCurrencyCode"`
	Order          *reference  `xml:"cac:OrderReference"`
	Billing        *billing    `xml:"cac:BillingReference"`
	Supplier       side        `xml:"cac:AccountingSupplierParty"`
	Customer       side        `xml:"cac:AccountingCustomerParty"`
	Terms          *terms      `xml:"cac:PaymentTerms"`
	Allowances     []allowance `xml:"cac:AllowanceCharge"`
	Tax            taxTotal    `xml:"cac:TaxTotal"`
	Totals         monetary    `xml:"cac:LegalMonetaryTotal"`
	InvoiceLines   []line      `xml:"cac:InvoiceLine"`
	CreditLines    []line      `xml:"cac:CreditNoteLine"`
}

type reference struct {
	ID string `xml:"cbc:ID"`
}

type billing struct {
	Invoice reference `xml:"cac:InvoiceDocumentReference"`
}

type side struct {
	Party party `xml:"cac:Party"`
}

type party struct {
	Name    *named       `xml:"cac:PartyName"`
	Address *postal      `xml:"cac:PostalAddress"`
	Tax     *partyTax    `xml:"cac:PartyTaxScheme"`
	Legal   registration `xml:"cac:PartyLegalEntity"`
	Contact *contact     `xml:"cac:Contact"`
}

type named struct {
	Name string `xml:"cbc:Name"`
}

type postal struct {
	Street  string   `xml:"cbc:StreetName,omitempty"`
	City    string   `xml:"cbc:CityName,omitempty"`
	Zone    string   `xml:"cbc:PostalZone,omitempty"`
	State   string   `xml:"cbc:CountrySubentity,omitempty"`
	Country *country `xml:"cac:Country"`
}

type country struct {
	Code string `xml:"cbc:IdentificationCode"`
}

type partyTax struct {
	Number string `xml:"cbc:CompanyID"`
	Scheme scheme `xml:"cac:TaxScheme"`
}

type registration struct {
	Name string `xml:"cbc:RegistrationName"`
}

type contact struct {
	Telephone string `xml:"cbc:Telephone"`
}

type terms struct {
	Note string `xml:"cbc:Note"`
}

type sum struct {
	Currency string `xml:"currencyID,attr"`
	Text     string `xml:",chardata"`
}

type scheme struct {
	ID           string        `xml:"cbc:ID"`
	Name         string        `xml:"cbc:Name,omitempty"`
	Jurisdiction *jurisdiction `xml:"cac:JurisdictionRegionAddress"`
}

type jurisdiction struct {
	Code string `xml:"cbc:ID"`
}

type category struct {
	ID      string `xml:"cbc:ID,omitempty"`
	Percent string `xml:"cbc:Percent,omitempty"`
	Reason  string `xml:"cbc:TaxExemptionReason,omitempty"`
	Scheme  scheme `xml:"cac:TaxScheme"`
}

type allowance struct {
	IsCharge   bool       `xml:"cbc:ChargeIndicator"`
	Reason     string     `xml:"cbc:AllowanceChargeReason"`
	Amount     sum        `xml:"cbc:Amount"`
	Categories []category `xml:"cac:TaxCategory"`
}

type taxTotal struct {
	Amount    sum        `xml:"cbc:TaxAmount"`
	Subtotals []subtotal `xml:"cac:TaxSubtotal"`
}

type subtotal struct {
	Taxable  sum      `xml:"cbc:TaxableAmount"`
	Tax      sum      `xml:"cbc:TaxAmount"`
	Category category `xml:"cac:TaxCategory"`
}

type monetary struct {
	Lines      sum  `xml:"cbc:LineExtensionAmount"`
	Net        sum  `xml:"cbc:TaxExclusiveAmount"`
	Gross      sum  `xml:"cbc:TaxInclusiveAmount"`
	Allowances *sum `xml:"cbc:AllowanceTotalAmount"`
	Payable    sum  `xml:"cbc:PayableAmount"`
}

type quantity struct {
	Unit string `xml:"unitCode,attr"`
	Text string `xml:",chardata"`
}

type line struct {
	ID       string    `xml:"cbc:ID"`
	Note     string    `xml:"cbc:Note,omitempty"`
	Invoiced *quantity `xml:"cbc:InvoicedQuantity"`
	Credited *quantity `xml:"cbc:CreditedQuantity"`
	Net      sum       `xml:"cbc:LineExtensionAmount"`
	Item     item      `xml:"cac:Item"`
	Price    price     `xml:"cac:Price"`
}

type item struct {
	Name       string     `xml:"cbc:Name"`
	Categories []category `xml:"cac:ClassifiedTaxCategory"`
}

type price struct {
	Amount sum `xml:"cbc:PriceAmount"`
}
