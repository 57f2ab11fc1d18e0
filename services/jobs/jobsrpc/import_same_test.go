package jobsrpc_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	csvintake "cullet/adapters/intake/csv"
	"cullet/adapters/intake/jsonlines"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/errs"
	"cullet/services/jobs"
)

// ownNames is a mapping without columns: a file's columns are named as the fields of the contract.
func ownNames() *jobsv1.ColumnMapping { return &jobsv1.ColumnMapping{Format: "jsonlines"} }

// line writes a record as a line of JSON with the contract's names; only money is written as text.
func line(t *testing.T, m *jobsv1.RepairRecord) string {
	t.Helper()
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	var tree map[string]any
	if err := json.Unmarshal(text, &tree); err != nil {
		t.Fatal(err)
	}
	if d := m.GetCoverage().GetDeductible(); d != nil {
		coverage, _ := tree["coverage"].(map[string]any)
		coverage["deductible"] = fmt.Sprintf("%d.%02d", d.GetMinorUnits()/100, d.GetMinorUnits()%100)
	}
	if text, err = json.Marshal(tree); err != nil {
		t.Fatal(err)
	}
	return string(text) + "\n"
}

// A record that came by RecordJob is known when it comes in a file, down to the last field, and the
// other way round.
func TestAFileRecordsWhatRecordJobDoes(t *testing.T) {
	t.Parallel()
	w := start(t)
	first, second := record(t, "V-1"), record(t, "V-2")
	recorded := w.record(first)
	report := w.imported(&jobsv1.ImportJobsRequest{Content: []byte(line(t, first) + line(t, second)), Mapping: ownNames()})
	if diff := cmp.Diff([]string{"V-1 KNOWN", "V-2 RECORDED"}, outcomes(report)); diff != "" {
		t.Fatalf("(-want +got):\n%s\n%v", diff, report.GetRows())
	}
	if got := report.GetRows()[0].GetJobId(); got != recorded.GetJobId() {
		t.Errorf("the known job is %s, want %s", got, recorded.GetJobId())
	}
	again := w.record(second)
	if again.GetJobId() != report.GetRows()[1].GetJobId() || again.GetRecordedBy() != "owner" || len(again.GetAssessments()) != 2 {
		t.Errorf("the file recorded %v", again)
	}
	if n := w.Count("jobs"); n != 2 || w.Count("work") != 4 { // two claims to open, the import that nobody settled, and its file to be forgotten
		t.Errorf("%d jobs and %d things to be done", n, w.Count("work"))
	}
}

// Whatever RecordJob refuses, a file's record is refused for, with the same faults in the same words.
func TestAFileIsRefusedForWhatRecordJobRefuses(t *testing.T) {
	t.Parallel()
	w := start(t)
	w.record(record(t, "taken"))
	for _, test := range []struct {
		name   string
		change func(*jobsv1.RepairRecord)
	}{
		{"a number that is no vehicle's", func(m *jobsv1.RepairRecord) { m.Vehicle.Vin = "1HGCM82633A0O435" }},
		{"nothing but what a file need not say", func(m *jobsv1.RepairRecord) {
			proto.Reset(m)
			m.Vehicle, m.PlaceOfRepair, m.TimeZone = &jobsv1.Vehicle{}, &jobsv1.PlaceOfRepair{}, "America/New_York"
		}},
		{"texts that no field holds", func(m *jobsv1.RepairRecord) {
			m.Technician, m.Damages[0].Note, m.Motorist.Name = "a\u200fb\tc", "a\nb\u0007", strings.Repeat("x", 201)
		}},
		{"a long text", func(m *jobsv1.RepairRecord) { m.Damages[0].Note = strings.Repeat("é", 4001) }},
		{"sizes that cannot be", func(m *jobsv1.RepairRecord) {
			m.Damages[0].SpreadMm, m.Glass.WidthMm, m.Damages[0].Process.GlassTemperatureC = proto.Float64(-1), proto.Float64(11000), proto.Float64(2000)
		}},
		{"half a place", func(m *jobsv1.RepairRecord) {
			m.Damages[1].Place.FromLowerEdgeMm, m.PlaceOfRepair.LatitudeDegrees = nil, nil
		}},
		{"times ahead, too old, and in the wrong order", func(m *jobsv1.RepairRecord) {
			m.StartTime, m.FinishTime = timestamppb.New(now.Add(time.Hour)), timestamppb.New(time.Date(1999, 1, 1, 0, 0, 0, 0, time.UTC))
			m.Damages[0].Process.EndTime, m.TimeZone = timestamppb.New(now.Add(time.Hour)), "Ohio"
		}},
		{"mobile without a place", func(m *jobsv1.RepairRecord) { m.PlaceOfRepair.Address = nil }},
		{"photos, payer, customer and job that nobody knows", func(m *jobsv1.RepairRecord) {
			m.Photos = []*jobsv1.PhotoReference{named(hash("a"), 1), named(hash("b"), 7), named("short", 0)}
			m.Coverage.PayerCode, m.Motorist.CustomerId, m.WarrantyOfJobId = "nobody", "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69", "x"
		}},
		{"words of coverage", func(m *jobsv1.RepairRecord) {
			m.Coverage.Authorization.RepairsAllowed, m.Motorist.Email = 101, "nobody"
		}},
		{"twenty-one damages", func(m *jobsv1.RepairRecord) {
			m.Damages[0].EdgesTouched = proto.Int32(-1)
			m.Damages = append(m.Damages, slices.Repeat(m.Damages[1:2], 18)...)
		}},
		{"another record under its reference", func(m *jobsv1.RepairRecord) { m.ExternalReference, m.Technician = "taken", "K. Other (invented)" }},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			m := with(record(t, "V-1"), test.change)
			_, err := w.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: m})
			var known *errs.Error
			if !errors.As(err, &known) {
				t.Fatalf("RecordJob: %v", err)
			}
			w := world{w.World, t, w.store}
			good := line(t, record(t, test.name)) // so that the file has every column
			row := w.imported(&jobsv1.ImportJobsRequest{Content: []byte(line(t, m) + good), Mapping: ownNames()}).GetRows()[0]
			wanted := map[errs.Kind]jobsv1.ImportOutcome{errs.Invalid: jobsv1.ImportOutcome_IMPORT_OUTCOME_REFUSED, errs.Conflict: jobsv1.ImportOutcome_IMPORT_OUTCOME_CONFLICT}
			if row.GetOutcome() != wanted[known.Kind] {
				t.Errorf("%s, want what RecordJob says: %v", row.GetOutcome(), err)
			}
			faults := row.GetFaults()
			if known.Kind == errs.Conflict {
				if faults[0].GetReason() != known.Reason || faults[0].GetSentence() != known.Message {
					t.Errorf("the conflict says %v, want %v", faults[0], known)
				}
				// The wire tells the fields of a conflict by their paths alone.
				faults, known.Fields = faults[1:], []errs.Field{{Path: known.Detail["differing_fields"], Reason: "DIFFERS",
					Message: fmt.Sprintf("%q is stored and %q was given", record(t, "").GetTechnician(), m.GetTechnician())}}
			}
			var got []errs.Field
			for _, f := range faults {
				got = append(got, errs.Field{Path: f.GetPath(), Reason: f.GetReason(), Message: f.GetSentence()})
			}
			if diff := cmp.Diff(shortened(known.Fields), shortened(got)); diff != "" {
				t.Errorf("(-RecordJob +file):\n%s", diff)
			}
		})
	}
}

// shortened cuts messages as the wire does, which takes at most 400 bytes of each.
func shortened(fields []errs.Field) []errs.Field {
	all := slices.Clone(fields)
	for i := range all {
		all[i].Message = string([]rune(all[i].Message)[:min(len([]rune(all[i].Message)), 250)])
	}
	return all
}

// Every field of the contract that a column can fill is in the table, with a kind that fits its type.
func TestIntakeFieldsAreTheContracts(t *testing.T) {
	t.Parallel()
	kinds := map[string]jobs.FieldKind{}
	for _, f := range jobs.IntakeFields() {
		if _, ok := kinds[f.Path]; ok {
			t.Errorf("%s stands twice", f.Path)
		}
		kinds[f.Path] = f.Kind
	}
	delete(kinds, jobs.RepairDate)
	leaves(t, "", (&jobsv1.RepairRecord{}).ProtoReflect().Descriptor(), kinds)
	for path := range kinds {
		t.Errorf("the contract has no field %s", path)
	}
	for _, f := range jobs.IntakeFields() {
		for _, word := range f.Words {
			if own, ok := f.Own(strings.ToLower(f.Prefix + word)); !ok || own != word {
				t.Errorf("%s: the contract's own word %s%s is read as %q, %v", f.Path, f.Prefix, word, own, ok)
			}
		}
	}
}

// leaves takes every field of a message out of the table.
func leaves(t *testing.T, path string, md protoreflect.MessageDescriptor, kinds map[string]jobs.FieldKind) {
	fields := md.Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		here := path + string(fd.Name())
		kind, isKnown := kinds[here]
		delete(kinds, here)
		inner := fd.Message()
		switch {
		case inner == nil || inner.FullName() == "google.protobuf.Timestamp" || inner.FullName() == "cullet.money.v1.Money":
			if !isKnown || !slices.Contains(fitting(fd), kind) {
				t.Errorf("%s: in the table %v with kind %v, want one of %v", here, isKnown, kind, fitting(fd))
			}
		case fd.IsList():
			leaves(t, here+".#.", inner, kinds)
		default:
			leaves(t, here+".", inner, kinds)
		}
	}
}

// fitting gives the kinds that a field of the contract may have.
func fitting(fd protoreflect.FieldDescriptor) []jobs.FieldKind {
	switch fd.Kind() {
	case protoreflect.BoolKind:
		return []jobs.FieldKind{jobs.YesNoField}
	case protoreflect.EnumKind:
		if fd.Enum().Name() == "Known" {
			return []jobs.FieldKind{jobs.AnswerField}
		}
		return []jobs.FieldKind{jobs.ChoiceField}
	case protoreflect.DoubleKind:
		switch name := string(fd.Name()); {
		case strings.HasSuffix(name, "_mm"):
			return []jobs.FieldKind{jobs.LengthField}
		case strings.HasSuffix(name, "_c"):
			return []jobs.FieldKind{jobs.TemperatureField}
		}
		return []jobs.FieldKind{jobs.DegreesField}
	case protoreflect.Int32Kind:
		if fd.IsList() {
			return []jobs.FieldKind{jobs.SecondsField}
		}
		return []jobs.FieldKind{jobs.WholeField}
	case protoreflect.MessageKind:
		if fd.Message().Name() == "Money" {
			return []jobs.FieldKind{jobs.SumField}
		}
		return []jobs.FieldKind{jobs.InstantField}
	}
	return []jobs.FieldKind{jobs.TextField, jobs.DayField, jobs.ChoiceField}
}

// FuzzWhatIsReadIsARecord: whatever a cell holds, what becomes of it is a record of the contract or a
// fault; a file can never make text that RecordJob could not read.
func FuzzWhatIsReadIsARecord(f *testing.F) {
	all := jobs.IntakeFields()
	for i, text := range []string{"1 3/16", "x", "-0.0", "2026-10-20 14:05", "14:05", "120 60", "$5.00", "BULLSEYE", "999999999999", "\u202e", "0001-01-01 00:00"} {
		f.Add(text, uint8(i*7))
	}
	f.Fuzz(func(t *testing.T, text string, which uint8) {
		field := all[int(which)%len(all)]
		m := jobs.Mapping{TimeZone: "UTC", Currency: "USD", DateOrder: jobs.DayMonthYear, LengthUnit: []jobs.LengthUnit{jobs.Inches, jobs.Millimetres}[which&1],
			Columns: []jobs.Column{{Field: "external_reference", Name: "ref"}, {Field: field.Path, Name: "cell", IsOptional: true}}}
		cell, err := json.Marshal(text)
		if err != nil {
			t.Fatal(err)
		}
		for _, read := range []func() (jobs.Intake, error){
			func() (jobs.Intake, error) {
				return jsonlines.Format{}.Read([]byte(`{"ref": "A", "cell": `+string(cell)+`}`), m)
			},
			func() (jobs.Intake, error) {
				return csvintake.Format{}.Read([]byte("ref,cell\nA,\""+strings.ReplaceAll(text, `"`, `""`)+"\"\n"), m)
			},
		} {
			file, err := read()
			if err != nil {
				continue
			}
			for _, r := range file.Records {
				if err := protojson.Unmarshal(r.Text, &jobsv1.RepairRecord{}); err != nil {
					t.Fatalf("%s from %q: %s\n%v", field.Path, text, r.Text, err)
				}
			}
		}
	})
}
