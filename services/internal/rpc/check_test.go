package rpc

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	accessv1 "cullet/proto/cullet/access/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/errs"
)

// reasons gives "path REASON" of each fault.
func reasons(faults []errs.Field) []string {
	var all []string
	for _, f := range faults {
		all = append(all, f.Path+" "+f.Reason)
	}
	return all
}

func record() *jobsv1.RepairRecord {
	return &jobsv1.RepairRecord{ExternalReference: "V-1", Vehicle: &jobsv1.Vehicle{Vin: "1FTMW1T88MFA00001"},
		Damages:       []*jobsv1.Damage{{Kind: jobsv1.DamageKind_DAMAGE_KIND_BULLSEYE, Outcome: jobsv1.Outcome_OUTCOME_REPAIRED}},
		PlaceOfRepair: &jobsv1.PlaceOfRepair{}, StartTime: timestamppb.Now(), FinishTime: timestamppb.Now(),
		TimeZone: "America/New_York", Technician: "T. Example"}
}

func TestCheckFindsEveryFault(t *testing.T) {
	t.Parallel()
	nan, infinite := math.NaN(), math.Inf(1)
	for _, test := range []struct {
		name   string
		change func(*jobsv1.RecordJobRequest)
		want   []string
	}{
		{"nothing wrong", func(*jobsv1.RecordJobRequest) {}, nil},
		{"nothing given", func(r *jobsv1.RecordJobRequest) { r.Record = nil }, []string{"record REQUIRED"}},
		{"missing inside", func(r *jobsv1.RecordJobRequest) { r.Record.Vehicle.Vin, r.Record.Damages[0].Kind = "", 0 },
			[]string{"record.vehicle.vin REQUIRED", "record.damages[0].kind REQUIRED"}},
		{"NUL", func(r *jobsv1.RecordJobRequest) { r.Record.Vehicle.Vin = "1FTMW1T88\x00FA00001" },
			[]string{"record.vehicle.vin UNWANTED_CHARACTER"}},
		{"turned text", func(r *jobsv1.RecordJobRequest) { r.Record.Technician = "Ex\u202Eample" },
			[]string{"record.technician UNWANTED_CHARACTER"}},
		{"line break", func(r *jobsv1.RecordJobRequest) { r.Record.Technician = "Example\nBcc: x" },
			[]string{"record.technician UNWANTED_CHARACTER"}},
		{"line break in a note", func(r *jobsv1.RecordJobRequest) { r.Record.Damages[0].Note = "one\ntwo" }, nil},
		{"too long", func(r *jobsv1.RecordJobRequest) { r.Record.Damages[0].Note = strings.Repeat("ü", 4001) },
			[]string{"record.damages[0].note TOO_LONG"}},
		{"as long as allowed", func(r *jobsv1.RecordJobRequest) { r.Record.Damages[0].Note = strings.Repeat("ü", 4000) }, nil},
		{"unknown enum value", func(r *jobsv1.RecordJobRequest) { r.Record.Damages[0].Layer = 77 },
			[]string{"record.damages[0].layer UNKNOWN_VALUE"}},
		{"no numbers", func(r *jobsv1.RecordJobRequest) {
			r.Record.Damages[0].BodyDiameterMm, r.Record.Damages[0].SpreadMm = &nan, &infinite
		}, []string{"record.damages[0].body_diameter_mm NOT_A_NUMBER", "record.damages[0].spread_mm NOT_A_NUMBER"}},
		{"no time", func(r *jobsv1.RecordJobRequest) { r.Record.StartTime = &timestamppb.Timestamp{Seconds: math.MaxInt64} },
			[]string{"record.start_time NOT_A_TIME"}},
		{"request id", func(r *jobsv1.RecordJobRequest) { r.RequestId = strings.Repeat("x", 65) },
			[]string{"request_id TOO_LONG"}},
		{"request id with a space", func(r *jobsv1.RecordJobRequest) { r.RequestId = "a b" },
			[]string{"request_id UNWANTED_CHARACTER"}},
		{"too many", func(r *jobsv1.RecordJobRequest) {
			for range 1001 {
				r.Record.Damages = append(r.Record.Damages, r.Record.Damages[0])
			}
		}, []string{"record.damages TOO_MANY"}},
		{"unknown fields", func(r *jobsv1.RecordJobRequest) {
			unknown := protowire.AppendTag(nil, 900, protowire.VarintType)
			r.Record.Vehicle.ProtoReflect().SetUnknown(protowire.AppendVarint(unknown, 1))
			unknown = protowire.AppendTag(nil, 901, protowire.BytesType)
			r.ProtoReflect().SetUnknown(protowire.AppendBytes(unknown, []byte("x")))
		}, []string{"#901 UNKNOWN_FIELD", "record.vehicle.#900 UNKNOWN_FIELD"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			request := &jobsv1.RecordJobRequest{Record: record()}
			test.change(request)
			if diff := cmp.Diff(test.want, reasons(check(request, 0))); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

func TestCheckListsOfText(t *testing.T) {
	t.Parallel()
	got := check(&payersv1.PayerProfile{RequiredFields: []string{"policy_number", "date\x07"}}, 0)
	if diff := cmp.Diff([]string{"required_fields[1] UNWANTED_CHARACTER"}, reasons(got)); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}

func TestCheckBytes(t *testing.T) {
	t.Parallel()
	chunk := func(n int) *jobsv1.UploadPhotoRequest {
		return &jobsv1.UploadPhotoRequest{Piece: &jobsv1.UploadPhotoRequest_Chunk{Chunk: make([]byte, n)}}
	}
	if got := check(chunk(64<<10), 0); len(got) != 0 {
		t.Errorf("64 KiB: %v", got)
	}
	if diff := cmp.Diff([]string{"chunk TOO_LONG"}, reasons(check(chunk(64<<10+1), 0))); diff != "" {
		t.Errorf("one byte more (-want +got):\n%s", diff)
	}
	if got := check(chunk(100_000), 100_000); len(got) != 0 {
		t.Errorf("with a larger cap: %v", got)
	}
}

// unmarshal is what the server does with the bytes of a request.
func unmarshal(t *testing.T, bytes []byte, into proto.Message) {
	t.Helper()
	if err := (codec{}).Unmarshal(mem.BufferSlice{mem.SliceBuffer(bytes)}, into); err != nil {
		t.Fatalf("the codec must hand faults on, not fail: %v", err)
	}
}

func TestUnreadableBytesAreFaults(t *testing.T) {
	t.Parallel()
	good, err := proto.Marshal(&jobsv1.RecordJobRequest{Record: record()})
	if err != nil {
		t.Fatal(err)
	}
	badText := []byte(strings.Replace(strings.Replace(string(good), "T. Example", "T.\xffExample", 1), "America/New_York",
		"America/New\xfeYork", 1))
	for _, test := range []struct {
		name  string
		bytes []byte
		want  []string
	}{
		{"not UTF-8", badText, []string{"record.time_zone NOT_UTF8", "record.technician NOT_UTF8"}},
		{"breaks off", good[:len(good)-3], []string{"request MALFORMED"}},
		{"noise", []byte("\xff\xff\xff\xff"), []string{"request MALFORMED"}},
		{"empty", nil, []string{"record REQUIRED"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			request := &jobsv1.RecordJobRequest{}
			unmarshal(t, test.bytes, request)
			if diff := cmp.Diff(test.want, reasons(check(request, 0))); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
		})
	}
}

func TestReadableBytesAreReadAsEver(t *testing.T) {
	t.Parallel()
	want := &jobsv1.RecordJobRequest{Record: record(), RequestId: "r-1"}
	encoded, err := encoding.GetCodecV2("proto").Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	got := &jobsv1.RecordJobRequest{}
	unmarshal(t, encoded.Materialize(), got)
	if !proto.Equal(want, got) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestCarriedFaultsJoinOthers(t *testing.T) {
	t.Parallel()
	request := &jobsv1.RecordJobRequest{Record: record()}
	request.Record.Vehicle = nil
	request.Record.Technician = "\x01"
	err := Carry(request, []errs.Field{{Path: "record.vehicle", Reason: "WRONG_TYPE", Message: "text was given"}})
	if err != nil {
		t.Fatal(err)
	}
	want := []string{"record.vehicle WRONG_TYPE", "record.technician UNWANTED_CHARACTER"}
	if diff := cmp.Diff(want, reasons(check(request, 0))); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
}

func TestForgedFaultsOnlyRefuse(t *testing.T) {
	t.Parallel()
	for _, number := range []protowire.Number{unreadable, leftOut} {
		request := &accessv1.GetCallerRequest{}
		unknown := protowire.AppendTag(nil, number, protowire.BytesType)
		request.ProtoReflect().SetUnknown(protowire.AppendBytes(unknown, []byte("no faults")))
		if got := check(request, 0); len(got) != 1 || got[0].Reason != "UNKNOWN_FIELD" {
			t.Errorf("field %d with other bytes: %v, want one UNKNOWN_FIELD", number, got)
		}
	}
}

// Whatever bytes arrive, the codec hands on and the check answers; neither panics nor fails.
func TestAnyBytes(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		bytes := rapid.SliceOfN(rapid.Byte(), 0, 200).Draw(rt, "bytes")
		request := &jobsv1.RecordJobRequest{}
		if err := (codec{}).Unmarshal(mem.BufferSlice{mem.SliceBuffer(bytes)}, request); err != nil {
			rt.Fatalf("codec: %v", err)
		}
		if faults := check(request, 0); proto.Unmarshal(bytes, &jobsv1.RecordJobRequest{}) != nil && len(faults) == 0 {
			rt.Fatalf("bytes that cannot be read have no fault")
		}
	})
}

func BenchmarkCheck(b *testing.B) {
	request := &jobsv1.RecordJobRequest{Record: record(), RequestId: "r-1"}
	for b.Loop() {
		if faults := check(request, 0); len(faults) != 0 {
			b.Fatal(faults)
		}
	}
}
