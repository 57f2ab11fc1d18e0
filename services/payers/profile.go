package payers

import (
	"log/slog"
	"time"

	"cullet/services/ident"
	"cullet/services/pricing"
	"cullet/services/tax"
)

// Kind is what sort of payer.
type Kind string

// The kinds.
const (
	Insurer    Kind = "INSURER"
	Fleet      Kind = "FLEET"
	Government Kind = "GOVERNMENT"
	// Motorist holds the list prices of whoever pays himself; nothing is sent to it.
	Motorist Kind = "MOTORIST"
)

// PhotoDemand is a photo that the payer wants to see.
type PhotoDemand struct {
	// Kind is BEFORE, AFTER, VIN_PLATE or WHOLE_GLASS.
	Kind string `json:"kind" validate:"oneof=BEFORE AFTER VIN_PLATE WHOLE_GLASS"`
	// IsPerDamage demands one of each damage rather than of the glass.
	IsPerDamage bool `json:"is_per_damage,omitempty"`
}

// ReadingDemand is a reading of the process that the payer wants to see of each repaired damage.
type ReadingDemand struct {
	// Reading is its name in a process, "vacuum_seconds".
	Reading string `json:"reading" validate:"max=60"`
	// IsStop keeps a claim back that lacks it; else it is a caution.
	IsStop bool `json:"is_stop,omitempty"`
}

// Profile is what a payer demands, pays and how it is reached. Versions never change; a claim
// remembers the one that checked it.
type Profile struct {
	Version int `json:"-"`
	// RequiredFields and ForbiddenFields are JSON names of Coverage, "authorization.number".
	RequiredFields  []string `json:"required_fields,omitempty" validate:"max=40,dive,max=60"`
	ForbiddenFields []string `json:"forbidden_fields,omitempty" validate:"max=40,dive,max=60"`
	// The patterns are RE2, matched against the whole number; empty allows any.
	PolicyNumberPattern        string        `json:"policy_number_pattern,omitempty" validate:"max=200"`
	AuthorizationNumberPattern string        `json:"authorization_number_pattern,omitempty" validate:"max=200"`
	Photos                     []PhotoDemand `json:"photos,omitempty" validate:"max=10,dive"`
	// Readings are those of the process that the payer wants to see.
	Readings []ReadingDemand `json:"required_readings,omitempty" validate:"max=40,dive"`
	// StandardKey is the repair standard demanded; empty for the shop's.
	StandardKey string `json:"standard_key,omitempty" validate:"max=60"`
	// FilingLimitDays is 0 when there is no limit; it counts from the repair, or from the loss.
	FilingLimitDays             int  `json:"filing_limit_days,omitempty" validate:"min=0,max=3660"`
	IsFilingCountedFromLoss     bool `json:"is_filing_counted_from_loss,omitempty"`
	IsDeductibleWaivedForRepair bool `json:"is_deductible_waived_for_repair,omitempty"`
	IsMobileWorkPaid            bool `json:"is_mobile_work_paid,omitempty"`
	// Each of these is 0 when the payer sets no limit; earlier repairs count for the glass.
	MaxRepairsPerClaim  int `json:"max_repairs_per_claim,omitempty" validate:"min=0,max=100"`
	MaxRepairsPerGlass  int `json:"max_repairs_per_glass,omitempty" validate:"min=0,max=100"`
	LongestCrackMM      int `json:"longest_crack_mm,omitempty" validate:"min=0,max=10000"`
	DuplicateWindowDays int `json:"duplicate_window_days,omitempty" validate:"min=0,max=3660"`
	// AnswerDays is within how many days after submission an answer is owed; 0 means 14.
	AnswerDays int `json:"answer_days,omitempty" validate:"min=0,max=366"`
	// PaymentDays is the term of the invoice; 0 means 30.
	PaymentDays int `json:"payment_days,omitempty" validate:"min=0,max=366"`
	// Format and Channel are empty only for the motorist, to whom nothing is sent.
	Format  string `json:"format" validate:"max=20"`
	Channel string `json:"channel" validate:"max=20"`
	// Address is where the channel delivers: a URL, or a folder's name.
	Address string `json:"address" validate:"max=500"`
	// HostKeys are the keys by which the payer's SFTP server is known, each a line "ssh-ed25519 AAAA...";
	// without one nothing is sent there.
	HostKeys []string `json:"host_keys,omitempty" validate:"max=10,dive,max=1000"`
	// IsReleasedByItself lets the nightly run release what is ready.
	IsReleasedByItself bool `json:"is_released_by_itself,omitempty"`
	// IsInvoicedTogether bills all claims of one release on one invoice.
	IsInvoicedTogether bool                `json:"is_invoiced_together,omitempty"`
	Agreements         []pricing.Agreement `json:"agreements,omitempty" path:"price_agreements" validate:"max=100"`
	// X12 and CSV belong to the formats of these names.
	X12 X12 `json:"x12,omitzero"`
	CSV CSV `json:"csv,omitzero"`
	// MaxClaimsPerFile is 0 when the payer takes as many as come.
	MaxClaimsPerFile int    `json:"max_claims_per_file,omitempty" validate:"min=0,max=100000"`
	Telephone        string `json:"telephone,omitempty" validate:"max=40"`
	Hours            string `json:"hours,omitempty" validate:"max=200"`
	IsTest           bool   `json:"is_test,omitempty"`
	// Buyer is how the payer stands to the tax.
	Buyer tax.Buyer `json:"buyer,omitzero"`
}

// AnswerIn gives how long after submission an answer is owed.
func (p Profile) AnswerIn() time.Duration {
	days := p.AnswerDays
	if days == 0 {
		days = 14
	}
	return time.Duration(days) * 24 * time.Hour
}

// Payer is who is billed, with the present version of its profile.
type Payer struct {
	ID         ident.Payer
	Shop       ident.Shop
	Code       string
	Name       string
	Kind       Kind
	Profile    Profile
	CreateTime time.Time
	// Version grows with every change and is the etag.
	Version int
	// InboundRoute is the random name under which its messages arrive.
	InboundRoute string
}

// Credentials is what is needed to reach a payer and to believe its answers. It is kept sealed
// and never leaves the server.
type Credentials struct {
	BearerToken   string `json:"bearer_token,omitempty"`
	Password      string `json:"password,omitempty"`
	PrivateKey    string `json:"private_key,omitempty"`
	WebhookSecret string `json:"webhook_secret,omitempty"`
}

// LogValue keeps credentials out of logs.
func (c Credentials) LogValue() slog.Value {
	return slog.GroupValue(slog.Bool("has_bearer_token", c.BearerToken != ""),
		slog.Bool("has_password", c.Password != ""), slog.Bool("has_private_key", c.PrivateKey != ""),
		slog.Bool("has_webhook_secret", c.WebhookSecret != ""))
}
