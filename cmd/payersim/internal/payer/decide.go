package payer

import (
	"crypto/sha256"
	"encoding/binary"
)

// Outcome is how a claim is decided.
type Outcome string

// The outcomes.
const (
	Accept Outcome = "ACCEPT"
	// ShortPay accepts and later pays less.
	ShortPay Outcome = "SHORT_PAY"
	Reject   Outcome = "REJECT"
	// Ask wants more information.
	Ask    Outcome = "ASK"
	Deny   Outcome = "DENY"
	Silent Outcome = "SILENT"
)

// outcomes in the order in which weights are laid out.
var outcomes = []Outcome{Accept, ShortPay, Reject, Ask, Deny, Silent}

// Reason is one reason, in the payer's codes and words.
type Reason struct {
	Code string `json:"code"`
	Text string `json:"text"`
	Path string `json:"path,omitempty"`
}

// Decision is an outcome with its reasons.
type Decision struct {
	Outcome Outcome  `json:"outcome"`
	Reasons []Reason `json:"reasons,omitempty"`
}

// reasons are what the simulated payers say; one is chosen by the claim's number.
var reasons = map[Outcome][]Reason{
	Reject: {
		{"SIM-POLICY", "The policy number is not known to us. (Simulated.)", "coverage.policy_number"},
		{"SIM-AUTHORIZATION", "The authorization number is missing or not ours. (Simulated.)", "coverage.authorization.number"},
		{"SIM-LOSS-DATE", "The date of loss is outside the policy period. (Simulated.)", "coverage.date_of_loss"},
	},
	Ask: {
		{"SIM-PHOTO", "Send a photograph of the damage before the repair. (Simulated.)", "photos"},
		{"SIM-CAUSE", "Say how the damage came about. (Simulated.)", "coverage.cause_of_loss"},
	},
	Deny: {
		{"SIM-NOT-COVERED", "Glass is not covered by this policy. (Simulated.)", "coverage"},
		{"SIM-REPLACED", "The same glass was replaced under an earlier loss. (Simulated.)", "glass"},
	},
	ShortPay: {
		{"SIM-RATE", "Paid at our rate for the area. (Simulated.)", ""},
		{"SIM-MOBILE", "Mobile work is not paid under this agreement. (Simulated.)", ""},
	},
}

// Double is how a claim is decided that was taken before and needs no second copy.
func Double() Decision {
	return Decision{Reject, []Reason{{"SIM-DUPLICATE", "This claim was taken before. (Simulated.)", "claim_number"}}}
}

// Decide decides a claim. The same number is decided alike for ever, unless the configuration names
// it; one that comes again after a rejection or a question is decided as Again says.
func (p Payer) Decide(claimNumber string, isAgain bool) Decision {
	d, isNamed := p.Claims[claimNumber]
	switch {
	case isAgain && p.Again == "":
		d = Decision{Outcome: Accept}
	case isAgain:
		d = Decision{Outcome: p.Again}
	case !isNamed:
		d = Decision{Outcome: p.weighed(hash(p.Code, claimNumber, "outcome"))}
	}
	if all := reasons[d.Outcome]; len(d.Reasons) == 0 && len(all) > 0 {
		d.Reasons = []Reason{all[hash(p.Code, claimNumber, "reason")%uint64(len(all))]}
	}
	return d
}

func (p Payer) weighed(at uint64) Outcome {
	var sum uint64
	for _, weight := range p.Outcomes {
		sum += uint64(weight)
	}
	if sum == 0 {
		return Accept
	}
	at %= sum
	for _, outcome := range outcomes {
		weight := uint64(p.Outcomes[outcome])
		if at < weight {
			return outcome
		}
		at -= weight
	}
	panic("the weights do not sum to their sum")
}

// Pays gives what is paid of a share under an outcome, in minor units; a short payment is rounded
// down.
func (p Payer) Pays(outcome Outcome, share int64) int64 {
	percent := int64(p.ShortPercent)
	if percent == 0 {
		percent = 85
	}
	switch outcome {
	case Accept:
		return share
	case ShortPay:
		// In two parts, so that no share can overflow.
		return share/100*percent + share%100*percent/100
	}
	return 0
}

// hash spreads claims over decisions without any state.
func hash(parts ...string) uint64 {
	h := sha256.New()
	for _, part := range parts {
		h.Write(binary.BigEndian.AppendUint32(nil, uint32(len(part))))
		h.Write([]byte(part))
	}
	return binary.BigEndian.Uint64(h.Sum(nil))
}
