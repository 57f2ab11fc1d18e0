package server_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	claimsv1 "cullet/proto/cullet/claims/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	runsv1 "cullet/proto/cullet/runs/v1"
	"cullet/services/internal/pg"
	"cullet/services/server/servertest"
)

// nightSize is how many released claims the night of the benchmark sends.
var nightSize = flag.Int("night-size", 10_000, "how many claims BenchmarkNight sends")

// nightChunk is how many the bare loop takes at once, as a run does.
const nightChunk = 1000

// BenchmarkNight measures a whole run over 10,000 released claims, or as many as -night-size says, from StartRun to FINISHED:
// control numbers, documents stored and then handed to the folder channel, receipts, claims moved,
// an event for each. The floor is a bare loop over one connection that does what no run can do
// without: read the payloads a thousand at a time, sum and hash them, write the document to a synced
// file, and move the claims with one statement a thousand. Three rounds in turn, the claims put back
// in between; a figure is the median of the rounds' ratios. With one payer one runner is at work,
// with two payers two. One operation is all rounds.
func BenchmarkNight(b *testing.B) {
	w := startBench(b, servertest.Options{PoolSize: 16})
	n := &night{benchWorld: w, folder: b.TempDir()}
	n.payers = []string{n.only(b, "lantern-mutual"), n.payer(b, "quarry-casualty")}
	n.fill(b)
	b.Run("one-payer", func(b *testing.B) { n.compare(b, 1) })
	b.Run("two-payers", func(b *testing.B) { n.compare(b, 2) })
}

type night struct {
	*benchWorld
	folder string
	payers []string
}

func (n *night) only(b *testing.B, code string) string {
	b.Helper()
	list, err := n.Client.Payers.ListPayers(b.Context(), &payersv1.ListPayersRequest{})
	if err != nil || len(list.GetPayers()) != 1 || list.GetPayers()[0].GetCode() != code {
		b.Fatalf("payers: %v, %v", list, err)
	}
	return list.GetPayers()[0].GetPayerId()
}

// fill records one repair, lets its claim be opened and releases it, and then copies job and claim:
// what a run reads of each is real.
func (n *night) fill(b *testing.B) {
	b.Helper()
	record := n.record(b, "N-1")
	if _, err := n.Client.Jobs.RecordJob(b.Context(), &jobsv1.RecordJobRequest{Record: record}); err != nil {
		b.Fatal(err)
	}
	claim := n.await(b, func() *claimsv1.Claim {
		list, err := n.Client.Claims.ListClaims(b.Context(), &claimsv1.ListClaimsRequest{})
		if err != nil {
			b.Fatal(err)
		}
		for _, c := range list.GetClaims() {
			return c
		}
		return nil
	})
	released, err := n.Client.Claims.ReleaseClaims(b.Context(), &claimsv1.ReleaseClaimsRequest{ClaimIds: []string{claim.GetClaimId()}})
	if err != nil || released.GetResults()[0].GetInvoiceNumber() == "" {
		b.Fatalf("release: %v, %v", released, err)
	}
	n.Exec(`CREATE TABLE copies AS SELECT i, gen_random_uuid() AS job_id, gen_random_uuid() AS claim_id
		FROM generate_series(2, $1::int) AS i`, *nightSize)
	for _, table := range []string{"jobs", "claims", "claim_contents"} {
		n.Exec(fmt.Sprintf(`INSERT INTO %[1]s SELECT r.* FROM (SELECT %[1]s FROM %[1]s LIMIT 1) AS t (one), copies k,
			jsonb_populate_record(t.one, jsonb_build_object('job_id', k.job_id, 'claim_id', k.claim_id, 'sequence', k.i,
				'external_reference', 'N-' || k.i)) AS r`, table))
	}
	n.Exec(`UPDATE claim_contents t SET payload = p, payload_hash = sha256(p)
		FROM claims c, LATERAL convert_to(replace(convert_from((SELECT payload FROM claim_contents WHERE claim_id = c.claim_id),
			'UTF8'), 'C-000001', 'C-' || lpad(c.sequence::text, 6, '0')), 'UTF8') AS p
		WHERE t.claim_id = c.claim_id AND c.sequence > 1`)
	n.ExecAlone(`VACUUM ANALYZE`)
}

// await asks until there is an answer: work is done in the background.
func (n *night) await(b *testing.B, ask func() *claimsv1.Claim) *claimsv1.Claim {
	b.Helper()
	ctx, cancel := context.WithTimeout(b.Context(), time.Minute)
	defer cancel()
	for wake := range pg.Listen(ctx, n.RuntimeDSN, "nobody", 20*time.Millisecond) {
		_ = wake
		if found := ask(); found != nil {
			return found
		}
	}
	b.Fatal("nothing came within a minute")
	return nil
}

// reset puts every claim back to released, spread over so many payers.
func (n *night) reset(b *testing.B, payers int) {
	b.Helper()
	n.Exec(`UPDATE claims SET state = 'RELEASED', batch_id = NULL, submit_time = NULL, answer_due = NULL,
		payer_id = ($1::uuid[])[1 + sequence % $2]`, pg.Array(n.payers), payers)
	n.ExecAlone(`VACUUM ANALYZE claims`)
	n.ExecAlone(`CHECKPOINT`)
}

func (n *night) compare(b *testing.B, payers int) {
	for b.Loop() {
		var ratios, seconds []float64
		for range 3 {
			n.reset(b, payers)
			floor := took(b.Context(), b, n.bare)
			n.reset(b, payers)
			ours := took(b.Context(), b, n.run)
			n.check(b)
			ratios, seconds = append(ratios, floor.Seconds()/ours.Seconds()), append(seconds, ours.Seconds())
		}
		b.ReportMetric(median(ratios), "x-floor-rate")
		b.ReportMetric(median(seconds), "s/night")
	}
}

// run is the product.
func (n *night) run(ctx context.Context) error {
	started, err := n.Client.Runs.StartRun(ctx, &runsv1.StartRunRequest{})
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, 10*time.Minute)
	defer cancel()
	for range pg.Listen(ctx, n.RuntimeDSN, "nobody", 5*time.Millisecond) {
		got, err := n.Client.Runs.GetRun(ctx, &runsv1.GetRunRequest{RunId: started.GetRun().GetRunId()})
		if err != nil {
			return err
		}
		if got.GetRun().GetState() == runsv1.RunState_RUN_STATE_FINISHED {
			return nil
		}
	}
	return ctx.Err()
}

// check counts what a night must have left.
func (n *night) check(b *testing.B) {
	b.Helper()
	var submitted int
	n.Get(&submitted, `SELECT count(*) FROM claims c JOIN batches t USING (shop_id, batch_id)
		WHERE c.state = 'SUBMITTED' AND t.state = 'SENT'`)
	if submitted != *nightSize {
		b.Fatalf("%d claims were submitted, want %d", submitted, *nightSize)
	}
}

// bare is the floor.
func (n *night) bare(ctx context.Context) error {
	for number := 0; ; number++ {
		left, err := n.bareChunk(ctx, number)
		if err != nil || !left {
			return err
		}
	}
}

type bareClaim struct {
	ID      string `db:"claim_id"`
	Share   int64  `db:"payer_share"`
	Payload []byte `db:"payload"`
}

func (n *night) bareChunk(ctx context.Context, number int) (left bool, err error) {
	err = pg.Transact(ctx, n.DB, n.Shop, func(ctx context.Context, tx *pg.Tx) error {
		var all []bareClaim
		err := tx.Select(ctx, &all, `SELECT c.claim_id, c.payer_share, t.payload
			FROM claims c JOIN claim_contents t USING (shop_id, claim_id)
			WHERE c.shop_id = $1 AND c.state = 'RELEASED' AND c.batch_id IS NULL AND c.payer_id = ANY ($2)
			ORDER BY c.payer_id, c.claim_id LIMIT $3`, string(n.Shop), pg.Array(n.payers), nightChunk)
		if left = len(all) > 0; err != nil || !left {
			return err
		}
		ids, sum := make([]string, len(all)), int64(0)
		var document bytes.Buffer
		for i, c := range all {
			ids[i], sum = c.ID, sum+c.Share
			if err := json.Compact(&document, c.Payload); err != nil {
				return err
			}
		}
		hash := sha256.Sum256(document.Bytes())
		fmt.Fprintf(&document, "%d %x", sum, hash)
		if err := writeSynced(filepath.Join(n.folder, fmt.Sprint(number)), document.Bytes()); err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `UPDATE claims SET state = 'SUBMITTED', submit_time = $3, version = version + 1
			WHERE shop_id = $1 AND claim_id = ANY ($2)`, string(n.Shop), pg.Array(ids), benchDay)
		return err
	})
	return left, err
}

func writeSynced(path string, content []byte) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	if _, err := file.Write(content); err != nil {
		return err
	}
	if err := file.Sync(); err != nil {
		return err
	}
	return file.Close()
}
