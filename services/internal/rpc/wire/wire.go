// Package wire turns the messages that several services share into the nouns of the domain and
// back: money, addresses, findings, coverage, taxes, repair records.
//
// It refuses to judge: what is wrong with a value is told by the Check functions and by
// rpc.Validate. It never rounds a reading either: what cannot be taken over exactly comes back as a
// fault.
package wire

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "cullet/proto/cullet/access/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/money"
)

// ToMoney gives an amount as a message; nil for the zero Amount, which has no currency.
func ToMoney(a money.Amount) *moneyv1.Money {
	if a == (money.Amount{}) {
		return nil
	}
	return &moneyv1.Money{MinorUnits: a.Minor, CurrencyCode: a.Currency}
}

// FromMoney gives the amount of a message; the zero Amount for nil.
func FromMoney(m *moneyv1.Money) money.Amount {
	return money.From(m.GetMinorUnits(), m.GetCurrencyCode())
}

// ToMoneyOrNil is ToMoney for an amount that may be missing.
func ToMoneyOrNil(a *money.Amount) *moneyv1.Money {
	if a == nil {
		return nil
	}
	return &moneyv1.Money{MinorUnits: a.Minor, CurrencyCode: a.Currency}
}

// FromMoneyOrNil is FromMoney for an amount that may be missing; nil for nil.
func FromMoneyOrNil(m *moneyv1.Money) *money.Amount {
	if m == nil {
		return nil
	}
	a := FromMoney(m)
	return &a
}

// CheckMoney gives the faults of an amount: a currency that is not the wanted one, a sum below zero
// or out of range. An empty wanted currency takes any known one; nil has no fault.
func CheckMoney(path string, m *moneyv1.Money, currency string) []errs.Field {
	if m == nil {
		return nil
	}
	var faults []errs.Field
	fault := func(field, reason, message string, args ...any) {
		faults = append(faults, errs.Field{Path: path + "." + field, Reason: reason, Message: fmt.Sprintf(message, args...)})
	}
	code := m.GetCurrencyCode()
	if _, known := money.Digits(code); !known {
		fault("currency_code", "CURRENCY", "%q was given; give the code of a currency after ISO 4217 in capitals, \"USD\"", code)
	} else if currency != "" && code != currency {
		fault("currency_code", "CURRENCY", "%s was given and only %s is allowed here", code, currency)
	}
	switch minor := m.GetMinorUnits(); {
	case minor < 0:
		fault("minor_units", "TOO_SMALL", "%d was given; an amount here is 0 or more: give that", minor)
	case minor > money.Max:
		fault("minor_units", "TOO_LARGE", "%d was given and at most %d is allowed; give the amount in whole minor units, cents for USD", minor, money.Max)
	}
	return faults
}

// ToAddress gives an address as a message; nil when nothing is known of it.
func ToAddress(a access.Address) *accessv1.Address {
	if a.IsZero() {
		return nil
	}
	return &accessv1.Address{Street: a.Street, City: a.City, County: a.County, State: a.State,
		PostalCode: a.PostalCode, CountryCode: a.CountryCode}
}

// FromAddress gives the address of a message; the zero Address for nil.
func FromAddress(m *accessv1.Address) access.Address {
	return access.Address{Street: m.GetStreet(), City: m.GetCity(), County: m.GetCounty(), State: m.GetState(),
		PostalCode: m.GetPostalCode(), CountryCode: m.GetCountryCode()}
}

// ToTime gives an instant as a message; nil for the zero time.
func ToTime(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

// ToTimeOrNil is ToTime for an instant that may be missing.
func ToTimeOrNil(t *time.Time) *timestamppb.Timestamp {
	if t == nil {
		return nil
	}
	return timestamppb.New(*t)
}

// FromTime gives the instant of a message in UTC, cut to the microseconds that the database keeps;
// the zero time for nil.
func FromTime(m *timestamppb.Timestamp) time.Time {
	if m == nil {
		return time.Time{}
	}
	return m.AsTime().Truncate(time.Microsecond)
}

// FromTimeOrNil is FromTime for an instant that may be missing; nil for nil.
func FromTimeOrNil(m *timestamppb.Timestamp) *time.Time {
	if m == nil {
		return nil
	}
	t := FromTime(m)
	return &t
}

// ToSource gives where a rule comes from as a message; nil when nothing is said.
func ToSource(s finding.Source) *findingsv1.Source {
	if s == (finding.Source{}) {
		return nil
	}
	return &findingsv1.Source{Citation: s.Citation, Known: string(s.Known), ReadOn: s.ReadOn}
}

// ToFindings gives findings as messages, in their order.
func ToFindings(all []finding.Finding) []*findingsv1.Finding {
	messages := make([]*findingsv1.Finding, len(all))
	for i, f := range all {
		messages[i] = &findingsv1.Finding{Code: f.Code, Severity: severities[f.Severity], Path: f.Path,
			Sentence: f.Sentence, Fix: f.Fix, Source: ToSource(f.Source), Suggestion: f.Suggestion,
			OtherPhotoHash: f.OtherPhoto}
	}
	return messages
}

var severities = map[finding.Severity]findingsv1.Severity{
	finding.Stop:    findingsv1.Severity_SEVERITY_STOP,
	finding.Caution: findingsv1.Severity_SEVERITY_CAUTION,
	finding.Note:    findingsv1.Severity_SEVERITY_NOTE,
}
