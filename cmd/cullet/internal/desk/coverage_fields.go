package desk

import (
	"fmt"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	findingsv1 "cullet/proto/cullet/findings/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/money"
)

// coverageField is one field of the coverage as the form has it.
type coverageField struct {
	// name is the path in the contract below "coverage", which is also the name in the form.
	name, label, hint string
	// kind is the type of the input.
	kind string
	// choices are what it is chosen from; nil for free text.
	choices []page.Choice
	get     func(*say.Voice, *payersv1.Coverage) string
	// set stores a value and says what is wrong with it; empty when nothing is.
	set func(*say.Voice, *payersv1.Coverage, string) string
}

// id is the field's identifier on the page, where findings lead.
func (f coverageField) id() string {
	return "f-" + strings.NewReplacer(".", "-", "_", "-").Replace(f.name)
}

// text is a field whose text the server judges.
func text(name, label, hint string, at func(*payersv1.Coverage) *string) coverageField {
	return coverageField{name: name, label: label, hint: hint, kind: "text",
		get: func(_ *say.Voice, c *payersv1.Coverage) string { return *at(c) },
		set: func(_ *say.Voice, c *payersv1.Coverage, value string) string { *at(c) = value; return "" }}
}

func (f coverageField) ofKind(kind string) coverageField { f.kind = kind; return f }

func (f coverageField) from(choices ...page.Choice) coverageField { f.choices = choices; return f }

func allowed(c *payersv1.Coverage) *payersv1.Authorization {
	if c.Authorization == nil {
		c.Authorization = &payersv1.Authorization{}
	}
	return c.Authorization
}

// fields are the coverage in the order in which it is asked for on the telephone.
var fields = []coverageField{
	text("policy_number", "Policy number", "", func(c *payersv1.Coverage) *string { return &c.PolicyNumber }),
	text("insured_name", "Name of the insured", "", func(c *payersv1.Coverage) *string { return &c.InsuredName }),
	text("date_of_loss", "Day of loss", "", func(c *payersv1.Coverage) *string { return &c.DateOfLoss }).ofKind("date"),
	text("cause_of_loss", "What broke the glass", "", func(c *payersv1.Coverage) *string { return &c.CauseOfLoss }).from(
		page.Choice{Text: "not said"}, page.Choice{Text: "road debris", Value: "ROAD_DEBRIS"}, page.Choice{Text: "weather", Value: "WEATHER"},
		page.Choice{Text: "vandalism", Value: "VANDALISM"}, page.Choice{Text: "not known", Value: "UNKNOWN"}),
	text("loss_reference", "The payer’s number of the loss", "Its claim or referral number.", func(c *payersv1.Coverage) *string { return &c.LossReference }),
	text("authorization.number", "Authorization number", "", func(c *payersv1.Coverage) *string { return &allowed(c).Number }),
	text("authorization.given_by", "Who gave it", "The name as heard. If the number is disputed, the name is the proof.",
		func(c *payersv1.Coverage) *string { return &allowed(c).GivenBy }),
	{name: "authorization.give_time", label: "When it was given", kind: "datetime-local", get: getGiveTime, set: setGiveTime},
	text("authorization.valid_to", "It holds until", "", func(c *payersv1.Coverage) *string { return &allowed(c).ValidTo }).ofKind("date"),
	{name: "authorization.repairs_allowed", label: "Repairs it allows", hint: "Empty when not said.", kind: "number",
		get: getRepairsAllowed, set: setRepairsAllowed},
	text("purchase_order", "Purchase order", "", func(c *payersv1.Coverage) *string { return &c.PurchaseOrder }),
	text("cost_centre", "Cost centre", "", func(c *payersv1.Coverage) *string { return &c.CostCentre }),
	{name: "deductible", label: "Deductible", hint: "As 100.00; empty when not known.", kind: "text", get: getDeductible, set: setDeductible},
	{name: "deductible_basis", label: "Is it taken?", choices: []page.Choice{{Text: "as the payer’s profile says"},
		{Text: "the motorist pays it", Value: "APPLIES"}, {Text: "waived by the payer for a repair", Value: "WAIVED_BY_PAYER"},
		{Text: "waived by a statute", Value: "STATUTE"}, {Text: "waived by an endorsement", Value: "ENDORSEMENT"}},
		get: getBasis, set: setBasis},
	text("loss_state", "State of the loss", "Two letters.", func(c *payersv1.Coverage) *string { return &c.LossState }),
	text("policy_state", "State of the policy", "Two letters.", func(c *payersv1.Coverage) *string { return &c.PolicyState }),
	text("policy_date", "Policy issued or renewed", "", func(c *payersv1.Coverage) *string { return &c.PolicyDate }).ofKind("date"),
	text("payment_document", "What was signed about the payment", "", func(c *payersv1.Coverage) *string { return &c.PaymentDocument }).from(
		page.Choice{Text: "not said"}, page.Choice{Text: "a direction to pay", Value: "DIRECTION_TO_PAY"}, page.Choice{Text: "an assignment", Value: "ASSIGNMENT"}),
	text("written_statement_date", "Written statement of", "Kentucky allows it instead of the payer’s number; ask the shop’s lawyer.",
		func(c *payersv1.Coverage) *string { return &c.WrittenStatementDate }).ofKind("date"),
	text("fraud_statement_state", "Fraud statement of", "The state whose statement stands above the signature; two letters.",
		func(c *payersv1.Coverage) *string { return &c.FraudStatementState }),
}

func getGiveTime(v *say.Voice, c *payersv1.Coverage) string {
	return v.Input(c.GetAuthorization().GetGiveTime())
}

func setGiveTime(v *say.Voice, c *payersv1.Coverage, value string) string {
	// A form knows no seconds: a time that was not touched keeps its own.
	if value == v.Input(c.GetAuthorization().GetGiveTime()) {
		return ""
	}
	at, err := v.ParseInput(value)
	if err != nil {
		return fmt.Sprintf("%q was given; give day and time as 2026-11-30T14:05.", shorten(value))
	}
	allowed(c).GiveTime = at
	return ""
}

func getRepairsAllowed(_ *say.Voice, c *payersv1.Coverage) string {
	if n := c.GetAuthorization().GetRepairsAllowed(); n != 0 {
		return strconv.Itoa(int(n))
	}
	return ""
}

func setRepairsAllowed(_ *say.Voice, c *payersv1.Coverage, value string) string {
	if value == "" {
		allowed(c).RepairsAllowed = 0
		return ""
	}
	n, err := strconv.ParseInt(value, 10, 32)
	if err != nil {
		return fmt.Sprintf("%q was given; give a whole number, or leave it empty.", shorten(value))
	}
	allowed(c).RepairsAllowed = int32(n)
	return ""
}

func getDeductible(_ *say.Voice, c *payersv1.Coverage) string {
	if c.GetDeductible() == nil {
		return ""
	}
	return money.From(c.GetDeductible().GetMinorUnits(), c.GetDeductible().GetCurrencyCode()).Decimal()
}

func setDeductible(v *say.Voice, c *payersv1.Coverage, value string) string {
	if value == "" {
		c.Deductible = nil
		return ""
	}
	code := v.Currency()
	if c.GetDeductible() != nil {
		code = c.GetDeductible().GetCurrencyCode()
	}
	amount, err := money.Parse(strings.ReplaceAll(strings.TrimPrefix(value, "$"), ",", ""), code)
	if err != nil {
		return fmt.Sprintf("%q was given; give a sum as 100.00, or leave it empty when it is not known.", shorten(value))
	}
	c.Deductible = &moneyv1.Money{MinorUnits: amount.Minor, CurrencyCode: amount.Currency}
	return ""
}

func getBasis(_ *say.Voice, c *payersv1.Coverage) string {
	if c.GetDeductibleBasis() == payersv1.DeductibleBasis_DEDUCTIBLE_BASIS_UNSPECIFIED {
		return ""
	}
	return strings.TrimPrefix(c.GetDeductibleBasis().String(), "DEDUCTIBLE_BASIS_")
}

func setBasis(_ *say.Voice, c *payersv1.Coverage, value string) string {
	n, ok := payersv1.DeductibleBasis_value["DEDUCTIBLE_BASIS_"+value]
	if value != "" && !ok {
		return fmt.Sprintf("%q was given; choose one of the list.", shorten(value))
	}
	c.DeductibleBasis = payersv1.DeductibleBasis(n)
	return ""
}

// values are what a coverage holds, by the names of the form.
func values(v *say.Voice, c *payersv1.Coverage) map[string]string {
	all := make(map[string]string, len(fields))
	// Reading an authorization that is not there makes an empty one, which is nobody's business.
	if c = proto.CloneOf(c); c == nil {
		c = &payersv1.Coverage{}
	}
	for _, f := range fields {
		all[f.name] = f.get(v, c)
	}
	return all
}

// readable is a value as people read it: the words of a choice, else itself.
func (f coverageField) readable(value string) string {
	for _, c := range f.choices {
		if c.Value == value && value != "" {
			return c.Text
		}
	}
	return value
}

// shown makes the field of the form.
func (f coverageField) shown(value, fault, demand string, found []*findingsv1.Finding) page.Field {
	field := page.Field{ID: f.id(), Name: f.name, Label: f.label, Hint: f.hint, Kind: f.kind, Value: value, Fault: fault,
		Demand: demand, Findings: found}
	isKnown := false
	for _, c := range f.choices {
		c.IsChosen = c.Value == value
		isKnown = isKnown || c.IsChosen
		field.Choices = append(field.Choices, c)
	}
	if len(f.choices) > 0 && !isKnown { // of a server that knows more
		field.Choices = append(field.Choices, page.Choice{Text: say.Lower(value, ""), Value: value, IsChosen: true})
	}
	return field
}
