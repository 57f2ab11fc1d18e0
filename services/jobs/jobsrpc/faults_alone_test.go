package jobsrpc_test

import (
	"bytes"
	"context"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
)

// leastFaults is how many faults the catalogue has at least.
const leastFaults = 250

// says is what the text of each reason holds: what was given, and what to do about it.
var says = map[string]*regexp.Regexp{
	"REQUIRED":             regexp.MustCompile(`^nothing was given.*(give|say|leave)`),
	"TOO_LONG":             regexp.MustCompile(`^\d+ characters were given and at most \d+ are allowed; (shorten|a UUID is enough)`),
	"TOO_LARGE":            regexp.MustCompile(`^\d+ .*(given and at most \d+ (are|is) allowed; (shorten|leave|give)|given; give at most)`),
	"TOO_SMALL":            regexp.MustCompile(`^-\d+ was given.*(give at least 0|0 or more: give that)`),
	"TOO_MANY":             regexp.MustCompile(`^\d+ items were given and at most \d+ are allowed; split`),
	"UNWANTED_CHARACTER":   regexp.MustCompile(`^character \d+ is U\+[0-9A-F]{4,}, .*; remove it|^".*" was given; allowed are|^'.*' was given; allowed are`),
	"NOT_UTF8":             regexp.MustCompile(`^the bytes ".*\\xed\\xa0\\x80.*" are not UTF-8 text; convert`),
	"NOT_A_NUMBER":         regexp.MustCompile(`^(NaN|\+Inf) was given; give a finite number, or leave`),
	"OUT_OF_RANGE":         regexp.MustCompile(`^-?[0-9.e+]+ was given; give .* from .* to .*, or leave`),
	"TOO_PRECISE":          regexp.MustCompile(`^[0-9.]+ was given; give .* at most`),
	"DAMAGE_LENGTH_RANGE":  regexp.MustCompile(`^-?[0-9.]+ mm is given; allowed is .* mm\. Measure again`),
	"GLASS_LENGTH_RANGE":   regexp.MustCompile(`^-?[0-9.]+ mm is given; allowed is .* mm\. Measure again`),
	"DAMAGE_OUTSIDE_GLASS": regexp.MustCompile(`^-?[0-9.]+ mm lies outside.* allows 0 to .* mm\. Measure`),
	"DAMAGE_COUNT_RANGE":   regexp.MustCompile(`^-?\d+ is given; allowed is 0 to \d+\. Count again`),
	"DAMAGE_CONTRADICTION": regexp.MustCompile(`\d.*(more than|touches|there are).*(Measure|Count|Give)`),
	"GLASS_CONTRADICTION":  regexp.MustCompile(`^[0-9.]+ mm is more than .* mm\. Measure both again`),
	"UNKNOWN_VALUE":        regexp.MustCompile(`^(value -?\d+ is not in the contract|".*" was given); allowed are [A-Z_]+, `),
	"UNKNOWN_FIELD":        regexp.MustCompile(`^field number 99 .*; leave it out`),
	"NOT_A_TIME":           regexp.MustCompile(`^seconds -?\d+ and nanos -?\d+ are no time; allowed are .*; give`),
	"FUTURE":               regexp.MustCompile(`^2026-10-20T19:05:00Z was given.*it is 2026-10-20T19:00:00Z.*send it`),
	"TOO_OLD":              regexp.MustCompile(`^1970-01-01T00:00:00Z was given; allowed are times from 2000-01-01.*give`),
	"ORDER":                regexp.MustCompile(`^\S+Z was given and the work began at \S+Z; give`),
	"NOT_A_DAY":            regexp.MustCompile(`^".*" was given; give a day that exists`),
	"FORM":                 regexp.MustCompile(`^".*" was given; give `),
	"TIME_ZONE":            regexp.MustCompile(`^".*" was given; give the name of a time zone`),
	"CURRENCY":             regexp.MustCompile(`^".*" was given.*give the`),
	"SPACES":               regexp.MustCompile(`^".*" was given.*leave them out`),
	"PHOTO_HASH":           regexp.MustCompile(`^".*" was given; give the photo_hash`),
	"PHOTO_NOT_UPLOADED":   regexp.MustCompile(`no photo with the hash [0-9a-f]{64} waits here; upload`),
	"REPEATED":             regexp.MustCompile(`stands at photos\[0\] already; name each photo once`),
	"DAMAGE_NUMBER":        regexp.MustCompile(`^3 was given and there are 2 damages; give 1 to 2`),
	"PAYER_UNKNOWN":        regexp.MustCompile(`no payer with the code ".*"; ListPayers`),
	"CUSTOMER_UNKNOWN":     regexp.MustCompile(`no customer ".*"; leave it out or create`),
	"JOB_UNKNOWN":          regexp.MustCompile(`no job ".*"; give the job_id`),
	"VIN_LENGTH":           regexp.MustCompile(`^The number (has \d+ (characters|bytes)|is empty).*17.*Read the number again`),
	"VIN_ALPHABET":         regexp.MustCompile(`^Not allowed: .* at position \d+\. .*Read the number again`),
	"VIN_HYGIENE":          regexp.MustCompile(`^The number contains .* at character \d+; .*Type the number by hand`),
}

// sound is the invented record with two photos that wait here; nothing is wrong with it.
func (w world) sound(reference string) *jobsv1.RecordJobRequest {
	m := record(w.t, reference)
	m.Photos = []*jobsv1.PhotoReference{named(w.upload("star-break-before.jpg").GetPhotoHash(), 1), named(w.upload("star-break-after.jpg").GetPhotoHash(), 2)}
	return &jobsv1.RecordJobRequest{Record: m, RequestId: "r-1"}
}

// made is a copy of the request with the faults in it.
func made(sound *jobsv1.RecordJobRequest, faults ...fault) *jobsv1.RecordJobRequest {
	changed, _ := proto.Clone(sound).(*jobsv1.RecordJobRequest)
	for _, f := range faults {
		f.change(changed)
	}
	return changed
}

// answer is a refusal as any client sees it.
type answer struct {
	code   codes.Code
	fields []errs.Field
	// count is how many faults the answer says there are, also those that did not fit.
	count int
	bytes int
}

// found are the answer's faults in order: "record.vehicle.vin VIN_LENGTH".
func (a answer) found() []string {
	all := []string{}
	for _, f := range a.fields {
		all = append(all, f.Path+" "+f.Reason)
	}
	slices.Sort(all)
	return all
}

// send sends the request as bytes, so that it may hold what no message can.
func send(ctx context.Context, t testing.TB, conn *grpc.ClientConn, key string, request *jobsv1.RecordJobRequest) answer {
	t.Helper()
	raw, err := proto.Marshal(request)
	if err != nil {
		t.Fatal(err)
	}
	raw = bytes.ReplaceAll(raw, []byte(surrogate), []byte("\xed\xa0\x80"))
	ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+key)
	err = conn.Invoke(ctx, jobsv1.JobService_RecordJob_FullMethodName, raw, &bytes.Buffer{}, grpc.ForceCodec(bytesCodec{}))
	s := status.Convert(err)
	a := answer{code: s.Code(), bytes: proto.Size(s.Proto())}
	for _, detail := range s.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			a.count, _ = strconv.Atoi(d.GetMetadata()["violation_count"])
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				a.fields = append(a.fields, errs.Field{Path: v.GetField(), Reason: v.GetReason(), Message: v.GetDescription()})
			}
		}
	}
	return a
}

// wanted are the answers of faults in order.
func wanted(faults ...fault) (all []string) {
	for _, f := range faults {
		all = append(all, f.want...)
	}
	slices.Sort(all)
	return all
}

// TestTheCatalogue: every fault has a name of its own and differs from every other.
func TestTheCatalogue(t *testing.T) {
	t.Parallel()
	names := map[string]bool{}
	spelled := map[string]string{}
	sound := record(t, "V-1")
	sound.Photos = []*jobsv1.PhotoReference{named(hash("a"), 1), named(hash("b"), 2)}
	for _, f := range catalogue() {
		if names[f.name] {
			t.Errorf("%s stands twice", f.name)
		}
		names[f.name] = true
		raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(made(&jobsv1.RecordJobRequest{Record: sound, RequestId: "r-1"}, f))
		if err != nil {
			t.Errorf("%s: %v", f.name, err)
		}
		if twin := spelled[string(raw)]; twin != "" {
			t.Errorf("%s and %s are the same", f.name, twin)
		}
		spelled[string(raw)] = f.name
	}
	if len(names) < leastFaults {
		t.Errorf("%d faults, want %d at least", len(names), leastFaults)
	}
	t.Logf("%d faults", len(names))
}

// TestEachFaultAlone sends every fault of the catalogue by itself, over gRPC and, where JSON can carry
// it, over JSON: refused for that and nothing else, with a text that says what to do, nothing stored.
func TestEachFaultAlone(t *testing.T) {
	t.Parallel()
	w := start(t)
	sound, conn := w.sound("V-1"), w.Raw()
	rows, carried := w.rows(), 0
	for _, f := range catalogue() {
		request := made(sound, f)
		a := send(t.Context(), t, conn, w.OwnerKey, request)
		if diff := cmp.Diff(wanted(f), a.found()); diff != "" || a.code != codes.InvalidArgument || a.count != len(f.want) || a.bytes > 4096 {
			t.Errorf("%s: %s, %d faults, %d bytes (-want +got):\n%s", f.name, a.code, a.count, a.bytes, diff)
		}
		for _, v := range a.fields {
			if pattern := says[v.Reason]; pattern == nil || !pattern.MatchString(v.Message) || len(v.Message) < 25 {
				t.Errorf("%s: %s says %q, want %s", f.name, v.Reason, v.Message, pattern)
			}
		}
		body, ok := inJSON(request)
		if !ok {
			continue
		}
		carried++
		code, refused := w.post(t, body)
		if diff := cmp.Diff(a.fields, fields(t, refused)); code != http.StatusBadRequest || diff != "" {
			t.Errorf("%s: JSON answers %d, (-gRPC +JSON):\n%s", f.name, code, diff)
		}
	}
	if got := w.rows(); got != rows {
		t.Errorf("rows before: %s\nafter: %s", rows, got)
	}
	if carried < leastFaults {
		t.Errorf("only %d of the faults went over JSON", carried)
	}
	t.Logf("%d of them over JSON too", carried)
	if _, err := w.Jobs.RecordJob(t.Context(), sound); err != nil {
		t.Errorf("the record without a fault: %v", err)
	}
}

// inJSON writes the request as JSON; not ok when JSON cannot say it.
func inJSON(request *jobsv1.RecordJobRequest) (body []byte, ok bool) {
	body, err := protojson.Marshal(request)
	if err != nil || bytes.Contains(body, []byte(surrogate)) {
		return nil, false
	}
	back := &jobsv1.RecordJobRequest{}
	options := proto.MarshalOptions{Deterministic: true}
	before, _ := options.Marshal(request)
	if protojson.Unmarshal(body, back) != nil {
		return nil, false
	}
	after, _ := options.Marshal(back)
	return body, bytes.Equal(before, after)
}
