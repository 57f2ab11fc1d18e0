// Package say puts sums, days, times and states into the words of the desk: in the shop's
// currency, locale and time zone, and relative to its day.
//
// It refuses to decide anything and to guess: what is missing is said to be missing by an empty
// text, and a day that is none is shown as it came.
package say

import (
	"cmp"
	"strings"
	"time"

	"github.com/bojanz/currency"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "cullet/proto/cullet/access/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/money"
)

// Voice says things as one shop does, at one instant. It is safe for concurrent use.
type Voice struct {
	zone         *time.Location
	currencyCode string
	now          time.Time
	full, plain  *currency.Formatter
}

// New makes the voice of a shop at an instant; a shop whose zone is not known to this machine is
// spoken for in UTC, which the times then name. A nil shop is allowed.
func New(shop *accessv1.Shop, now time.Time) *Voice {
	zone, err := time.LoadLocation(shop.GetTimeZone())
	if err != nil || shop.GetTimeZone() == "Local" {
		zone = time.UTC
	}
	locale := currency.NewLocale("en-" + cmp.Or(shop.GetAddress().GetCountryCode(), "US"))
	v := &Voice{zone: zone, currencyCode: shop.GetCurrencyCode(), now: now.In(zone),
		full: currency.NewFormatter(locale), plain: currency.NewFormatter(locale)}
	v.plain.CurrencyDisplay = currency.DisplayNone
	return v
}

// Sum gives a sum with its sign, for sentences: "$147.75"; empty when there is none.
func (v *Voice) Sum(m *moneyv1.Money) string { return format(v.full, m) }

// Minor gives minor units of the shop's currency as Sum does.
func (v *Voice) Minor(units int64) string { return v.Sum(v.Money(units)) }

// Money is a sum in the shop's currency.
func (v *Voice) Money(units int64) *moneyv1.Money {
	return &moneyv1.Money{MinorUnits: units, CurrencyCode: v.currencyCode}
}

// Column gives a sum without its sign, for money columns: "147.75". Another currency than the
// shop's is named behind it.
func (v *Voice) Column(m *moneyv1.Money) string {
	text := format(v.plain, m)
	if text != "" && m.GetCurrencyCode() != v.currencyCode {
		text += " " + m.GetCurrencyCode()
	}
	return text
}

func format(f *currency.Formatter, m *moneyv1.Money) string {
	if m == nil {
		return ""
	}
	amount := money.From(m.GetMinorUnits(), m.GetCurrencyCode())
	exact, err := currency.NewAmount(amount.Decimal(), m.GetCurrencyCode())
	if err != nil {
		return amount.String()
	}
	return f.Format(exact)
}

// Today is the shop's day, "2026-11-17".
func (v *Voice) Today() string { return v.now.Format(time.DateOnly) }

// Now gives day and time: "Tuesday, November 17, 2026, 8:52 p.m.".
func (v *Voice) Now() string { return v.now.Format("Monday, January 2, 2006, ") + v.clock(v.now) }

// Day gives a civil day in full: "Thursday, November 19", with the year when it is not this one.
// What is no day comes back as it is.
func (v *Voice) Day(date string) string { return v.day(date, "Monday, January 2") }

// ShortDay gives a civil day for tables: "Nov 19", with the year when it is not this one.
func (v *Voice) ShortDay(date string) string { return v.day(date, "Jan 2") }

func (v *Voice) day(date, layout string) string {
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	if day.Year() != v.now.Year() {
		layout += ", 2006"
	}
	return day.Format(layout)
}

// DayOf gives the civil day of an instant in the shop's zone; empty when there is none.
func (v *Voice) DayOf(at *timestamppb.Timestamp) string {
	if at == nil {
		return ""
	}
	return at.AsTime().In(v.zone).Format(time.DateOnly)
}

// Moment gives an instant in full: "November 17, 7:10 p.m."; empty when there is none.
func (v *Voice) Moment(at *timestamppb.Timestamp) string {
	if at == nil {
		return ""
	}
	local := at.AsTime().In(v.zone)
	layout := "January 2, "
	if local.Year() != v.now.Year() {
		layout = "January 2, 2006, "
	}
	return local.Format(layout) + v.clock(local)
}

// Clock gives the time of an instant: "7:10 p.m."; empty when there is none.
func (v *Voice) Clock(at *timestamppb.Timestamp) string {
	if at == nil {
		return ""
	}
	return v.clock(at.AsTime().In(v.zone))
}

func (v *Voice) clock(at time.Time) string {
	text := strings.NewReplacer("AM", "a.m.", "PM", "p.m.").Replace(at.Format("3:04 PM"))
	if v.zone == time.UTC {
		text += " UTC"
	}
	return text
}

// Stamp gives an instant for machines, in the shop's zone; empty when there is none.
func (v *Voice) Stamp(at *timestamppb.Timestamp) string {
	if at == nil {
		return ""
	}
	return at.AsTime().In(v.zone).Format(time.RFC3339)
}

// inputLayout is how a form gives day and time.
const inputLayout = "2006-01-02T15:04"

// Input gives an instant as a form's field takes it; empty when there is none.
func (v *Voice) Input(at *timestamppb.Timestamp) string {
	if at == nil {
		return ""
	}
	return at.AsTime().In(v.zone).Format(inputLayout)
}

// ParseInput reads what such a field gives, with or without seconds; nil for an empty one.
func (v *Voice) ParseInput(text string) (*timestamppb.Timestamp, error) {
	if text == "" {
		return nil, nil
	}
	at, err := time.ParseInLocation(inputLayout, text, v.zone)
	if err != nil {
		at, err = time.ParseInLocation("2006-01-02T15:04:05", text, v.zone)
	}
	if err != nil {
		return nil, err
	}
	return timestamppb.New(at), nil
}

// DaysLeft counts the days from the shop's day to another: 0 is today, negative is past; ok is
// false when date is no day.
func (v *Voice) DaysLeft(date string) (days int, ok bool) {
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return 0, false
	}
	today, err := time.Parse(time.DateOnly, v.Today())
	return int(day.Sub(today) / (24 * time.Hour)), err == nil
}

// Currency is the code of the shop's currency.
func (v *Voice) Currency() string { return v.currencyCode }
