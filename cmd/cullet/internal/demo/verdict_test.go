package demo

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// judge holds the books of the shop against what the shop system did and what the payers have. The
// demo's own checks have passed already, or play would have returned an error.
func (o *ordeal) judge() {
	o.t.Helper()
	o.judgeKills()
	for _, difference := range o.watch.differing {
		o.t.Error(difference)
	}
	o.judgeCounts()
	o.judgeSubmissions()
	o.judgeNumbers()
	o.judgePhotos()
}

// judgeKills tells what was killed where, and fails when a phase was spared.
func (o *ordeal) judgeKills() {
	o.t.Helper()
	var text strings.Builder
	server, postgres := 0, 0
	for _, p := range phases {
		fmt.Fprintf(&text, "\n  %-36s %3d %3d", p.name, o.struck[p.name], o.struckPostgres[p.name])
		if o.struck[p.name] == 0 && *kills >= total(func(p phase) int { return p.server }) {
			o.t.Errorf("the server was never killed in the phase %q", p.name)
		}
	}
	for _, n := range o.struck {
		server += n
	}
	for _, n := range o.struckPostgres {
		postgres += n
	}
	fmt.Fprintf(&text, "\n  %-36s %3d %3d", looking, o.struck[looking], o.struckPostgres[looking])
	fmt.Fprintf(&text, "\n  %-36s %3d %3d\nWhat was cut short:", "together", server, postgres)
	for _, what := range slices.Sorted(maps.Keys(o.cut)) {
		fmt.Fprintf(&text, "\n  %-36s %3d", what, o.cut[what])
	}
	o.t.Logf("-seed=%d; kills of the server and of PostgreSQL:%s", o.seed, text.String())
	if server != *kills || postgres != *kills/10 {
		o.t.Errorf("the server was killed %d times and PostgreSQL %d times, want %d and %d", server, postgres, *kills, *kills/10)
	}
}

// judgeCounts holds what is stored against what the shop system was answered.
func (o *ordeal) judgeCounts() {
	o.t.Helper()
	jobs, claims := map[string]bool{}, map[string]bool{}
	for _, v := range o.stage.visits {
		jobs[v.job], claims[v.claim] = true, true
	}
	delete(jobs, "")
	delete(claims, "")
	const invoiced = `SELECT count(DISTINCT invoice_id) FROM claims`
	var ofClaims int
	o.Get(&ofClaims, invoiced)
	for _, c := range []struct {
		what, query string
		want        int
	}{
		{"jobs", `SELECT count(*) FROM jobs`, len(jobs)},
		{"claims", `SELECT count(*) FROM claims`, len(claims)},
		{"invoices", `SELECT count(*) FROM invoices WHERE kind = 'INVOICE'`, ofClaims + o.watch.changes["InvoiceJob"]},
		{"payments", `SELECT count(*) FROM payments`, o.watch.changes["RecordPayment"]},
		{"deposits", `SELECT count(*) FROM remittances`, o.watch.changes["PostRemittance"] / 2}, // each is posted twice
		{"runs", `SELECT count(*) FROM runs WHERE state = 'FINISHED'`, o.watch.changes["StartRun"]},
		{"claims that runs released", `SELECT count(*) FROM events WHERE type = 'claim.released' AND actor = 'server'`, o.releasedByRuns()},
		{"journal entries that do not balance", `SELECT count(*) FROM (SELECT FROM journal_lines GROUP BY entry_id HAVING sum(amount) <> 0) e`, 0},
		{"messages not read", `SELECT count(*) FROM messages WHERE state = 'RECEIVED'`, 0},
	} {
		var got int
		if o.Get(&got, c.query); got != c.want {
			o.t.Errorf("%s: %d, want %d", c.what, got, c.want)
		}
	}
	for left := 1; left > 0; { // what was answered is still being crossed off, perhaps; the deadline ends it
		o.Get(&left, `SELECT count(*) FROM work, pg_sleep(0.01) WHERE topic <> 'photo.sweep'`)
	}
}

func (o *ordeal) releasedByRuns() (n int) {
	o.Get(&n, `SELECT coalesce(sum(released_count), 0) FROM runs`)
	return n
}

// judgeSubmissions: each claim that has left was sent once, and once more for each time that the clerk
// sent it again; the payer has it as often, and it stands where the payer's last decision left it.
func (o *ordeal) judgeSubmissions() {
	o.t.Helper()
	taken, waiting, err := o.stage.payersim.book(o.t.Context())
	if err != nil || waiting > 0 {
		o.t.Fatalf("the payers' book: %d answers wait, %v", waiting, err)
	}
	times, outcome := map[string]int{}, map[string]string{}
	for _, d := range taken {
		for _, c := range d.Claims {
			times[c.ClaimNumber]++
			outcome[c.ClaimNumber] = c.Outcome
		}
	}
	stands := map[string]string{"ACCEPT": "ACCEPTED", "SHORT_PAY": "ACCEPTED", "REJECT": "REJECTED",
		"ASK": "INFORMATION_REQUESTED", "DENY": "DENIED", "SILENT": "SUBMITTED"}
	var all []struct {
		ID     string `db:"claim_id"`
		Number string `db:"number"`
		State  string `db:"state"`
		Sent   int    `db:"sent"`
	}
	o.Select(&all, `SELECT claim_id, 'C-' || to_char(sequence, 'FM000000') AS number, state,
		(SELECT count(*) FROM batches b WHERE c.claim_id = ANY (b.claim_ids) AND b.state = 'SENT') AS sent FROM claims c`)
	left := 0
	for _, c := range all {
		want := 0
		if c.State != "DRAFT" {
			left++
			want = 1 + o.watch.resubmitted[c.ID]
		}
		if c.Sent != want || times[c.Number] != want {
			o.t.Errorf("%s is %s, was sent %d times and taken %d times, want %d", c.Number, c.State, c.Sent, times[c.Number], want)
		}
		if want > 0 && c.State != stands[outcome[c.Number]] {
			o.t.Errorf("%s is %s and the payer's last word is %s", c.Number, c.State, outcome[c.Number])
		}
	}
	o.t.Logf("%d claims, %d of them sent, %d sent again; %d documents", len(all), left, len(o.watch.resubmitted), len(taken))
	if left == 0 {
		o.t.Error("no claim has left")
	}
}

// judgeNumbers: the numbers of documents, and the control numbers of each payer, have no gap.
func (o *ordeal) judgeNumbers() {
	o.t.Helper()
	for what, query := range map[string]string{
		"invoice": `SELECT series || ' ' || sequence FROM (SELECT series, sequence, row_number() OVER (PARTITION BY series ORDER BY sequence) AS place FROM invoices) i WHERE sequence <> place`,
		"claim":   `SELECT sequence::text FROM (SELECT sequence, row_number() OVER (ORDER BY sequence) AS place FROM claims) c WHERE sequence <> place`,
		"control": `SELECT payer_id || ' ' || control_number FROM (SELECT payer_id, control_number, row_number() OVER (PARTITION BY payer_id ORDER BY control_number) AS place FROM batches) b WHERE control_number <> place`,
	} {
		var gaps []string
		if o.Select(&gaps, query); len(gaps) > 0 {
			o.t.Errorf("%s numbers have a gap before %s", what, strings.Join(gaps, ", "))
		}
	}
}

// judgePhotos: every photo that a record names can be seen.
func (o *ordeal) judgePhotos() {
	o.t.Helper()
	var hashes []string
	o.Select(&hashes, `SELECT DISTINCT encode(photo_hash, 'hex') FROM job_photos`)
	for _, hash := range hashes {
		stream, err := o.quiet.Jobs.GetPhoto(o.t.Context(), &jobsv1.GetPhotoRequest{PhotoHash: hash, LongestEdgePixels: 64})
		if err == nil {
			_, err = stream.Recv()
		}
		if err != nil {
			o.t.Errorf("photo %s: %v", hash, err)
		}
	}
	if len(hashes) == 0 {
		o.t.Error("no record names a photo")
	}
}
