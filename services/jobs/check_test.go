package jobs_test

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/jobs"
	"cullet/services/payers"
	"cullet/services/repairability"
)

var (
	finish = time.Date(2026, 10, 21, 2, 42, 10, 123456000, time.UTC)
	now    = time.Date(2026, 10, 21, 3, 0, 0, 0, time.UTC)
)

// record is an invented repair on the evening of October 20 in Ohio, which is October 21 in UTC.
func record() *jobs.Record {
	return &jobs.Record{
		ExternalReference: "V-2026-1041",
		Vehicle:           jobs.Vehicle{VIN: "1HGCM82633A004352"},
		Glass:             repairability.Glass{Width: repairability.MM(1480), Height: repairability.MM(820), DriverAssistance: repairability.No},
		Damages: []jobs.Damage{
			{Damage: repairability.Damage{Kind: repairability.Bullseye, BodyDiameter: repairability.MM(12), Layer: repairability.OuterLayer,
				Outcome: repairability.Repaired}, Process: &repairability.Process{VacuumCycles: []int{120}, PressureCycles: []int{240}}},
			{Damage: repairability.Damage{Kind: repairability.Crack, CrackLength: repairability.MM(80), Outcome: repairability.Declined}},
		},
		Place: jobs.Place{IsMobile: true, Address: access.Address{State: "OH", CountryCode: "US"},
			Position: &jobs.Position{LatitudeMicrodegrees: 39103100, LongitudeMicrodegrees: -84512000}},
		StartTime: finish.Add(-40 * time.Minute), FinishTime: finish, TimeZone: "America/New_York", Technician: "T. Example (invented)",
		Photos: []jobs.PhotoReference{{Hash: hash("a"), Kind: jobs.Before, DamageNumber: 1}, {Hash: hash("b"), Kind: jobs.WholeGlass}},
		Coverage: payers.Coverage{PayerCode: "lantern-mutual", Authorization: payers.Authorization{
			Number: "A-1", GiveTime: new(finish.Add(-time.Hour))}},
		WorkAuthorization: jobs.Signature{SignedBy: "Jordan Example (invented)", SignTime: finish.Add(-time.Hour)},
		WarrantyOf:        "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69",
	}
}

func hash(digit string) jobs.PhotoHash { return jobs.PhotoHash(strings.Repeat(digit, 64)) }

func paths(faults []errs.Field) []string {
	all := make([]string, len(faults))
	for i, f := range faults {
		all[i] = strings.TrimPrefix(f.Path, "record.") + " " + f.Reason
	}
	return all
}

func TestCheck(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name   string
		change func(*jobs.Record)
		want   []string
	}{
		{"nothing wrong", func(*jobs.Record) {}, []string{}},
		{"VIN of 16 characters", func(r *jobs.Record) { r.Vehicle.VIN = "1HGCM82633A00435" }, []string{"vehicle.vin VIN_LENGTH"}},
		{"VIN too short and with barred letters", func(r *jobs.Record) { r.Vehicle.VIN = "1HGCM82633A0O4I" },
			[]string{"vehicle.vin VIN_LENGTH", "vehicle.vin VIN_ALPHABET"}},
		{"VIN with an invisible mark", func(r *jobs.Record) { r.Vehicle.VIN = "1HGCM\u200b82633A004352" }, []string{"vehicle.vin VIN_HYGIENE"}},
		{"VIN whose check digit is wrong is stored", func(r *jobs.Record) { r.Vehicle.VIN = "1HGCM82633A004353" }, []string{}},
		{"VIN of one character is stored", func(r *jobs.Record) { r.Vehicle.VIN = strings.Repeat("1", 17) }, []string{}},
		{"a damage of -3 mm", func(r *jobs.Record) { r.Damages[0].BodyDiameter = repairability.MM(-3) },
			[]string{"damages[0].body_diameter_mm DAMAGE_LENGTH_RANGE"}},
		{"a part larger than its whole", func(r *jobs.Record) { r.Damages[0].PitDiameter = repairability.MM(13) },
			[]string{"damages[0].pit_diameter_mm DAMAGE_CONTRADICTION"}},
		{"glass of no width", func(r *jobs.Record) { r.Glass.Width = repairability.MM(0) }, []string{"glass.width_mm GLASS_LENGTH_RANGE"}},
		{"no outcome", func(r *jobs.Record) { r.Damages[1].Outcome = "" }, []string{"damages[1].outcome REQUIRED"}},
		{"readings of a declined damage are kept", func(r *jobs.Record) { r.Damages[0].Outcome = repairability.Declined }, []string{}},
		{"readings that cannot be are cautions", func(r *jobs.Record) { r.Damages[0].Process.VacuumCycles = []int{-5} }, []string{}},
		{"too many cycles, too long a reason, a step of tomorrow", func(r *jobs.Record) {
			r.Damages[0].Process = &repairability.Process{VacuumCycles: make([]int, 51), Reason: strings.Repeat("ä", 1001),
				EndTime: new(now.Add(24 * time.Hour))}
		}, []string{"damages[0].process.reason TOO_LARGE", "damages[0].process.vacuum_seconds TOO_LARGE", "damages[0].process.end_time FUTURE"}},
		{"a reason of 1000 characters", func(r *jobs.Record) { r.Damages[0].Process.Reason = strings.Repeat("ä", 1000) }, []string{}},
		{"mobile without address", func(r *jobs.Record) { r.Place.Address = access.Address{} }, []string{"place_of_repair.address REQUIRED"}},
		{"mobile without state and country", func(r *jobs.Record) { r.Place.Address = access.Address{City: "Cincinnati"} },
			[]string{"place_of_repair.address.country_code REQUIRED", "place_of_repair.address.state REQUIRED"}},
		{"mobile where there are no states", func(r *jobs.Record) { r.Place.Address = access.Address{CountryCode: "GB"} }, []string{}},
		{"at the shop", func(r *jobs.Record) { r.Place = jobs.Place{} }, []string{}},
		{"finished in the future", func(r *jobs.Record) { r.FinishTime = now.Add(jobs.Ahead + time.Second) }, []string{"finish_time FUTURE"}},
		{"a clock that is five minutes ahead", func(r *jobs.Record) { r.FinishTime = now.Add(jobs.Ahead) }, []string{}},
		{"finished before it began", func(r *jobs.Record) { r.FinishTime = r.StartTime.Add(-time.Microsecond) }, []string{"finish_time ORDER"}},
		{"times that were never set", func(r *jobs.Record) { r.StartTime, r.FinishTime = time.Unix(0, 0), time.Unix(0, 0) },
			[]string{"start_time TOO_OLD", "finish_time TOO_OLD"}},
		{"no such zone", func(r *jobs.Record) { r.TimeZone = "America/Atlantis" }, []string{"time_zone TIME_ZONE"}},
		{"the zone of nobody knows where", func(r *jobs.Record) { r.TimeZone = "Local" }, []string{"time_zone TIME_ZONE"}},
		{"a path instead of a zone", func(r *jobs.Record) { r.TimeZone = "../../etc/passwd" }, []string{"time_zone TIME_ZONE"}},
		{"the same photo twice", func(r *jobs.Record) { r.Photos[1].Hash = hash("a") }, []string{"photos[1].photo_hash REPEATED"}},
		{"no photo hash, a cut one, one in capitals", func(r *jobs.Record) {
			r.Photos = []jobs.PhotoReference{{}, {Hash: hash("a")[:63]}, {Hash: hash("A")}}
		}, []string{"photos[0].photo_hash REQUIRED", "photos[1].photo_hash PHOTO_HASH", "photos[2].photo_hash PHOTO_HASH"}},
		{"a photo of the third of two damages", func(r *jobs.Record) { r.Photos[0].DamageNumber = 3 }, []string{"photos[0].damage_number DAMAGE_NUMBER"}},
		{"the number on a photo of no plate", func(r *jobs.Record) { r.Photos[0].PlateVIN = "1HGCM82633A004352" },
			[]string{"photos[0].plate_vin NOT_A_PLATE"}},
		{"the number on a photo of the plate", func(r *jobs.Record) {
			r.Photos[1].Kind, r.Photos[1].PlateVIN = jobs.VINPlate, "1HGCM82633A004352"
		}, []string{}},
		{"a photo of the second of two damages", func(r *jobs.Record) { r.Photos[0].DamageNumber = 2 }, []string{}},
		{"spaces around", func(r *jobs.Record) { r.ExternalReference, r.Technician = " V-1", "T. " },
			[]string{"external_reference SPACES", "technician SPACES"}},
		{"signed by nobody, signed tomorrow, authorized tomorrow", func(r *jobs.Record) {
			r.WorkAuthorization.SignedBy = ""
			r.PaymentAuthorization = jobs.Signature{SignedBy: "A", SignTime: now.Add(time.Hour)}
			r.Coverage.Authorization.GiveTime = new(now.Add(time.Hour))
		}, []string{"work_authorization.signed_by REQUIRED", "payment_authorization.sign_time FUTURE", "coverage.authorization.give_time FUTURE"}},
		{"nothing at all", func(r *jobs.Record) { *r = jobs.Record{} }, []string{}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			r := record()
			test.change(r)
			faults := jobs.Check(r, now)
			if diff := cmp.Diff(test.want, paths(faults)); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
			for _, f := range faults {
				if len(f.Message) < 30 || !strings.HasPrefix(f.Path, "record.") {
					t.Errorf("%s says only %q", f.Path, f.Message)
				}
			}
		})
	}
}

func TestEveryFaultAtOnce(t *testing.T) {
	t.Parallel()
	r := record()
	r.Vehicle.VIN, r.Damages[0].BodyDiameter, r.TimeZone, r.Photos[1].Hash = "X", repairability.MM(-3), "Mars", hash("a")
	r.FinishTime = now.Add(time.Hour)
	want := []string{"vehicle.vin VIN_LENGTH", "damages[0].body_diameter_mm DAMAGE_LENGTH_RANGE", "time_zone TIME_ZONE",
		"finish_time FUTURE", "photos[1].photo_hash REPEATED"}
	if diff := cmp.Diff(want, paths(jobs.Check(r, now))); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}

func TestAssess(t *testing.T) {
	t.Parallel()
	r := record()
	r.Vehicle.VIN, r.Glass.DriverAssistance, r.Damages[0].Process.VacuumCycles = "1HGCM82633A004353", repairability.Yes, []int{120, 2}
	assessments, found := jobs.Assess(r, "", jobs.Ranges(nil))
	usual, ok := jobs.Standard("", r.RepairDay())
	if !ok || usual.Family != jobs.UsualStandard {
		t.Fatalf("the usual standard is %q of family %q", usual.Key, usual.Family)
	}
	for i, verdict := range []repairability.Verdict{repairability.CannotBeSaid, repairability.CannotBeSaid} {
		if a := assessments[i]; a.Standard != usual.Name || a.Edition != usual.Edition || a.Verdict != verdict {
			t.Errorf("damage %d by %s %s is %s, want %s", i+1, a.Standard, a.Edition, a.Verdict, verdict)
		}
	}
	var got []string
	for _, f := range found {
		got = append(got, f.Code+" "+string(f.Severity)+" "+f.Path)
	}
	want := []string{"VIN-CHECK STOP record.vehicle.vin", "GLASS-CAMERA CAUTION record.glass.has_driver_assistance",
		"PROCESS-UNUSUAL CAUTION record.damages[0].process.vacuum_seconds[1]"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("findings (-want +got):\n%s", diff)
	}
	if unknown, _ := jobs.Assess(r, "NO-SUCH-STANDARD", jobs.Ranges(nil)); unknown[0].Verdict != repairability.CannotBeSaid {
		t.Errorf("by a standard that nobody knows the verdict is %s", unknown[0].Verdict)
	}
}

// TestCanonical: what says the same is written the same, and reads back as it was.
func TestCanonical(t *testing.T) {
	t.Parallel()
	text, sum, err := record().Canonical()
	if err != nil || len(sum) != 32 {
		t.Fatalf("%d bytes, %v", len(sum), err)
	}
	var back jobs.Record
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(*record(), back); diff != "" {
		t.Errorf("read back (-want +got):\n%s", diff)
	}
	again, sumAgain, _ := back.Canonical()
	if string(again) != string(text) || !slices.Equal(sum, sumAgain) {
		t.Errorf("written again:\n%s\n%s", text, again)
	}
	back.Damages[1].Note = "other"
	if _, other, _ := back.Canonical(); slices.Equal(sum, other) {
		t.Error("another record has the same fingerprint")
	}
}

func TestDays(t *testing.T) {
	t.Parallel()
	r := record()
	if got := r.RepairDate(); got != "2026-10-20" {
		t.Errorf("RepairDate = %s, want the day in Ohio", got)
	}
	if got := r.RepairDay(); !got.Equal(time.Date(2026, 10, 20, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("RepairDay = %s", got)
	}
}

func TestVehicleDescription(t *testing.T) {
	t.Parallel()
	for vin, want := range map[string]string{"": "", "123": "", "1HGCM82633A004352": "Honda, Passenger Car, Accord, model year 2003"} {
		r := record()
		r.Vehicle.VIN = vin
		if got := r.VehicleDescription(); !strings.Contains(got, want) || want == "" && got != "" {
			t.Errorf("%q is described as %q, want %q in it", vin, got, want)
		}
	}
}

func TestPhotoHash(t *testing.T) {
	t.Parallel()
	for text, want := range map[jobs.PhotoHash]bool{hash("a"): true, hash("A"): false, "": false, hash("a")[:62]: false, hash("x"): false} {
		raw := text.Bytes()
		if (raw != nil) != want || want && jobs.PhotoHashFrom(raw) != text {
			t.Errorf("%q: %x", text, raw)
		}
	}
}
