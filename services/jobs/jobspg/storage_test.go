package jobspg_test

import (
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/internal/once"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
	"cullet/services/repairability"
)

var at = time.Date(2026, 10, 21, 3, 0, 0, 123456000, time.UTC)

// bench is a database with one shop.
type bench struct {
	*pgtest.World
	t    *testing.T
	shop ident.Shop
}

func setup(t *testing.T) bench {
	w := pgtest.New(t)
	return bench{World: w, t: t, shop: w.Shop()}
}

// do runs fn in a transaction and gives its error.
func (b bench) do(fn pg.Func) error {
	return pg.Transact(b.t.Context(), b.DB, b.shop, fn)
}

// must is do for what has to succeed.
func (b bench) must(fn pg.Func) {
	b.t.Helper()
	if err := b.do(fn); err != nil {
		b.t.Fatal(err)
	}
}

// quota is more than any test keeps.
const quota = 1 << 30

func hash(digit string) jobs.PhotoHash { return jobs.PhotoHash(strings.Repeat(digit, 64)) }

// stage stages photos by hash.
func (b bench) stage(when time.Time, all ...jobs.PhotoHash) {
	b.t.Helper()
	b.must(func(ctx context.Context, tx *pg.Tx) error {
		for _, h := range all {
			if _, err := jobspg.Stage(ctx, tx, testRing, photo(h), when, quota); err != nil {
				return err
			}
		}
		return nil
	})
}

func photo(h jobs.PhotoHash) jobs.Photo {
	taken := at.Add(-time.Hour)
	return jobs.Photo{Hash: h, MediaType: "image/jpeg", SizeBytes: 1234, Width: 40, Height: 30, TakeTime: &taken,
		Position: &jobs.Position{LatitudeMicrodegrees: 39103100, LongitudeMicrodegrees: -84512000}, Likeness: 1 << 63,
		Quality: &jobs.Quality{Sharpness: 1700, Brightness: 112, BlownPercent: 1}}
}

func record(reference string, photos ...jobs.PhotoHash) jobs.Record {
	r := jobs.Record{ExternalReference: reference, Vehicle: jobs.Vehicle{VIN: "1HGCM82633A004352", Plate: "ABC 1234"},
		Damages: []jobs.Damage{{Damage: repairability.Damage{Kind: repairability.Bullseye, BodyDiameter: repairability.MM(12),
			Outcome: repairability.Repaired}, Note: "an apostrophe's, a \\ and a \u00e4"}},
		StartTime: at.Add(-time.Hour), FinishTime: at.Add(-30 * time.Minute), TimeZone: "America/New_York", Technician: "T. Example (invented)"}
	for _, h := range photos {
		r.Photos = append(r.Photos, jobs.PhotoReference{Hash: h, Kind: jobs.Before, DamageNumber: 1})
	}
	return r
}

func (b bench) recording(request string, r jobs.Record) *jobspg.Recording {
	b.t.Helper()
	job := jobs.Job{ID: ident.New[ident.Job](), Shop: b.shop, Version: 1, Record: r, RecordTime: at, RecordedBy: "tablet",
		Findings: []finding.Finding{{Code: "A", Severity: finding.Note, Path: "record.vehicle.vin"}}}
	job.Assessments, _ = jobs.Assess(&r, "", jobs.Ranges(nil))
	text, fingerprint, err := r.Canonical()
	if err != nil {
		b.t.Fatal(err)
	}
	return &jobspg.Recording{Written: jobspg.Written{Job: job, Text: text, Fingerprint: fingerprint},
		Key: once.Key{Shop: b.shop, Caller: "key", Method: "RecordJob", RequestID: request},
		Event: outbox.Event{ID: ident.New[ident.Event](), Type: "job.recorded", SubjectKind: "job", SubjectID: string(job.ID),
			SubjectVersion: 1, OccurTime: at, Actor: "tablet", Data: json.RawMessage(`{}`)}}
}

func (b bench) record(r *jobspg.Recording) (stored bool, err error) {
	err = b.do(func(ctx context.Context, tx *pg.Tx) (err error) {
		before := tx.Statements()
		stored, err = jobspg.Record(ctx, tx, r, 1)
		if n := tx.Statements() - before; n != 1 {
			b.t.Errorf("recording took %d statements, want 1", n)
		}
		return err
	})
	return stored, err
}

func (b bench) get(id ident.Job, version int) (job jobs.Job, err error) {
	err = pg.Read(b.t.Context(), b.DB, b.shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		job, err = jobspg.Get(ctx, tx, id, version)
		return err
	})
	return job, err
}

func TestRecordAndGet(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.stage(at, hash("a"), hash("b"))
	r := b.recording("1", record("V-1", hash("a"), hash("b")))
	if stored, err := b.record(r); err != nil || !stored {
		t.Fatalf("stored %v, %v", stored, err)
	}
	for _, version := range []int{0, 1} {
		got, err := b.get(r.Job.ID, version)
		if diff := cmp.Diff(r.Job, got); err != nil || diff != "" {
			t.Errorf("version %d: %v (-want +got):\n%s", version, err, diff)
		}
	}
	for table, want := range map[string]int{"jobs": 1, "job_photos": 2, "requests": 1, "events": 1} {
		if n := b.Count(table); n != want {
			t.Errorf("%d rows in %s, want %d", n, table, want)
		}
	}
	var work []string
	b.Select(&work, `SELECT topic || ' ' || key FROM work WHERE topic = $1`, jobspg.TopicOpen)
	if diff := cmp.Diff([]string{"job.open " + string(r.Job.ID)}, work); diff != "" {
		t.Errorf("work (-want +got):\n%s", diff)
	}
	if _, err := b.get(r.Job.ID, 2); !errs.Is(err, errs.NotFound) {
		t.Errorf("version 2: %v, want NotFound", err)
	}
	b.shop = b.Shop()
	if _, err := b.get(r.Job.ID, 0); !errs.Is(err, errs.NotFound) {
		t.Errorf("another shop's: %v, want NotFound", err)
	}
}

func TestWhatStandsInTheWay(t *testing.T) {
	t.Parallel()
	b := setup(t)
	first := b.recording("1", record("V-1"))
	if stored, err := b.record(first); err != nil || !stored {
		t.Fatalf("stored %v, %v", stored, err)
	}
	if stored, err := b.record(b.recording("1", record("V-2"))); err != nil || stored {
		t.Errorf("the same request again: stored %v, %v; want neither", stored, err)
	}
	stray := record("V-4")
	stray.Coverage.PayerCode = "nobody"
	for name, r := range map[string]jobs.Record{"a taken reference": record("V-1"), "a photo that is not there": record("V-3", hash("c")),
		"a payer that is not there": stray} {
		if stored, err := b.record(b.recording("2", r)); err != nil || stored {
			t.Errorf("%s: stored %v, %v; want neither", name, stored, err)
		}
	}
	b.Exec(`UPDATE shops SET version = version + 1`)
	if stored, err := b.record(b.recording("2", record("V-5"))); err != nil || stored {
		t.Errorf("assessed by settings that are no more: stored %v, %v; want neither", stored, err)
	}
	for table, want := range map[string]int{"jobs": 1, "requests": 1, "events": 1, "work": 1, "job_photos": 0} {
		if n := b.Count(table); n != want {
			t.Errorf("%d rows in %s, want %d", n, table, want)
		}
	}
}

func (b bench) look(request string, r jobs.Record, when time.Time) (seen jobspg.Seen) {
	b.t.Helper()
	key := once.Key{Shop: b.shop, Caller: "key", Method: "RecordJob", RequestID: request}
	b.must(func(ctx context.Context, tx *pg.Tx) (err error) {
		before := tx.Statements()
		seen, err = jobspg.Look(ctx, tx, key, &r, when)
		if n := tx.Statements() - before; n != 1 {
			b.t.Errorf("looking took %d statements, want 1", n)
		}
		return err
	})
	return seen
}

func TestLook(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.Exec(`UPDATE shops SET settings = settings || '{"standard_key": "ROLAGS-2014"}'`)
	nothing := jobspg.Seen{Photos: []string{}, PayerKnown: true, CustomerKnown: true, WarrantyKnown: true,
		StandardKey: "ROLAGS-2014", CurrencyCode: "USD", ShopVersion: 1}
	if diff := cmp.Diff(nothing, b.look("1", record("V-1"), at)); diff != "" {
		t.Errorf("nothing there (-want +got):\n%s", diff)
	}
	b.stage(at, hash("a"), hash("b"))
	r := b.recording("1", record("V-1", hash("a")))
	if _, err := b.record(r); err != nil {
		t.Fatal(err)
	}
	other := record("V-1", hash("a"), hash("b"), hash("a"), hash("c"), "no hash")
	other.Coverage.PayerCode, other.Motorist.CustomerID = "nobody", ident.New[ident.Customer]()
	other.WarrantyOf = r.Job.ID
	want := jobspg.Seen{RequestFingerprint: r.Fingerprint, Answer: []byte(r.Job.ID), Job: r.Job.ID, JobFingerprint: r.Fingerprint,
		Photos: []string{string(hash("a")), string(hash("b"))}, WarrantyKnown: true, StandardKey: "ROLAGS-2014", CurrencyCode: "USD", ShopVersion: 1}
	if diff := cmp.Diff(want, b.look("1", other, at)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	// A day later the photo that no job names can no longer be named, swept or not.
	want.Photos = []string{string(hash("a"))}
	if diff := cmp.Diff(want, b.look("1", other, at.Add(jobs.StagedFor))); diff != "" {
		t.Errorf("a day later (-want +got):\n%s", diff)
	}
	b.shop = b.Shop()
	seen := b.look("1", other, at)
	if len(seen.Photos) > 0 || seen.Job != "" || seen.Answer != nil || seen.WarrantyKnown {
		t.Errorf("another shop sees %+v", seen)
	}
}

func TestAmend(t *testing.T) {
	t.Parallel()
	b := setup(t)
	b.stage(at, hash("a"), hash("b"))
	r := b.recording("1", record("V-1", hash("a")))
	if _, err := b.record(r); err != nil {
		t.Fatal(err)
	}
	next := b.recording("", record("V-1", hash("b"), hash("a"))).Written
	next.Job.ID, next.Job.Version, next.Job.AmendReason = r.Job.ID, 2, "the spread was measured again"
	amend := func() (ok bool) {
		b.must(func(ctx context.Context, tx *pg.Tx) (err error) {
			ok, err = jobspg.Amend(ctx, tx, &next)
			return err
		})
		return ok
	}
	if !amend() {
		t.Fatal("version 2 was not stored")
	}
	if amend() {
		t.Error("version 2 was stored twice")
	}
	for version, want := range map[int]jobs.Job{0: next.Job, 1: r.Job, 2: next.Job} {
		got, err := b.get(r.Job.ID, version)
		if diff := cmp.Diff(want, got); err != nil || diff != "" {
			t.Errorf("version %d: %v (-want +got):\n%s", version, err, diff)
		}
	}
	if n := b.Count("job_photos"); n != 3 {
		t.Errorf("%d named photos, want 1 of version 1 and 2 of version 2", n)
	}
}

func TestList(t *testing.T) {
	t.Parallel()
	b := setup(t)
	var want []ident.Job
	for _, reference := range []string{"V-1", "V-2", "V-3"} {
		r := b.recording(reference, record(reference))
		if _, err := b.record(r); err != nil {
			t.Fatal(err)
		}
		want = append([]ident.Job{r.Job.ID}, want...)
	}
	list := func(before ident.Job, limit int, where string, args ...any) (ids []ident.Job) {
		b.must(func(ctx context.Context, tx *pg.Tx) error {
			all, err := jobspg.List(ctx, tx, string(before), limit, where, args...)
			ids = []ident.Job{}
			for _, j := range all {
				ids = append(ids, j.ID)
			}
			return err
		})
		return ids
	}
	const last = "ffffffff-ffff-ffff-ffff-ffffffffffff"
	for _, test := range []struct {
		name      string
		got, want []ident.Job
	}{
		{"all", list(last, 9, ""), want},
		{"two", list(last, 2, ""), want[:2]},
		{"behind the second", list(want[1], 9, ""), want[2:]},
		{"filtered", list(last, 9, " AND j.external_reference = $4", "V-2"), want[1:2]},
		{"by day", list(last, 9, " AND j.repair_date < $4", "2026-10-20"), []ident.Job{}},
	} {
		if diff := cmp.Diff(test.want, test.got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.name, diff)
		}
	}
	b.must(func(ctx context.Context, tx *pg.Tx) error {
		many, err := jobspg.Many(ctx, tx, []ident.Job{want[0], ident.New[ident.Job](), want[2]})
		if len(many) != 2 || many[want[0]].Record.ExternalReference != "V-3" {
			t.Errorf("Many = %v", many)
		}
		return err
	})
}
