package payers

// X12Version names a release of X12 as GS08 does.
type X12Version string

// The releases in which claims are written.
const (
	X12004010 X12Version = "004010"
	X12005010 X12Version = "005010"
)

// X12 is how the interchanges of one payer are addressed. It is agreed with the payer; nothing in
// it can be derived.
type X12 struct {
	// Version is 004010 or 005010; empty means 004010.
	Version X12Version `json:"version,omitempty" validate:"omitempty,oneof=004010 005010"`
	// The qualifiers say what sort of identifier follows, "ZZ" (mutually defined) or "01"; the
	// identifiers are those of ISA06 and ISA08.
	SenderQualifier   string `json:"sender_qualifier,omitempty" validate:"omitempty,len=2,alphanum,uppercase"`
	SenderID          string `json:"sender_id,omitempty" validate:"max=15"`
	ReceiverQualifier string `json:"receiver_qualifier,omitempty" validate:"omitempty,len=2,alphanum,uppercase"`
	ReceiverID        string `json:"receiver_id,omitempty" validate:"max=15"`
	// SenderCode and ReceiverCode are GS02 and GS03; empty means the identifiers.
	SenderCode   string `json:"sender_code,omitempty" validate:"max=15"`
	ReceiverCode string `json:"receiver_code,omitempty" validate:"max=15"`
	// IsBasic restricts text to the basic character set, which has no small letters.
	IsBasic bool `json:"is_basic,omitempty"`
	// IsAcknowledgedByTA1 asks for an acknowledgement of the interchange (ISA14).
	IsAcknowledgedByTA1 bool `json:"is_acknowledged_by_ta1,omitempty"`
}

// Given fills in what is meant when nothing is said.
func (x X12) Given() X12 {
	if x.Version == "" {
		x.Version = X12004010
	}
	if x.SenderQualifier == "" {
		x.SenderQualifier = "ZZ"
	}
	if x.ReceiverQualifier == "" {
		x.ReceiverQualifier = "ZZ"
	}
	if x.SenderCode == "" {
		x.SenderCode = x.SenderID
	}
	if x.ReceiverCode == "" {
		x.ReceiverCode = x.ReceiverID
	}
	return x
}
