package scenario

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"image"
	"reflect"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-playground/validator/v10"
	"google.golang.org/protobuf/encoding/protojson"

	"cullet/adapters/payload"
	"cullet/services/access"
	"cullet/services/claims"
	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/jobs"
	"cullet/services/tax"
	"cullet/testdata"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// loaded reads the files once.
var loaded = sync.OnceValues(func() ([]Visit, error) { return Load(testdata.Repairs) })

func load(t *testing.T) []Visit {
	t.Helper()
	visits, err := loaded()
	if err != nil {
		t.Fatal(err)
	}
	return visits
}

// shop is the invented shop.
var shop = access.Shop{ID: "0199e5a0-7c1b-7000-8000-000000000001", Name: "Harbourline Glass Repair (invented)",
	Address: access.Address{Street: "2140 Quayline Avenue", City: "Columbus", County: "Franklin", State: "OH",
		PostalCode: "43215", CountryCode: "US"},
	TimeZone: "America/New_York", CurrencyCode: "USD", StandardKey: jobs.UsualStandard}

// world sends the visits one after another through the rules, without a database: what the rules
// say of each is kept, and what a later visit is compared with.
type world struct {
	today   time.Time
	earlier []claims.EarlierClaim
	photos  map[jobs.PhotoHash]jobs.Photo
}

// domain reads a record as the rules take it. The names are the same on both sides; the words of
// enumerations have no prefix there, and measures are text.
func domain(t *testing.T, v Visit, hashes []string) jobs.Record {
	t.Helper()
	message, err := v.RecordWith(hashes)
	if err != nil {
		t.Fatal(err)
	}
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(message)
	if err != nil {
		t.Fatal(err)
	}
	var tree map[string]any
	decoder := json.NewDecoder(strings.NewReader(string(text)))
	decoder.UseNumber()
	if err := decoder.Decode(&tree); err != nil {
		t.Fatal(err)
	}
	text, err = json.Marshal(plain(tree))
	if err != nil {
		t.Fatal(err)
	}
	var record jobs.Record
	if err := json.Unmarshal(text, &record); err != nil {
		t.Fatalf("%s: %v", v.Name, err)
	}
	return record
}

var prefix = regexp.MustCompile(`^(DAMAGE_KIND|OUTCOME|LAYER|CONTAMINATION|CAUSE|DRIVER_SIDE|KNOWN|PHOTO_KIND|DEDUCTIBLE_BASIS)_`)

func plain(tree map[string]any) map[string]any {
	for name, value := range tree {
		switch value := value.(type) {
		case map[string]any:
			tree[name] = plain(value)
		case []any:
			for _, item := range value {
				if item, ok := item.(map[string]any); ok {
					plain(item)
				}
			}
		case string:
			tree[name] = prefix.ReplaceAllString(value, "")
		case json.Number:
			if strings.HasSuffix(name, "_mm") {
				tree[name] = value.String()
			}
			if name == "glass_temperature_c" {
				degrees, _ := value.Float64()
				tree[name] = int(degrees * 10)
			}
		}
	}
	return tree
}

// send gives the codes of the stops and of all other findings, and the paths of the faults for
// which the record is refused.
func (w *world) send(t *testing.T, visits []Visit, index int) (stops, others, faults []string) {
	t.Helper()
	v := visits[index]
	hashes := w.upload(t, visits, index)
	record := domain(t, v, hashes)
	if faults = refusals(&record, w.today); len(faults) > 0 || v.Expect.UploadReason != "" {
		return nil, nil, faults
	}
	code := record.Coverage.PayerCode
	if code == "" {
		return nil, nil, nil
	}
	job := jobs.Job{ID: ident.Job("job of " + v.Name), Shop: shop.ID, Version: 1, Record: record}
	job.Assessments, job.Findings = jobs.Assess(&record, shop.StandardKey, jobs.Ranges(nil))
	about := claims.Case{Shop: shop, Job: job, Payer: payer(code), Coverage: record.Coverage, Photos: w.photos,
		Earlier: w.related(record, code), ClaimNumber: "C-" + v.Record.GetExternalReference(), Now: w.today}
	made, err := payload.Translator{Book: tax.Shipped()}.Translate(about)
	if err != nil {
		t.Fatalf("%s: %v", v.Name, err)
	}
	for _, f := range claims.Check(about, made) {
		if f.Severity == finding.Stop {
			stops = append(stops, f.Code)
		} else {
			others = append(others, f.Code)
		}
	}
	for _, f := range job.Findings {
		others = append(others, f.Code)
	}
	w.keep(v, record, code)
	return stops, others, nil
}

// upload gives each photo the hash of what would be sent, drawn small.
func (w *world) upload(t *testing.T, visits []Visit, index int) (hashes []string) {
	t.Helper()
	for i, p := range visits[index].Photos {
		content, err := Draw(visits, index, i, image.Pt(126, 96))
		if err != nil {
			t.Fatal(err)
		}
		sum := sha256.Sum256(content)
		hash := hex.EncodeToString(sum[:])
		hashes = append(hashes, hash)
		photo := jobs.Photo{Hash: jobs.PhotoHash(hash), Likeness: likeness(t, content, p)}
		if p.LatitudeMicrodegrees != 0 || p.LongitudeMicrodegrees != 0 {
			photo.Position = &jobs.Position{LatitudeMicrodegrees: p.LatitudeMicrodegrees, LongitudeMicrodegrees: p.LongitudeMicrodegrees}
		}
		if known, ok := w.photos[photo.Hash]; ok {
			photo = known
		} else if !p.TakeTime.IsZero() {
			photo.TakeTime = &p.TakeTime
		}
		w.photos[photo.Hash] = photo
	}
	return hashes
}

// related are the claims with which the rules compare: of the same vehicle, photo or
// authorization.
func (w *world) related(record jobs.Record, code string) (all []claims.EarlierClaim) {
	photos := map[jobs.PhotoHash]bool{}
	for _, p := range record.Photos {
		photos[p.Hash] = true
	}
	for _, e := range w.earlier {
		isRelated := e.VIN == record.Vehicle.VIN || e.Payer == ident.Payer(code) && e.AuthorizationNumber != "" &&
			e.AuthorizationNumber == record.Coverage.Authorization.Number
		for _, hash := range e.PhotoHashes {
			isRelated = isRelated || photos[hash]
		}
		if isRelated {
			all = append([]claims.EarlierClaim{e}, all...)
		}
	}
	return all
}

func (w *world) keep(v Visit, record jobs.Record, code string) {
	e := claims.EarlierClaim{ID: ident.Claim(v.Name), Number: v.Record.GetExternalReference(), Job: ident.Job("job of " + v.Name),
		Payer: ident.Payer(code), State: claims.Ready, VIN: record.Vehicle.VIN, RepairDate: record.RepairDate(),
		AuthorizationNumber: record.Coverage.Authorization.Number, Damages: record.Damages}
	for _, p := range record.Photos {
		e.PhotoHashes = append(e.PhotoHashes, p.Hash)
	}
	w.earlier = append(w.earlier, e)
}

// refusals are the faults that the record's tags and rules say, and an unknown payer.
func refusals(record *jobs.Record, today time.Time) (paths []string) {
	check := validator.New(validator.WithRequiredStructEnabled())
	check.RegisterTagNameFunc(func(f reflect.StructField) string {
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		return name
	})
	if err := check.Struct(record); err != nil {
		for _, fault := range err.(validator.ValidationErrors) {
			_, path, _ := strings.Cut(fault.Namespace(), ".")
			paths = append(paths, "record."+path)
		}
	}
	for _, fault := range jobs.Check(record, today) {
		paths = append(paths, fault.Path)
	}
	if code := record.Coverage.PayerCode; code != "" && payer(code).Code == "" {
		paths = append(paths, "record.coverage.payer_code")
	}
	return paths
}

// counts tells how many visits have each word, for the table in the README.
func counts(visits []Visit, word func(*jobsv1.RepairRecord) []string) map[string]int {
	all := map[string]int{}
	for _, v := range visits {
		for _, w := range word(v.Record) {
			all[w]++
		}
	}
	return all
}
