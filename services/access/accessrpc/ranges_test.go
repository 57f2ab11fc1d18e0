package accessrpc_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	accessv1 "cullet/proto/cullet/access/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	"cullet/services/finding"
)

// rangeOf finds a reading among the shop's ranges; nil when it is not there.
func rangeOf(shop *accessv1.Shop, reading string) *accessv1.ProcessRange {
	for _, r := range shop.GetProcessRanges() {
		if r.GetReading() == reading {
			return r
		}
	}
	return nil
}

// TestProcessRangesShipMarked: a new shop has a range for every reading, each marked as common
// practice without a source; the values are those of the trade, written out.
func TestProcessRangesShipMarked(t *testing.T) {
	t.Parallel()
	shop := shopOf(t, start(t))
	for _, c := range []struct {
		reading, unit string
		low, high     *float64
	}{
		{"glass_temperature_c", "°C", proto.Float64(10), proto.Float64(35)}, {"humidity_percent", "%", nil, proto.Float64(90)},
		{"drill_depth_mm", "mm", proto.Float64(0.5), proto.Float64(1.8)}, {"vacuum_seconds", "s", proto.Float64(30), proto.Float64(900)},
		{"pressure_seconds", "s", proto.Float64(60), proto.Float64(1800)}, {"cycles", "cycles", nil, proto.Float64(8)},
		{"resin_viscosity_cp", "cP", proto.Float64(15), proto.Float64(150)}, {"resin_on_cold_glass_cp", "cP", nil, proto.Float64(50)},
		{"resin_on_warm_glass_cp", "cP", proto.Float64(40), nil}, {"pit_resin_viscosity_cp", "cP", proto.Float64(400), proto.Float64(2000)},
		{"cure_seconds", "s", proto.Float64(60), proto.Float64(1800)}, {"pit_cure_seconds", "s", proto.Float64(30), nil},
		{"whole_repair_minutes", "min", proto.Float64(8), proto.Float64(180)},
	} {
		got := rangeOf(shop, c.reading)
		if got.GetSource().GetKnown() != string(finding.CommonPractice) || got.GetSource().GetCitation() == "" {
			t.Errorf("%s: source %v, want common practice", c.reading, got.GetSource())
		}
		want := &accessv1.ProcessRange{Reading: c.reading, Unit: c.unit, Low: c.low, High: c.high}
		if diff := cmp.Diff(want, got, protocmp.Transform(), protocmp.IgnoreFields(want, "source")); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.reading, diff)
		}
	}
	if got := len(shop.GetProcessRanges()); got != 13 {
		t.Errorf("%d ranges, 13 are written out here", got)
	}
}

// TestAShopSetsItsRanges: what it sets is its own, what it does not set stays as it ships, and what it
// leaves out goes back.
func TestAShopSetsItsRanges(t *testing.T) {
	t.Parallel()
	w := start(t)
	update := func(change func(*accessv1.Shop)) *accessv1.Shop {
		shop := shopOf(t, w)
		change(shop)
		if _, err := w.Access.UpdateShop(t.Context(), &accessv1.UpdateShopRequest{Shop: shop}); err != nil {
			t.Fatal(err)
		}
		return shopOf(t, w)
	}
	shipped := shopOf(t, w)
	own := &findingsv1.Source{Citation: "the shop's own setting", Known: string(finding.Own)}
	set := update(func(s *accessv1.Shop) {
		rangeOf(s, "vacuum_seconds").Low, rangeOf(s, "drill_depth_mm").High = proto.Float64(90), proto.Float64(1.55)
		rangeOf(s, "humidity_percent").High = nil
	})
	for _, want := range []*accessv1.ProcessRange{
		{Reading: "vacuum_seconds", Unit: "s", Low: proto.Float64(90), High: proto.Float64(900), Source: own},
		{Reading: "drill_depth_mm", Unit: "mm", Low: proto.Float64(0.5), High: proto.Float64(1.55), Source: own},
		{Reading: "humidity_percent", Unit: "%", Source: own},
	} {
		if diff := cmp.Diff(want, rangeOf(set, want.GetReading()), protocmp.Transform()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", want.GetReading(), diff)
		}
	}
	if diff := cmp.Diff(rangeOf(shipped, "cure_seconds"), rangeOf(set, "cure_seconds"), protocmp.Transform()); diff != "" {
		t.Errorf("a range that was not set (-shipped +got):\n%s", diff)
	}
	back := update(func(s *accessv1.Shop) { s.ProcessRanges = nil })
	if diff := cmp.Diff(shipped.GetProcessRanges(), back.GetProcessRanges(), protocmp.Transform()); diff != "" {
		t.Errorf("left out again (-shipped +got):\n%s", diff)
	}
}

func TestProcessRangesThatCannotBe(t *testing.T) {
	t.Parallel()
	w := start(t)
	shop := shopOf(t, w)
	shop.ProcessRanges = []*accessv1.ProcessRange{
		{Reading: "vacuum_seconds", Low: proto.Float64(61), High: proto.Float64(60)},
		{Reading: "vacuum_seconds", Low: proto.Float64(60.5)},
		{Reading: "glass_temperature_c", Low: proto.Float64(-40.1), High: proto.Float64(20.25)},
		{Reading: "drill_depth_mm", High: proto.Float64(2.1)},
		{Reading: "suction", Low: proto.Float64(1)},
		{Reading: "cure_seconds", Low: proto.Float64(60), High: proto.Float64(60)},
	}
	_, err := w.Access.UpdateShop(t.Context(), &accessv1.UpdateShopRequest{Shop: shop})
	want := []string{"shop.process_ranges[0].high CONTRADICTION", "shop.process_ranges[1].reading REPEATED",
		"shop.process_ranges[1].low TOO_PRECISE", "shop.process_ranges[2].low OUT_OF_RANGE", "shop.process_ranges[2].high TOO_PRECISE",
		"shop.process_ranges[3].high OUT_OF_RANGE", "shop.process_ranges[4].reading UNKNOWN_VALUE"}
	if diff := cmp.Diff(want, faults(t, err)); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}
