package claimspg_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	"cullet/adapters"
	"cullet/adapters/payload"
	claimsv1 "cullet/proto/cullet/claims/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/jobs"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/tax"
)

var now = time.Date(2026, 10, 20, 19, 0, 0, 0, time.UTC)

// world is a server that opens claims, with one payer. Photos are put into the database alone.
type world struct {
	*servertest.World
	t *testing.T
}

func start(t *testing.T) world {
	t.Helper()
	w := world{servertest.Start(t, servertest.Options{Now: func() time.Time { return now },
		Outside: server.Outside{Translator: payload.Translator{Book: tax.Shipped()}, Formats: adapters.Formats(),
			Channels: adapters.Channels(adapters.ChannelOptions{})}}), t}
	usd := func(minor int64) *moneyv1.Money { return &moneyv1.Money{MinorUnits: minor, CurrencyCode: "USD"} }
	_, err := w.Payers.CreatePayer(t.Context(), &payersv1.CreatePayerRequest{Code: "lantern-mutual", Name: "Lantern Mutual (invented)",
		Kind: payersv1.PayerKind_PAYER_KIND_INSURER, Profile: &payersv1.PayerProfile{IsDeductibleWaivedForRepair: true,
			IsMobileWorkPaid: true, Format: "json", Channel: "https", Address: "https://lantern.example/claims",
			PriceAgreements: []*payersv1.PriceAgreement{{Key: "Lantern 2026", ValidFrom: "2026-01-01", FirstRepair: usd(7995),
				FurtherRepair: usd(1500)}}}})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// photo stages one with a likeness and gives its hash.
func (w world) photo(shop ident.Shop, name byte, likeness uint64) string {
	hash := strings.Repeat(fmt.Sprintf("%02x", name), 32)
	w.Exec(`INSERT INTO photos (shop_id, photo_hash, media_type, size_bytes, width_pixels, height_pixels, likeness, stage_time)
		VALUES ($1, decode($2, 'hex'), 'image/jpeg', 1000, 4032, 3024, $3, $4)`, string(shop), hash, int64(likeness), now)
	return hash
}

func photoOf(kind jobsv1.PhotoKind, hash string) *jobsv1.PhotoReference {
	m := &jobsv1.PhotoReference{PhotoHash: hash, Kind: kind}
	if kind == before || kind == after {
		m.DamageNumber = 1
	}
	return m
}

const (
	before = jobsv1.PhotoKind_PHOTO_KIND_BEFORE
	after  = jobsv1.PhotoKind_PHOTO_KIND_AFTER
	plate  = jobsv1.PhotoKind_PHOTO_KIND_VIN_PLATE
	whole  = jobsv1.PhotoKind_PHOTO_KIND_WHOLE_GLASS
)

// claim records a visit of a vehicle and waits for its claim.
func (w world) claim(reference, vin string, photos ...*jobsv1.PhotoReference) *claimsv1.Claim {
	w.t.Helper()
	text, err := os.ReadFile("../../jobs/testdata/record.json")
	if err != nil {
		w.t.Fatal(err)
	}
	m := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, m); err != nil {
		w.t.Fatal(err)
	}
	m.ExternalReference, m.Vehicle.Vin, m.Photos = reference, vin, photos
	made, err := w.Jobs.RecordJob(w.t.Context(), &jobsv1.RecordJobRequest{Record: m})
	if err != nil {
		w.t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(w.t.Context(), time.Minute)
	defer cancel()
	for range pg.Listen(ctx, w.RuntimeDSN, "nobody", 20*time.Millisecond) {
		list, err := w.Claims.ListClaims(ctx, &claimsv1.ListClaimsRequest{Filter: fmt.Sprintf("job_id = %q", made.GetJob().GetJobId())})
		if err != nil {
			w.t.Fatal(err)
		}
		if len(list.GetClaims()) > 0 {
			got, err := w.Claims.GetClaim(ctx, &claimsv1.GetClaimRequest{ClaimId: list.GetClaims()[0].GetClaimId()})
			if err != nil {
				w.t.Fatal(err)
			}
			return got.GetClaim()
		}
	}
	w.t.Fatal("no claim was opened within a minute")
	return nil
}

// photoFindings gives "code path" of each finding about photos of other claims.
func photoFindings(c *claimsv1.Claim) (all []string, found []*findingsv1.Finding) {
	all = []string{}
	for _, f := range c.GetFindings() {
		if f.GetCode() == "PHOTO-ON-OTHER-CLAIM" || f.GetCode() == "PHOTO-LIKE-OTHER-CLAIM" {
			all, found = append(all, f.GetCode()+" "+f.GetPath()), append(found, f)
		}
	}
	return all, found
}

const (
	firstVIN, secondVIN, thirdVIN = "1HGCM82633A004352", "1G4AH59H45G118341", "1FMKJ4W09JE994438"
	likeness                      = 0x8f3c_55aa_0ff0_1234
)

func TestPhotosOfOtherClaims(t *testing.T) {
	t.Parallel()
	w := start(t)
	other, _ := w.OtherShop()
	w.photo(other, 0x90, likeness)
	one, onePlate, oneWhole := w.photo(w.Shop, 1, likeness), w.photo(w.Shop, 2, 77), w.photo(w.Shop, 3, ^uint64(0))
	near, far := w.photo(w.Shop, 4, likeness^0b1_0000_0001_0000_0000_0001), w.photo(w.Shop, 5, ^uint64(0)^0b11111)
	samePlate, plateAsAfter := w.photo(w.Shop, 6, 77), w.photo(w.Shop, 7, 77)

	first := w.claim("V-1", firstVIN, photoOf(before, one), photoOf(plate, onePlate), photoOf(whole, oneWhole))
	if got, _ := photoFindings(first); len(got) > 0 {
		t.Errorf("the first claim of all: %v", got)
	}
	second := w.claim("V-2", secondVIN, photoOf(whole, far), photoOf(before, near), photoOf(plate, samePlate), photoOf(after, plateAsAfter))
	got, found := photoFindings(second)
	if !slices.Equal(got, []string{"PHOTO-LIKE-OTHER-CLAIM job.photos[1]"}) {
		t.Fatalf("the second claim: %v, want a caution about its photo before alone", got)
	}
	if f := found[0]; f.GetSeverity() != findingsv1.Severity_SEVERITY_CAUTION || f.GetOtherPhotoHash() != one ||
		f.GetSentence() != "Photo 2 looks nearly the same as photo 1 of claim C-000001: 3 of 64 bits differ." {
		t.Errorf("the caution is %v", f)
	}
	third := w.claim("V-3", thirdVIN, photoOf(before, one))
	if got, _ := photoFindings(third); !slices.Equal(got, []string{"PHOTO-ON-OTHER-CLAIM job.photos[0]", "PHOTO-LIKE-OTHER-CLAIM job.photos[0]"}) {
		t.Errorf("the very same file again: %v, want a stop, and a caution about the second claim's", got)
	}
	for number, want := range map[string]int{"C-000001": 0, "C-000002": 0, "C-000003": 1, "": 1} {
		if found, _ := w.alike(one, number); len(found) != want {
			t.Errorf("a claim with the number %q and the first photo is like %+v, want %d opened before it", number, found, want)
		}
	}
	if _, err := w.Claims.WithdrawClaim(t.Context(), &claimsv1.WithdrawClaimRequest{ClaimId: second.GetClaimId(), Etag: second.GetEtag(), Reason: "entered twice"}); err != nil {
		t.Fatal(err)
	}
	if found, _ := w.alike(one, ""); len(found) > 0 {
		t.Errorf("a photo is like %+v of a claim that was withdrawn", found)
	}
}

// TestAlikeFindsEveryDistance names photos at every distance up to 5 bits, with the bits anywhere.
func TestAlikeFindsEveryDistance(t *testing.T) {
	t.Parallel()
	w := start(t)
	own := w.photo(w.Shop, 1, likeness)
	first := w.claim("V-1", firstVIN, photoOf(before, w.photo(w.Shop, 2, 0)))
	source := rand.New(rand.NewPCG(1, 2))
	for round := range 8 {
		want := map[jobs.PhotoHash]int{}
		for n := range 6 {
			for k := range 8 {
				mask, bits := uint64(0), n
				for _, bit := range source.Perm(64)[:bits] {
					mask |= 1 << bit
				}
				hash := w.photo(w.Shop, byte(20+8*n+k), likeness^mask)
				w.Exec(`INSERT INTO job_photos SELECT shop_id, job_id, 1, $2, decode($3, 'hex'), 'AFTER', 1 FROM jobs WHERE shop_id = $1`,
					string(w.Shop), 100+100*round+8*n+k, hash)
				if bits <= claims.LikeBits {
					want[jobs.PhotoHash(hash)] = bits
				}
			}
		}
		got, _ := w.alike(own, "")
		if len(got) != len(want) {
			t.Errorf("round %d: %d photos are alike, want %d", round, len(got), len(want))
		}
		for _, a := range got {
			if want[a.Other] != a.Bits || a.ClaimNumber != first.GetClaimNumber() || a.Own != jobs.PhotoHash(own) {
				t.Errorf("round %d: %+v, want %d bits on %s", round, a, want[a.Other], first.GetClaimNumber())
			}
		}
		w.Exec(`ALTER TABLE job_photos DISABLE TRIGGER append_only`)
		w.Exec(`DELETE FROM job_photos WHERE photo_number >= 100`)
		w.Exec(`ALTER TABLE job_photos ENABLE TRIGGER append_only`)
		w.Exec(`DELETE FROM photos f WHERE photo_hash NOT IN (SELECT photo_hash FROM job_photos) AND photo_hash <> decode($1, 'hex')`, own)
	}
}

// read is what a transaction has read of a table: the scans of all of it, and the rows.
type read struct {
	Table string `db:"relname"`
	Scans int    `db:"seq_scan"`
	Rows  int    `db:"rows"`
}

// alike asks for the photos that look like one of the claim with the number, and for the earlier claims, and tells what was read.
func (w world) alike(hash, number string) (found []claims.AlikePhoto, reads []read) {
	w.t.Helper()
	c := claims.Case{ClaimNumber: number, Job: jobs.Job{Record: jobs.Record{Vehicle: jobs.Vehicle{VIN: thirdVIN},
		Photos: []jobs.PhotoReference{{Hash: jobs.PhotoHash(hash), Kind: jobs.Before}}}}}
	err := pg.Read(w.t.Context(), w.DB, w.Shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		if found, err = claimspg.Alike(ctx, tx, c); err != nil {
			return err
		}
		if _, err = claimspg.Earlier(ctx, tx, c); err != nil {
			return err
		}
		reads = nil
		return tx.Select(ctx, &reads, `SELECT relname, seq_scan, seq_tup_read + coalesce(idx_tup_fetch, 0) AS rows
			FROM pg_stat_xact_user_tables WHERE relname IN ('photos', 'job_photos', 'claims', 'jobs')`)
	})
	if err != nil {
		w.t.Fatal(err)
	}
	return found, reads
}

// TestAlikeReadsLittle asks among a hundred thousand photos and five thousand claims of one shop.
func TestAlikeReadsLittle(t *testing.T) {
	t.Parallel()
	w := start(t)
	one := w.photo(w.Shop, 1, likeness)
	w.claim("V-1", firstVIN, photoOf(before, one))
	own := w.photo(w.Shop, 2, likeness^1)
	w.Exec(`INSERT INTO photos (shop_id, photo_hash, media_type, size_bytes, width_pixels, height_pixels, likeness, stage_time)
		SELECT $1, sha256(i::text::bytea), 'image/jpeg', 1000, 4032, 3024, ('x' || substr(md5(i::text), 1, 16))::bit(64)::bigint, $2
		FROM generate_series(1, 100000) AS i`, string(w.Shop), now)
	w.Exec(`CREATE TABLE copies AS SELECT i, gen_random_uuid() AS job_id, gen_random_uuid() AS claim_id FROM generate_series(2, 5000) AS i`)
	for _, table := range []string{"jobs", "claims"} {
		w.Exec(fmt.Sprintf(`INSERT INTO %[1]s SELECT r.* FROM (SELECT %[1]s FROM %[1]s LIMIT 1) AS t (one), copies k,
			jsonb_populate_record(t.one, jsonb_build_object('job_id', k.job_id, 'claim_id', k.claim_id, 'sequence', k.i,
				'external_reference', 'N-' || k.i)) AS r`, table))
	}
	w.Exec(`INSERT INTO job_photos SELECT $1, k.job_id, 1, n, sha256((k.i * 10 + n)::text::bytea), 'BEFORE', 1
		FROM copies k, generate_series(1, 3) AS n`, string(w.Shop))
	w.ExecAlone(`VACUUM ANALYZE`)
	for _, c := range []struct{ asks, finds string }{{own, one}, {one, ""}} { // Only the one stands on a claim.
		found, reads := w.alike(c.asks, "")
		if c.finds == "" && len(found) > 0 || c.finds != "" && (len(found) != 1 || string(found[0].Other) != c.finds || found[0].Bits != 1) {
			t.Errorf("found %+v, want the photo %q at 1 bit", found, c.finds)
		}
		if len(reads) != 4 {
			t.Fatalf("read %+v, want four tables", reads)
		}
		for _, r := range reads {
			t.Logf("%+v", r)
			if r.Scans > 0 || r.Rows > 500 {
				t.Errorf("of %s %d rows were read, in %d scans of all of it", r.Table, r.Rows, r.Scans)
			}
		}
	}
}
