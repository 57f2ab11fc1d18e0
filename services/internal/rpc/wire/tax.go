package wire

import (
	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/tax"
)

// ToTaxComponents gives the explained taxes of a line as messages, in their order. The sentence
// stands where the contract wants the rule in a sentence; the source is the rule's, or the rate's
// when the rule has none.
func ToTaxComponents(all []tax.Component) []*claimsv1.TaxComponent {
	messages := make([]*claimsv1.TaxComponent, len(all))
	for i, c := range all {
		source := c.Source
		if source.Citation == "" {
			source = c.RateSource
		}
		messages[i] = &claimsv1.TaxComponent{
			JurisdictionCode: c.JurisdictionCode, JurisdictionName: c.JurisdictionName, Basis: ToMoney(c.Basis),
			Rate: c.Rate, Tax: ToMoney(c.Tax), Treatment: string(c.Treatment), Rule: c.Sentence,
			Source: ToSource(source),
		}
	}
	return messages
}
