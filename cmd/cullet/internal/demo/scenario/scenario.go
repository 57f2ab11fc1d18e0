// Package scenario reads the invented quarter of an invented shop: completed repair records as a
// shop system would send them, the photos that belong to them, and what is to become of each.
//
// The records lie as files in testdata/repairs, where a person can read them; the package
// invent, beside this one, made them. Nobody and nothing in them exists. It refuses a file that
// is not wholly understood: an unknown field, a photo that points nowhere.
package scenario

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
)

// Folder is where the records lie in the repository's testdata.
const Folder = "repairs"

// Visit is one file: a completed visit with its photos and its expectation.
type Visit struct {
	// Name is the file's, without ".json": the external reference and what the record shows.
	Name string
	// About says in a sentence what the record is for.
	About string
	// Record is what a shop system sends, but for the photos.
	Record *jobsv1.RepairRecord
	// Photos are drawn, not stored; their hashes are those of the drawn bytes.
	Photos []Photo
	// Later is what becomes known afterwards; nil when nothing does.
	Later  *Later
	Expect Expect
}

// Photo says what to draw, or what is sent in its place.
type Photo struct {
	// Kind is BEFORE, AFTER, VIN_PLATE or WHOLE_GLASS.
	Kind string `json:"kind"`
	// DamageNumber counts from 1; 0 for the plate and the whole glass.
	DamageNumber int32 `json:"damage_number,omitempty"`
	// TakeTime is by the camera's clock, with its offset; the zero time is not written.
	TakeTime time.Time `json:"take_time,omitzero"`
	// Seed makes the surroundings, Shape the break: the same before and after.
	Seed  uint64 `json:"seed,omitempty"`
	Shape uint64 `json:"shape,omitempty"`
	// Orientation is the EXIF value.
	Orientation int `json:"orientation,omitempty"`
	// LatitudeMicrodegrees and LongitudeMicrodegrees are where the camera thinks it is.
	LatitudeMicrodegrees  int32 `json:"latitude_microdegrees,omitempty"`
	LongitudeMicrodegrees int32 `json:"longitude_microdegrees,omitempty"`
	// Shows is what the picture is of, when the record names it wrong; else it is of Kind.
	Shows string `json:"shows,omitempty"`
	// PlateReads is what a plate shows when the record has it wrong.
	PlateReads string `json:"plate_reads,omitempty"`
	// SameAs names a photo whose very bytes are sent: "R-0007-star-break/2", counted from 1.
	SameAs string `json:"same_as,omitempty"`
	// Instead names what is sent in place of a photo: TEXT, HEIC or HALF (a file cut off).
	Instead string `json:"instead,omitempty"`
}

// Later is the coverage as it is to be on the claim some days after the visit.
type Later struct {
	AfterDays int
	// Because says how it became known.
	Because  string
	Coverage *payersv1.Coverage
}

// Expect is what is to become of the record.
type Expect struct {
	// IsRecorded is false for a record that is refused whole.
	IsRecorded bool `json:"is_recorded"`
	// Claim is READY or DRAFT as first opened; empty when there is none.
	Claim string `json:"claim,omitempty"`
	// Stops are the codes of all stop findings, sorted; Cautions those that the record is made
	// to show, among others.
	Stops    []string `json:"stops,omitempty"`
	Cautions []string `json:"cautions,omitempty"`
	// Errors are the fields for which a record is refused.
	Errors []string `json:"errors,omitempty"`
	// UploadReason is why the first photo that is refused is.
	UploadReason string `json:"upload_reason,omitempty"`
	// IsRepeat is true when the very same record was sent before: the first answer comes again.
	IsRepeat bool `json:"is_repeat,omitempty"`
	// IsConflict is true when another record stands under the reference already.
	IsConflict bool `json:"is_conflict,omitempty"`
}

// file is a visit as it is written.
type file struct {
	About  string          `json:"about"`
	Record json.RawMessage `json:"record"`
	Photos []Photo         `json:"photos,omitempty"`
	Later  *laterFile      `json:"later,omitempty"`
	Expect Expect          `json:"expect"`
}

type laterFile struct {
	AfterDays int             `json:"after_days"`
	Because   string          `json:"because"`
	Coverage  json.RawMessage `json:"coverage"`
}

// Load reads every visit of the folder, in the order of their names, which is that of their days.
// It fails on the first file that is not wholly understood.
func Load(files fs.FS) ([]Visit, error) {
	names, err := fs.Glob(files, path.Join(Folder, "*.json"))
	if err != nil || len(names) == 0 {
		return nil, fmt.Errorf("no records in %s (%w)", Folder, err)
	}
	visits := make([]Visit, len(names))
	for i, name := range names {
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
		if visits[i], err = Parse(strings.TrimSuffix(path.Base(name), ".json"), text); err != nil {
			return nil, err
		}
	}
	slices.SortFunc(visits, func(a, b Visit) int { return strings.Compare(a.Name, b.Name) })
	return visits, checkPhotos(visits)
}

// Parse reads one file.
func Parse(name string, text []byte) (Visit, error) {
	var f file
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&f); err != nil {
		return Visit{}, fmt.Errorf("read %s: %w", name, err)
	}
	v := Visit{Name: name, About: f.About, Record: &jobsv1.RepairRecord{}, Photos: f.Photos, Expect: f.Expect}
	if err := protojson.Unmarshal(f.Record, v.Record); err != nil {
		return Visit{}, fmt.Errorf("read the record of %s: %w", name, err)
	}
	if f.Later != nil {
		v.Later = &Later{AfterDays: f.Later.AfterDays, Because: f.Later.Because, Coverage: &payersv1.Coverage{}}
		if err := protojson.Unmarshal(f.Later.Coverage, v.Later.Coverage); err != nil {
			return Visit{}, fmt.Errorf("read the later coverage of %s: %w", name, err)
		}
	}
	return v, nil
}

// Format writes a visit as its file, the same bytes each time. Field names are those of the proto
// files, which are also the paths of faults.
func (v Visit) Format() ([]byte, error) {
	record, err := stable(v.Record)
	if err != nil {
		return nil, fmt.Errorf("write the record of %s: %w", v.Name, err)
	}
	f := file{About: v.About, Record: record, Photos: v.Photos, Expect: v.Expect}
	if v.Later != nil {
		coverage, err := stable(v.Later.Coverage)
		if err != nil {
			return nil, fmt.Errorf("write the later coverage of %s: %w", v.Name, err)
		}
		f.Later = &laterFile{AfterDays: v.Later.AfterDays, Because: v.Later.Because, Coverage: coverage}
	}
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(f); err != nil {
		return nil, fmt.Errorf("write %s: %w", v.Name, err)
	}
	return out.Bytes(), nil
}

// stable undoes the random spaces that protojson puts in.
func stable(m proto.Message) ([]byte, error) {
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	err = json.Compact(&out, text)
	return out.Bytes(), err
}

// RecordWith gives the record as it is sent, with the hashes of its photos in their order.
func (v Visit) RecordWith(hashes []string) (*jobsv1.RepairRecord, error) {
	if len(hashes) != len(v.Photos) {
		return nil, fmt.Errorf("record %s: %d hashes for %d photos", v.Name, len(hashes), len(v.Photos))
	}
	record := proto.CloneOf(v.Record)
	for i, p := range v.Photos {
		kind, ok := jobsv1.PhotoKind_value["PHOTO_KIND_"+p.Kind]
		if !ok {
			return nil, fmt.Errorf("record %s: photo %d is of the unknown kind %q", v.Name, i+1, p.Kind)
		}
		record.Photos = append(record.Photos, &jobsv1.PhotoReference{PhotoHash: hashes[i],
			Kind: jobsv1.PhotoKind(kind), DamageNumber: p.DamageNumber})
	}
	return record, nil
}
