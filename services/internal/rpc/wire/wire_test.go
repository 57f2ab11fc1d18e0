package wire_test

import (
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/internal/rpc/wire"
	"cullet/services/money"
	"cullet/services/payers"
)

func TestCheckMoney(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name     string
		given    *moneyv1.Money
		currency string
		want     []string
	}{
		{"nothing", nil, "USD", nil},
		{"good", &moneyv1.Money{MinorUnits: 8995, CurrencyCode: "USD"}, "USD", nil},
		{"any currency", &moneyv1.Money{MinorUnits: 0, CurrencyCode: "JPY"}, "", nil},
		{"the largest", &moneyv1.Money{MinorUnits: money.Max, CurrencyCode: "USD"}, "USD", nil},
		{"too large", &moneyv1.Money{MinorUnits: money.Max + 1, CurrencyCode: "USD"}, "USD", []string{"fee.minor_units TOO_LARGE"}},
		{"below zero", &moneyv1.Money{MinorUnits: math.MinInt64, CurrencyCode: "USD"}, "USD", []string{"fee.minor_units TOO_SMALL"}},
		{"another currency", &moneyv1.Money{MinorUnits: 1, CurrencyCode: "CAD"}, "USD", []string{"fee.currency_code CURRENCY"}},
		{"no currency", &moneyv1.Money{MinorUnits: -1}, "USD", []string{"fee.currency_code CURRENCY", "fee.minor_units TOO_SMALL"}},
		{"small letters", &moneyv1.Money{MinorUnits: 1, CurrencyCode: "usd"}, "", []string{"fee.currency_code CURRENCY"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			var got []string
			for _, f := range wire.CheckMoney("fee", test.given, test.currency) {
				got = append(got, f.Path+" "+f.Reason)
			}
			if diff := cmp.Diff(test.want, got); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

func TestCoverageThereAndBack(t *testing.T) {
	t.Parallel()
	given := time.Date(2026, 10, 20, 14, 5, 0, 123_000, time.UTC)
	full := payers.Coverage{PayerCode: "lantern-mutual", PolicyNumber: "LM-1", InsuredName: "I. Example", DateOfLoss: "2026-10-18",
		CauseOfLoss: "ROAD_DEBRIS", LossState: "OH", Deductible: &money.Amount{Minor: 0, Currency: "USD"},
		DeductibleBasis: payers.Statute, LossReference: "R-1", PurchaseOrder: "PO-1", CostCentre: "C-1", PolicyState: "KY",
		PolicyDate: "2026-03-01", PaymentDocument: "ASSIGNMENT", WrittenStatementDate: "2026-10-19", FraudStatementState: "NY",
		Authorization: payers.Authorization{Number: "A1", GivenBy: "Desk", GiveTime: &given, ValidTo: "2026-11-30", RepairsAllowed: 2}}
	for name, want := range map[string]payers.Coverage{"full": full, "empty": {}} {
		if diff := cmp.Diff(want, wire.FromCoverage(wire.ToCoverage(want))); diff != "" {
			t.Errorf("%s (-sent +back):\n%s", name, diff)
		}
	}
	if got := wire.FromCoverage(nil); got != (payers.Coverage{}) {
		t.Errorf("no coverage = %+v", got)
	}
}

func TestEnumWordsThereAndBack(t *testing.T) {
	t.Parallel()
	for number, name := range payersv1.PayerKind_name {
		word := wire.Word[payers.Kind]("PAYER_KIND_", payersv1.PayerKind(number))
		if back := wire.Value[payersv1.PayerKind](payersv1.PayerKind_value, "PAYER_KIND_", word); int32(back) != number {
			t.Errorf("%s became %q and then %d", name, word, back)
		}
	}
	if got := wire.Value[payersv1.PayerKind](payersv1.PayerKind_value, "PAYER_KIND_", payers.Kind("FRIEND")); got != 0 {
		t.Errorf("a word that the enum does not know = %d, want 0", got)
	}
}

func TestTimesKeepWhatTheDatabaseKeeps(t *testing.T) {
	t.Parallel()
	got := wire.FromTime(&timestamppb.Timestamp{Seconds: 1_790_000_000, Nanos: 123_456_789})
	if want := time.Unix(1_790_000_000, 123_456_000).UTC(); !got.Equal(want) || got.Location() != time.UTC {
		t.Errorf("time = %v, want %v in UTC", got, want)
	}
	if wire.ToTime(time.Time{}) != nil || !wire.FromTime(nil).IsZero() || wire.FromTimeOrNil(nil) != nil || wire.ToTimeOrNil(nil) != nil {
		t.Error("a missing time did not stay missing")
	}
}

func TestMoneyThatIsMissing(t *testing.T) {
	t.Parallel()
	if wire.ToMoney(money.Amount{}) != nil || wire.ToMoneyOrNil(nil) != nil || wire.FromMoneyOrNil(nil) != nil {
		t.Error("a missing amount did not stay missing")
	}
	zero := money.From(0, "USD")
	if got := wire.ToMoney(zero); got == nil || wire.FromMoney(got) != zero {
		t.Errorf("zero dollars became %v", got)
	}
}
