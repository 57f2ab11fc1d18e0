package jobsrpc_test

import (
	"bytes"
	"errors"
	"io"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "cullet/proto/cullet/access/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/errs"
)

// refusal is a record that must be refused with these faults, and with nothing else.
type refusal struct {
	name   string
	change func(*jobsv1.RepairRecord)
	want   []string
}

func refusals() []refusal {
	return []refusal{
		{"VIN of 16 characters", func(m *jobsv1.RepairRecord) { m.Vehicle.Vin = "1HGCM82633A00435" }, []string{"record.vehicle.vin VIN_LENGTH"}},
		{"VIN with barred letters", func(m *jobsv1.RepairRecord) { m.Vehicle.Vin = "1HGCM82633AOO4352" }, []string{"record.vehicle.vin VIN_ALPHABET"}},
		{"VIN with letters of another alphabet", func(m *jobsv1.RepairRecord) { m.Vehicle.Vin = "1HGСM82633A004352" }, []string{"record.vehicle.vin VIN_HYGIENE"}},
		{"VIN of 17 with NUL and a turn of direction", func(m *jobsv1.RepairRecord) { m.Vehicle.Vin = "1HGCM82633A0043\x00\u202e" },
			[]string{"record.vehicle.vin UNWANTED_CHARACTER"}},
		{"a damage of -3 mm", func(m *jobsv1.RepairRecord) { m.Damages[1].BodyDiameterMm = proto.Float64(-3) },
			[]string{"record.damages[1].body_diameter_mm DAMAGE_LENGTH_RANGE"}},
		{"three decimals", func(m *jobsv1.RepairRecord) { m.Damages[1].BodyDiameterMm = proto.Float64(12.705) },
			[]string{"record.damages[1].body_diameter_mm TOO_PRECISE"}},
		{"a date in the future", func(m *jobsv1.RepairRecord) { m.FinishTime = timestamppb.New(now.Add(time.Hour)) }, []string{"record.finish_time FUTURE"}},
		{"finished before it began", func(m *jobsv1.RepairRecord) { m.FinishTime = timestamppb.New(now.Add(-24 * time.Hour)) }, []string{"record.finish_time ORDER"}},
		{"a zone that is none", func(m *jobsv1.RepairRecord) { m.TimeZone = "Ohio" }, []string{"record.time_zone TIME_ZONE"}},
		{"missing fields", func(m *jobsv1.RepairRecord) {
			m.ExternalReference, m.Vehicle, m.Damages, m.StartTime, m.Technician = "", nil, nil, nil, ""
		}, []string{"record.external_reference REQUIRED", "record.vehicle REQUIRED", "record.damages REQUIRED",
			"record.start_time REQUIRED", "record.technician REQUIRED"}},
		{"words that are not said", func(m *jobsv1.RepairRecord) {
			m.Damages[0].Kind, m.Damages[1].Outcome, m.Photos = 0, 0, []*jobsv1.PhotoReference{{PhotoHash: hash("a")}}
		}, []string{"record.damages[0].kind REQUIRED", "record.photos[0].kind REQUIRED", "record.damages[1].outcome REQUIRED",
			"record.photos[0].photo_hash PHOTO_NOT_UPLOADED"}},
		{"too many of everything", func(m *jobsv1.RepairRecord) {
			for range 19 {
				m.Damages = append(m.Damages, m.Damages[1])
			}
			for i := range 41 {
				m.Photos = append(m.Photos, named(hash(string("0123456789abcdef"[i%16])), 1))
			}
			m.Photos = m.Photos[:41]
		}, append([]string{"record.damages TOO_LARGE", "record.photos TOO_LARGE"}, manyPhotos()...)},
		{"texts that are too long", func(m *jobsv1.RepairRecord) {
			m.Technician, m.Damages[0].Note, m.Coverage.PolicyNumber = strings.Repeat("ä", 101), strings.Repeat("x", 2001), strings.Repeat("x", 61)
		}, []string{"record.damages[0].note TOO_LARGE", "record.technician TOO_LARGE", "record.coverage.policy_number TOO_LARGE"}},
		{"mobile without a place", func(m *jobsv1.RepairRecord) { m.PlaceOfRepair.Address = &accessv1.Address{City: "Cincinnati"} },
			[]string{"record.place_of_repair.address.country_code REQUIRED", "record.place_of_repair.address.state REQUIRED"}},
		{"forms", func(m *jobsv1.RepairRecord) {
			m.Motorist.Email, m.Motorist.Address.CountryCode, m.Coverage.DateOfLoss = "nobody", "USA", "2026-02-30"
			m.Coverage.CauseOfLoss, m.Motorist.CustomerId, m.WarrantyOfJobId = "BIRD", "7", "8"
		}, []string{"record.motorist.customer_id FORM", "record.motorist.email FORM", "record.motorist.address.country_code FORM",
			"record.coverage.date_of_loss NOT_A_DAY", "record.coverage.cause_of_loss UNKNOWN_VALUE", "record.warranty_of_job_id FORM"}},
		{"a deductible below zero in a currency of its own", func(m *jobsv1.RepairRecord) {
			m.Coverage.Deductible = &moneyv1.Money{MinorUnits: -500, CurrencyCode: "EUR"}
		}, []string{"record.coverage.deductible.minor_units TOO_SMALL", "record.coverage.deductible.currency_code CURRENCY"}},
		{"what the shop does not have", func(m *jobsv1.RepairRecord) {
			m.Coverage.PayerCode, m.Coverage.Deductible.CurrencyCode = "nobody", "EUR"
			m.Motorist.CustomerId, m.WarrantyOfJobId = "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69", "01980F3E-6A1C-7C3E-9B1A-3F1D2C4B5A70"
			m.Photos = []*jobsv1.PhotoReference{named(hash("a"), 1), named(hash("b"), 2)}
		}, []string{"record.photos[0].photo_hash PHOTO_NOT_UPLOADED", "record.photos[1].photo_hash PHOTO_NOT_UPLOADED",
			"record.coverage.payer_code PAYER_UNKNOWN", "record.motorist.customer_id CUSTOMER_UNKNOWN",
			"record.warranty_of_job_id JOB_UNKNOWN", "record.coverage.deductible.currency_code CURRENCY"}},
		{"photos named wrongly", func(m *jobsv1.RepairRecord) {
			m.Photos = []*jobsv1.PhotoReference{named(hash("A"), 1), named("", 1), named("x", 3), named("y", -1)}
		}, []string{"record.photos[1].photo_hash REQUIRED", "record.photos[3].damage_number TOO_SMALL", "record.photos[0].photo_hash PHOTO_HASH",
			"record.photos[2].photo_hash PHOTO_HASH", "record.photos[2].damage_number DAMAGE_NUMBER", "record.photos[3].photo_hash PHOTO_HASH"}},
		{"faults of every kind at once", func(m *jobsv1.RepairRecord) {
			m.Technician, m.Vehicle.Vin, m.Damages[0].SpreadMm = "T.\x07", "X", proto.Float64(0.001)
			m.Damages[1].BodyDiameterMm, m.Coverage.PayerCode = proto.Float64(-3), "nobody"
			m.Photos = []*jobsv1.PhotoReference{named(hash("a"), 9)}
		}, []string{"record.technician UNWANTED_CHARACTER", "record.damages[0].spread_mm TOO_PRECISE", "record.vehicle.vin VIN_LENGTH",
			"record.damages[1].body_diameter_mm DAMAGE_LENGTH_RANGE", "record.photos[0].damage_number DAMAGE_NUMBER",
			"record.photos[0].photo_hash PHOTO_NOT_UPLOADED", "record.coverage.payer_code PAYER_UNKNOWN"}},
	}
}

// manyPhotos are the faults of the sixteen hashes that are named again and again, 40 looked at.
func manyPhotos() (all []string) {
	for i := 16; i < 40; i++ {
		all = append(all, "record.photos["+strconv.Itoa(i)+"].photo_hash REPEATED")
	}
	for i := range 16 {
		all = append(all, "record.photos["+strconv.Itoa(i)+"].photo_hash PHOTO_NOT_UPLOADED")
	}
	return all
}

// TestRefused sends each as gRPC and as JSON: the same faults by path, nothing stored.
func TestRefused(t *testing.T) {
	t.Parallel()
	w := start(t)
	rows := w.rows()
	for _, test := range refusals() {
		t.Run(test.name, func(t *testing.T) {
			request := &jobsv1.RecordJobRequest{Record: with(record(t, "V-1"), test.change), RequestId: "r-1"}
			_, err := w.Jobs.RecordJob(t.Context(), request)
			got := faults(t, err)
			// What does not fit into 4 KB is counted.
			if diff := cmp.Diff(test.want[:min(len(got), len(test.want))], got); diff != "" {
				t.Errorf("faults (-want +got):\n%s", diff)
			}
			var known *errs.Error
			if errors.As(err, &known); known.Detail["violation_count"] != strconv.Itoa(len(test.want)) {
				t.Errorf("%s faults are counted, want %d", known.Detail["violation_count"], len(test.want))
			}
			body, err := protojson.Marshal(request)
			if err != nil {
				t.Fatal(err)
			}
			code, answer := w.post(t, body)
			if diff := cmp.Diff(known.Fields, fields(t, answer)); code != http.StatusBadRequest || diff != "" {
				t.Errorf("JSON answers %d, (-gRPC +JSON):\n%s", code, diff)
			}
			if got := w.rows(); got != rows {
				t.Errorf("rows before: %s\nafter: %s", rows, got)
			}
		})
	}
}

// post sends a body to RecordJob's path.
func (w world) post(t *testing.T, body []byte) (int, *spb.Status) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodPost, w.URL("/v1/jobs"), bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	response := w.HTTP(request)
	text, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	answer := &spb.Status{}
	if response.StatusCode != http.StatusOK {
		if err := protojson.Unmarshal(text, answer); err != nil {
			t.Fatalf("the body of %d is no status: %v\n%s", response.StatusCode, err, text)
		}
	}
	return response.StatusCode, answer
}

func fields(t *testing.T, answer *spb.Status) (all []errs.Field) {
	t.Helper()
	for _, detail := range status.FromProto(answer).Details() {
		if bad, ok := detail.(*errdetails.BadRequest); ok {
			for _, v := range bad.GetFieldViolations() {
				all = append(all, errs.Field{Path: v.GetField(), Reason: v.GetReason(), Message: v.GetDescription()})
			}
		}
	}
	return all
}

func TestJSONThatDoesNotFit(t *testing.T) {
	t.Parallel()
	w := start(t)
	rows := w.rows()
	good, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(&jobsv1.RecordJobRequest{Record: record(t, "V-1"), RequestId: "r-1"})
	if err != nil {
		t.Fatal(err)
	}
	plain := strings.NewReplacer(": ", ":", ", ", ",").Replace(string(good))
	for _, test := range []struct {
		name, from, to string
		want           []string
	}{
		{"unknown field", `"technician":`, `"technician_name":"x","technician":`, []string{"record.technician_name UNKNOWN_FIELD"}},
		{"a number as text, text as a number", `"spread_mm":38.25`, `"spread_mm":"wide"`, []string{"record.damages[0].spread_mm WRONG_TYPE"}},
		{"a vehicle that is text, and another fault", `"vehicle":{`, `"warranty_of_job_id":"8","vehicle":"a car","ignored":{`,
			[]string{"record.vehicle WRONG_TYPE", "record.ignored UNKNOWN_FIELD", "record.warranty_of_job_id FORM"}},
		{"an amount with three decimals", `"minor_units":"10000"`, `"minor_units":"100.125"`,
			[]string{"record.coverage.deductible.minor_units WRONG_TYPE"}},
		{"a time without zone", `"start_time":"2026-10-20T18:05:00Z"`, `"start_time":"2026-10-20 18:05"`, []string{"record.start_time WRONG_TYPE"}},
		{"a word that nobody defined", `DAMAGE_KIND_BULLSEYE`, `DAMAGE_KIND_MOON`, []string{"record.damages[1].kind WRONG_TYPE"}},
		{"a number that is none", `"spread_mm":38.25`, `"spread_mm":"NaN"`, []string{"record.damages[0].spread_mm NOT_A_NUMBER"}},
		{"no record", plain, `{"request_id":"r-1"}`, []string{"record REQUIRED"}},
		{"a record that is null", plain, `{"record":null}`, []string{"record REQUIRED"}},
		{"a record that is a list", plain, `{"record":[]}`, []string{"record WRONG_TYPE"}},
		{"an empty record", plain, `{"record":{}}`, []string{"record.external_reference REQUIRED", "record.vehicle REQUIRED",
			"record.damages REQUIRED", "record.place_of_repair REQUIRED", "record.start_time REQUIRED", "record.finish_time REQUIRED",
			"record.time_zone REQUIRED", "record.technician REQUIRED"}},
		{"not UTF-8", "Jordan", "Jord\xffn", []string{"request NOT_UTF8"}},
		{"not JSON", plain, "record: 1", []string{"request NOT_JSON"}},
		{"50 MB", "The dog in the car barks.", strings.Repeat("x", 50<<20), []string{"request TOO_LARGE"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			body := strings.ReplaceAll(plain, test.from, test.to)
			if body == plain {
				t.Fatalf("%q is not in the body", test.from)
			}
			code, answer := w.post(t, []byte(body))
			got := []string{}
			for _, f := range fields(t, answer) {
				got = append(got, f.Path+" "+f.Reason)
			}
			if diff := cmp.Diff(test.want, got); diff != "" || code != http.StatusBadRequest {
				t.Errorf("%d, faults (-want +got):\n%s", code, diff)
			}
			if got := w.rows(); got != rows {
				t.Errorf("rows before: %s\nafter: %s", rows, got)
			}
		})
	}
	if code, answer := w.post(t, []byte(plain)); code != http.StatusOK {
		t.Errorf("the body without a fault: %d %v", code, answer)
	}
}

// bytesCodec sends bytes as they are, as a client does that encodes by hand.
type bytesCodec struct{}

func (bytesCodec) Name() string                  { return "proto" }
func (bytesCodec) Marshal(v any) ([]byte, error) { return v.([]byte), nil }
func (bytesCodec) Unmarshal([]byte, any) error {
	return errors.New("an answer came where an error was expected")
}

func TestBytesThatAreNoRecord(t *testing.T) {
	t.Parallel()
	w := start(t)
	rows := w.rows()
	good, err := proto.Marshal(&jobsv1.RecordJobRequest{Record: record(t, "V-1")})
	if err != nil {
		t.Fatal(err)
	}
	strange := protowire.AppendString(protowire.AppendTag(nil, 99, protowire.BytesType), "?")
	inner, err := proto.Marshal(record(t, "V-1"))
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		name  string
		bytes []byte
		want  []string
	}{
		{"unknown field of the request", append(bytes.Clone(good), strange...), []string{"#99 UNKNOWN_FIELD"}},
		{"unknown field of the record", protowire.AppendBytes(protowire.AppendTag(nil, 1, protowire.BytesType), append(inner, strange...)),
			[]string{"record.#99 UNKNOWN_FIELD"}},
		{"not UTF-8", bytes.Replace(good, []byte("The dog in the car"), []byte("The d\xff\xfe in the car"), 1), []string{"record.damages[0].note NOT_UTF8"}},
		{"cut off", good[:len(good)-7], []string{"request MALFORMED"}},
		{"nothing", nil, []string{"record REQUIRED"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+w.OwnerKey)
			err := w.Raw().Invoke(ctx, jobsv1.JobService_RecordJob_FullMethodName, test.bytes, &bytes.Buffer{}, grpc.ForceCodec(bytesCodec{}))
			got := []string{}
			for _, f := range fields(t, status.Convert(err).Proto()) {
				got = append(got, f.Path+" "+f.Reason)
			}
			if diff := cmp.Diff(test.want, got); diff != "" || status.Code(err) != codes.InvalidArgument {
				t.Errorf("%v, faults (-want +got):\n%s", err, diff)
			}
			if got := w.rows(); got != rows {
				t.Errorf("rows before: %s\nafter: %s", rows, got)
			}
		})
	}
	_, err = w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: with(record(t, "V-1"), func(m *jobsv1.RepairRecord) {
		m.Damages[0].Note = strings.Repeat("x", 50<<20)
	})})
	if !errs.Is(err, errs.Exhausted) {
		t.Errorf("50 MB: %v, want Exhausted", err)
	}
}
