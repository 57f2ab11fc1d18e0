package desk

import (
	"fmt"
	"strconv"

	"cullet/cmd/cullet/internal/desk/page"
	payersv1 "cullet/proto/cullet/payers/v1"
)

// profileField is one field of a payer's profile as the form has it.
type profileField struct {
	// name is the path in the contract below "profile", which is also the name in the form.
	name, group, label, hint, kind string
	choices                        []page.Choice
	get                            func(*payersv1.PayerProfile) string
	// set stores a value and says what is wrong with it; empty when nothing is.
	set func(*payersv1.PayerProfile, string) string
}

// The groups of the form, in its order.
const (
	groupSends  = "What it wants to see"
	groupPays   = "What it pays"
	groupTerms  = "Days and terms"
	groupLeaves = "How claims leave"
	groupDesk   = "Its claims desk"
)

var profileGroups = []string{groupSends, groupPays, groupTerms, groupLeaves, groupDesk}

func words(name, group, label, hint string, at func(*payersv1.PayerProfile) *string) profileField {
	return profileField{name: name, group: group, label: label, hint: hint, kind: "text",
		get: func(p *payersv1.PayerProfile) string { return *at(p) },
		set: func(p *payersv1.PayerProfile, value string) string { *at(p) = value; return "" }}
}

func days(name, group, label, hint string, at func(*payersv1.PayerProfile) *int32) profileField {
	return profileField{name: name, group: group, label: label, hint: hint, kind: "number",
		get: func(p *payersv1.PayerProfile) string {
			if *at(p) == 0 {
				return ""
			}
			return strconv.Itoa(int(*at(p)))
		},
		set: func(p *payersv1.PayerProfile, value string) string {
			if value == "" {
				*at(p) = 0
				return ""
			}
			n, err := strconv.ParseInt(value, 10, 32)
			if err != nil {
				return fmt.Sprintf("%q was given; give a whole number of days, or leave it empty.", shorten(value))
			}
			*at(p) = int32(n)
			return ""
		}}
}

// either is a question with two answers.
func either(name, group, label, no, yes string, at func(*payersv1.PayerProfile) *bool) profileField {
	return profileField{name: name, group: group, label: label, choices: []page.Choice{{Text: no, Value: "no"}, {Text: yes, Value: "yes"}},
		get: func(p *payersv1.PayerProfile) string { return map[bool]string{false: "no", true: "yes"}[*at(p)] },
		set: func(p *payersv1.PayerProfile, value string) string {
			if value != "no" && value != "yes" {
				return fmt.Sprintf("%q was given; choose one of the list.", shorten(value))
			}
			*at(p) = value == "yes"
			return ""
		}}
}

// profileFields are what the desk edits of a profile; the rest of it stays as it is.
var profileFields = []profileField{
	words("policy_number_pattern", groupSends, "Policy numbers look like", "A regular expression (RE2) of the whole number; empty for any.",
		func(p *payersv1.PayerProfile) *string { return &p.PolicyNumberPattern }),
	words("authorization_number_pattern", groupSends, "Authorization numbers look like", "The same.",
		func(p *payersv1.PayerProfile) *string { return &p.AuthorizationNumberPattern }),
	words("standard_key", groupSends, "Repair standard it demands", "Empty for the shop’s own.",
		func(p *payersv1.PayerProfile) *string { return &p.StandardKey }),
	either("is_deductible_waived_for_repair", groupPays, "The deductible", "is taken for a repair too", "is waived for a repair",
		func(p *payersv1.PayerProfile) *bool { return &p.IsDeductibleWaivedForRepair }),
	either("is_mobile_work_paid", groupPays, "Work away from the shop", "is not paid", "is paid",
		func(p *payersv1.PayerProfile) *bool { return &p.IsMobileWorkPaid }),
	days("filing_limit_days", groupTerms, "Takes claims for so many days", "Empty for no limit.",
		func(p *payersv1.PayerProfile) *int32 { return &p.FilingLimitDays }),
	either("is_filing_counted_from_loss", groupTerms, "They count", "from the repair", "from the loss",
		func(p *payersv1.PayerProfile) *bool { return &p.IsFilingCountedFromLoss }),
	days("duplicate_window_days", groupTerms, "The same damage within so many days is a duplicate", "",
		func(p *payersv1.PayerProfile) *int32 { return &p.DuplicateWindowDays }),
	days("answer_days", groupTerms, "Owes an answer within", "Days; empty for 14.",
		func(p *payersv1.PayerProfile) *int32 { return &p.AnswerDays }),
	days("payment_days", groupTerms, "Pays within", "Days after the invoice; empty for 30.",
		func(p *payersv1.PayerProfile) *int32 { return &p.PaymentDays }),
	either("is_released_by_itself", groupLeaves, "A ready claim", "waits until somebody releases it", "leaves with the night by itself",
		func(p *payersv1.PayerProfile) *bool { return &p.IsReleasedByItself }),
	either("is_invoiced_together", groupLeaves, "Invoices", "one for each claim", "one for all claims of a release",
		func(p *payersv1.PayerProfile) *bool { return &p.IsInvoicedTogether }),
	words("address", groupLeaves, "Where files go", "The address that its channel delivers to.",
		func(p *payersv1.PayerProfile) *string { return &p.Address }),
	either("is_test", groupLeaves, "Files are", "in earnest", "marked as a test",
		func(p *payersv1.PayerProfile) *bool { return &p.IsTest }),
	words("telephone", groupDesk, "Telephone", "", func(p *payersv1.PayerProfile) *string { return &p.Telephone }),
	words("hours", groupDesk, "Hours", "", func(p *payersv1.PayerProfile) *string { return &p.Hours }),
}

// shown makes the field of the form.
func (f profileField) shown(value, fault string) page.Field {
	field := page.Field{ID: "p-" + f.name, Name: f.name, Label: f.label, Hint: f.hint, Kind: f.kind, Value: value, Fault: fault}
	for _, c := range f.choices {
		c.IsChosen = c.Value == value
		field.Choices = append(field.Choices, c)
	}
	return field
}

// readable is a value as people read it.
func (f profileField) readable(value string) string {
	for _, c := range f.choices {
		if c.Value == value {
			return c.Text
		}
	}
	if value == "" {
		return "empty"
	}
	return value
}
