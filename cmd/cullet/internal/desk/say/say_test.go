package say_test

import (
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"cullet/cmd/cullet/internal/desk/say"
	accessv1 "cullet/proto/cullet/access/v1"
	claimsv1 "cullet/proto/cullet/claims/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
)

// evening is 8:52 p.m. of November 17 in Columbus, and the next day already in UTC.
var evening = time.Date(2026, 11, 18, 1, 52, 0, 0, time.UTC)

func columbus() *say.Voice {
	return say.New(&accessv1.Shop{TimeZone: "America/New_York", CurrencyCode: "USD",
		Address: &accessv1.Address{CountryCode: "US"}}, evening)
}

func TestSums(t *testing.T) {
	t.Parallel()
	v := columbus()
	for _, c := range []struct {
		name, got, want string
	}{
		{"a sentence shows the sign", v.Sum(&moneyv1.Money{MinorUnits: 123456789, CurrencyCode: "USD"}), "$1,234,567.89"},
		{"a column does not", v.Column(&moneyv1.Money{MinorUnits: 14775, CurrencyCode: "USD"}), "147.75"},
		{"below zero", v.Column(&moneyv1.Money{MinorUnits: -5, CurrencyCode: "USD"}), "-0.05"},
		{"another currency is named", v.Column(&moneyv1.Money{MinorUnits: 100, CurrencyCode: "EUR"}), "1.00 EUR"},
		{"nothing is nothing", v.Sum(nil) + v.Column(nil), ""},
		{"of the shop", v.Minor(88130), "$881.30"},
		{"an unknown currency is not dressed up", v.Sum(&moneyv1.Money{MinorUnits: 7, CurrencyCode: "QQQ"}), "7 QQQ"},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, c.got, c.want)
		}
	}
}

func TestDaysAndTimes(t *testing.T) {
	t.Parallel()
	v := columbus()
	at := timestamppb.New(evening)
	for _, c := range []struct {
		name, got, want string
	}{
		{"the day is the shop's", v.Today(), "2026-11-17"},
		{"now", v.Now(), "Tuesday, November 17, 2026, 8:52 p.m."},
		{"a day of this year", v.Day("2026-11-19"), "Thursday, November 19"},
		{"a day of another year", v.Day("2027-01-04"), "Monday, January 4, 2027"},
		{"no day", v.Day("soon"), "soon"},
		{"a table's day", v.ShortDay("2026-11-09"), "Nov 9"},
		{"a moment", v.Moment(at), "November 17, 8:52 p.m."},
		{"a moment of another year", v.Moment(timestamppb.New(evening.AddDate(-1, 0, 0))), "November 17, 2025, 8:52 p.m."},
		{"no moment", v.Moment(nil) + v.Clock(nil) + v.Stamp(nil) + v.Input(nil) + v.DayOf(nil), ""},
		{"for machines", v.Stamp(at), "2026-11-17T20:52:00-05:00"},
		{"for a form", v.Input(at), "2026-11-17T20:52"},
		{"without a zone it says UTC", say.New(nil, evening).Clock(at), "1:52 a.m. UTC"},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, c.got, c.want)
		}
	}
}

func TestParseInput(t *testing.T) {
	t.Parallel()
	v := columbus()
	for _, text := range []string{"2026-11-17T20:52", "2026-11-17T20:52:00"} {
		at, err := v.ParseInput(text)
		if err != nil || !at.AsTime().Equal(evening) {
			t.Errorf("ParseInput(%q) = %v, %v, want %v", text, at, err, evening)
		}
	}
	if at, err := v.ParseInput(""); at != nil || err != nil {
		t.Errorf("an empty field gave %v, %v", at, err)
	}
	if at, err := v.ParseInput("yesterday"); err == nil {
		t.Errorf("%q gave %v without an error", "yesterday", at)
	}
}

func TestDaysLeft(t *testing.T) {
	t.Parallel()
	v := columbus()
	for date, want := range map[string]int{"2026-11-17": 0, "2026-11-19": 2, "2026-11-10": -7, "2027-11-17": 365} {
		if got, ok := v.DaysLeft(date); got != want || !ok {
			t.Errorf("DaysLeft(%s) = %d, %t, want %d", date, got, ok, want)
		}
	}
	if _, ok := v.DaysLeft(""); ok {
		t.Error("no day has days left")
	}
}

func TestWords(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, got, want string
	}{
		{"state", say.State(claimsv1.State_STATE_INFORMATION_REQUESTED), "information requested"},
		{"state in an address", say.StateWord(claimsv1.State_STATE_INFORMATION_REQUESTED), "information-requested"},
		{"no state", say.State(claimsv1.State_STATE_UNSPECIFIED), ""},
		{"few", say.Number(8), "eight"},
		{"many", say.Number(25), "25"},
		{"one", say.Count(1, "claim", "claims"), "1 claim"},
		{"several", say.Count(0, "claim", "claims"), "0 claims"},
		{"rate", say.Percent("0.0575"), "5.75 %"},
		{"rate of nothing", say.Percent("0"), "0 %"},
		{"rate that a float would spoil", say.Percent("0.00725"), "0.725 %"},
		{"no rate", say.Percent("exempt"), "exempt"},
		{"length", say.Millimetres(3.6), "3.6 mm"},
		{"whole length", say.Millimetres(100), "100 mm"},
		{"sentence", say.Sentence("not covered "), "not covered."},
		{"sentence in brackets", say.Sentence("Not covered. (See the policy.)"), "Not covered. (See the policy.)"},
		{"question", say.Sentence("who signed?"), "who signed?"},
		{"address", say.Address("12 Quay Street", "", "OH"), "12 Quay Street, OH"},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, c.got, c.want)
		}
	}
}

func TestStateWordsGoBothWays(t *testing.T) {
	t.Parallel()
	for n := range claimsv1.State_name {
		s := claimsv1.State(n)
		got, ok := say.ParseStateWord(say.StateWord(s))
		if n == 0 {
			if ok {
				t.Error("the unspecified state has a word")
			}
			continue
		}
		if !ok || got != s {
			t.Errorf("%s became %q and that %s", s, say.StateWord(s), got)
		}
	}
}
