package wire_test

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/errs"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

// record is the invented record of services/jobs/testdata.
func record(t testing.TB) *jobsv1.RepairRecord {
	t.Helper()
	text, err := os.ReadFile("../../../jobs/testdata/record.json")
	if err != nil {
		t.Fatal(err)
	}
	m := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, m); err != nil {
		t.Fatal(err)
	}
	return m
}

func paths(faults []errs.Field) []string {
	all := make([]string, len(faults))
	for i, f := range faults {
		all[i] = f.Path + " " + f.Reason
	}
	return all
}

func TestRecordThereAndBack(t *testing.T) {
	t.Parallel()
	m := record(t)
	m.Vehicle.Vin = "1hg cm826-33a004352"
	got, faults := wire.FromRecord(m)
	if len(faults) > 0 {
		t.Fatalf("faults: %v", faults)
	}
	d := got.Damages[0]
	for _, check := range []struct {
		name      string
		got, want any
	}{
		{"vin", got.Vehicle.VIN, "1HGCM82633A004352"},
		{"spread", *d.Spread, repairability.Length(3825)},
		{"temperature", *d.Process.GlassTemperature, repairability.Temperature(215)},
		{"drilled", *d.Process.Drilled, false},
		{"long legs", *d.LongLegs, 0},
		{"place", *d.Place, repairability.Place{FromDriverEdge: 91250, FromLowerEdge: 41000}},
		{"driver assistance", got.Glass.DriverAssistance, repairability.No},
		{"unsaid", got.Damages[1].InCameraArea, repairability.Answer("")},
		{"position", *got.Place.Position, jobs.Position{LatitudeMicrodegrees: 39103100, LongitudeMicrodegrees: -84512000}},
		{"finish", got.FinishTime, time.Date(2026, 10, 20, 18, 42, 10, 123456000, time.UTC)},
	} {
		if check.got != check.want {
			t.Errorf("%s = %v, want %v", check.name, check.got, check.want)
		}
	}
	want := record(t)
	want.Vehicle.Vin = "1HGCM82633A004352"
	if diff := cmp.Diff(want, wire.ToRecord(&got), protocmp.Transform()); diff != "" {
		t.Errorf("back again (-want +got):\n%s", diff)
	}
}

// TestCommercial: the vehicle says it and the glass's rules read it.
func TestCommercial(t *testing.T) {
	t.Parallel()
	m := record(t)
	m.Vehicle.IsCommercial, m.Glass = true, nil
	got, _ := wire.FromRecord(m)
	if !got.Glass.Commercial {
		t.Error("the glass of a commercial vehicle does not know it")
	}
	if back := wire.ToRecord(&got); back.Glass != nil {
		t.Errorf("a glass that says nothing came back as %v", back.Glass)
	}
}

func TestWhatCannotBeTakenOver(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name   string
		change func(*jobsv1.RepairRecord)
		want   []string
	}{
		{"three decimals", func(m *jobsv1.RepairRecord) {
			m.Damages[1].BodyDiameterMm, m.Glass.WidthMm = proto.Float64(12.345), proto.Float64(0.001)
		}, []string{"record.glass.width_mm TOO_PRECISE", "record.damages[1].body_diameter_mm TOO_PRECISE"}},
		{"not rounded", func(m *jobsv1.RepairRecord) { m.Damages[0].SpreadMm = proto.Float64(math.Nextafter(38.25, 39)) },
			[]string{"record.damages[0].spread_mm TOO_PRECISE"}},
		{"no numbers", func(m *jobsv1.RepairRecord) {
			m.Damages[0].SpreadMm, m.Damages[0].PitDepthMm = proto.Float64(math.NaN()), proto.Float64(math.Inf(-1))
		}, []string{"record.damages[0].spread_mm OUT_OF_RANGE", "record.damages[0].pit_depth_mm OUT_OF_RANGE"}},
		{"out of range", func(m *jobsv1.RepairRecord) {
			m.Glass.HeightMm, m.Damages[0].Process.GlassTemperatureC = proto.Float64(1e300), proto.Float64(-1001)
		}, []string{"record.glass.height_mm OUT_OF_RANGE", "record.damages[0].process.glass_temperature_c OUT_OF_RANGE"}},
		{"temperature of two decimals", func(m *jobsv1.RepairRecord) { m.Damages[0].Process.GlassTemperatureC = proto.Float64(21.25) },
			[]string{"record.damages[0].process.glass_temperature_c TOO_PRECISE"}},
		{"half a place", func(m *jobsv1.RepairRecord) {
			m.Damages[0].Place.FromLowerEdgeMm, m.Damages[1].Place.FromDriverEdgeMm = nil, nil
		}, []string{"record.damages[0].place.from_lower_edge_mm REQUIRED", "record.damages[1].place.from_driver_edge_mm REQUIRED"}},
		{"faulty place", func(m *jobsv1.RepairRecord) { m.Damages[0].Place.FromLowerEdgeMm = proto.Float64(1.001) },
			[]string{"record.damages[0].place.from_lower_edge_mm TOO_PRECISE"}},
		{"half a position", func(m *jobsv1.RepairRecord) { m.PlaceOfRepair.LongitudeDegrees = nil },
			[]string{"record.place_of_repair.longitude_degrees REQUIRED"}},
		{"beside the earth", func(m *jobsv1.RepairRecord) {
			m.PlaceOfRepair.LatitudeDegrees, m.PlaceOfRepair.LongitudeDegrees = proto.Float64(90.5), proto.Float64(math.NaN())
		}, []string{"record.place_of_repair.latitude_degrees OUT_OF_RANGE", "record.place_of_repair.longitude_degrees OUT_OF_RANGE"}},
		{"no time", func(m *jobsv1.RepairRecord) {
			m.StartTime, m.WorkAuthorization.SignTime = &timestamppb.Timestamp{Nanos: -1}, &timestamppb.Timestamp{Seconds: math.MaxInt64}
		}, []string{"record.start_time NOT_A_TIME", "record.work_authorization.sign_time NOT_A_TIME"}},
		{"money", func(m *jobsv1.RepairRecord) {
			m.Coverage.Deductible = &moneyv1.Money{MinorUnits: -1, CurrencyCode: "dollars"}
		}, []string{"record.coverage.deductible.currency_code CURRENCY", "record.coverage.deductible.minor_units TOO_SMALL"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			m := record(t)
			test.change(m)
			_, faults := wire.FromRecord(m)
			if diff := cmp.Diff(test.want, paths(faults)); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
			for _, f := range faults {
				if len(f.Message) < 30 {
					t.Errorf("%s says only %q", f.Path, f.Message)
				}
			}
		})
	}
}

func TestNothingIsNoRecord(t *testing.T) {
	t.Parallel()
	got, faults := wire.FromRecord(nil)
	if len(faults) > 0 || got.Vehicle.VIN != "" {
		t.Errorf("got %v with %v", got, faults)
	}
	if _, damages, faults := wire.FromDamages(nil, nil, true); len(damages) > 0 || len(faults) > 0 {
		t.Errorf("damages %v, faults %v", damages, faults)
	}
}

// TestLengths: whatever has at most two decimals is taken to the hundredth, whatever has more is not.
func TestLengths(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		hundredths := rapid.IntRange(-1_000_000, 1_000_000).Draw(t, "hundredths")
		text := repairability.Length(hundredths).String()
		value, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		got, faults := spread(value)
		if len(faults) > 0 || got == nil || int(*got) != hundredths {
			t.Fatalf("%s mm became %v with %v", text, got, faults)
		}
		if !strings.Contains(text, ".") {
			text += "."
		}
		finer := text + strings.Repeat("0", 2-len(text[strings.Index(text, ".")+1:])) + fmt.Sprint(rapid.IntRange(1, 9).Draw(t, "third"))
		if value, err = strconv.ParseFloat(finer, 64); err != nil {
			t.Fatal(err)
		}
		if got, faults = spread(value); len(faults) != 1 || got != nil {
			t.Fatalf("%s mm became %v with %v", finer, got, faults)
		}
	})
}

func spread(mm float64) (*repairability.Length, []errs.Field) {
	_, damages, faults := wire.FromDamages(nil, []*jobsv1.Damage{{SpreadMm: &mm}}, false)
	return damages[0].Spread, faults
}

func TestAssessments(t *testing.T) {
	t.Parallel()
	got := wire.ToAssessments("record.", []repairability.Assessment{{}, {
		Verdict: repairability.NotRepairable, Standard: "A standard", Edition: "2007", Clause: "5", Missing: []string{"spread_mm"},
		InViewingArea: repairability.Yes,
		Reasons: []repairability.Reason{{Code: "A", Result: repairability.Over, Field: "spread_mm", Sentence: "Too wide."},
			{Code: "B", Result: repairability.Missing}, {Code: "C", Result: repairability.Within}},
	}})
	want := &jobsv1.Assessment{}
	if err := protojson.Unmarshal([]byte(`{"damageNumber": 2, "verdict": "VERDICT_NOT_REPAIRABLE", "standard": "A standard 2007",
		"clause": "5", "missing": ["spread_mm"], "isInViewingArea": "KNOWN_YES", "reasons": [
		{"code": "A", "severity": "SEVERITY_STOP", "path": "record.damages[1].spread_mm", "sentence": "Too wide."},
		{"code": "B", "severity": "SEVERITY_CAUTION", "path": "record.damages[1]"},
		{"code": "C", "severity": "SEVERITY_NOTE", "path": "record.damages[1]"}]}`), want); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got[1], protocmp.Transform()); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// TestEveryFieldIsCarried sets each field of the contract alone and looks whether it comes back: a
// field that is added to the contract and forgotten here is found.
func TestEveryFieldIsCarried(t *testing.T) {
	t.Parallel()
	whole := record(t)
	whole.Motorist.CustomerId, whole.WarrantyOfJobId = "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69", "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a70"
	whole.Photos = []*jobsv1.PhotoReference{{PhotoHash: strings.Repeat("ab", 32), Kind: jobsv1.PhotoKind_PHOTO_KIND_AFTER, DamageNumber: 1,
		PlateVin: "1HGCM82633A004352"}}
	whole.Vehicle.IsCommercial, whole.Glass.IsHeavyVehicle = true, true
	whole.Vehicle.Vin, whole.Vehicle.ModelYear, whole.Vehicle.IsForNorthAmerica = "1HGCM82633A004352", 2003, true
	d := whole.Damages[0]
	d.CrackLengthMm, d.EdgesTouched, d.PitDepthMm, d.RepairDistanceMm = proto.Float64(1), proto.Int32(1), proto.Float64(1), proto.Float64(1)
	d.Process.TemperatureNote, d.Process.DrillReason, d.Process.Reason = "a", "b", "c"
	d.Process.IsPitFlush, d.Process.ResultNote = proto.Bool(true), "d"
	d.Process.DrillDepthMm, d.Process.CureInsideSeconds = proto.Float64(1), proto.Int32(2)
	c := whole.Coverage
	c.LossReference, c.PurchaseOrder, c.CostCentre, c.PolicyState = "a", "b", "c", "KY"
	c.PolicyDate, c.PaymentDocument, c.WrittenStatementDate, c.FraudStatementState = "2026-03-01", "DIRECTION_TO_PAY", "2026-10-19", "NY"
	whole.Motorist.Address.Street, whole.Motorist.Address.County, whole.Motorist.Address.PostalCode = "a", "b", "c"
	if missing := unset("record", whole.ProtoReflect()); len(missing) > 0 {
		t.Fatalf("the test sets nothing in %v", missing)
	}
	got, faults := wire.FromRecord(whole)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	if diff := cmp.Diff(whole, wire.ToRecord(&got), protocmp.Transform()); diff != "" {
		t.Errorf("(-sent +back):\n%s", diff)
	}
}

// unset lists the fields of a message, and of the first item of its lists, that are not set. A bool
// that is false and an enum of a list's later item do not matter.
func unset(path string, m protoreflect.Message) (missing []string) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		here := path + "." + string(fd.Name())
		switch {
		case !m.Has(fd):
			missing = append(missing, here)
		case fd.IsList() && fd.Message() != nil:
			missing = append(missing, unset(here+"[0]", m.Get(fd).List().Get(0).Message())...)
		case fd.Message() != nil && fd.Message().ParentFile().Package() != "google.protobuf" && !fd.IsList():
			missing = append(missing, unset(here, m.Get(fd).Message())...)
		}
	}
	return missing
}
