package pipeline_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/invoices"
	"cullet/services/invoices/booktest"
	"cullet/services/invoices/invoicespg"
)

// BenchmarkRemittance posts a deposit of 10,000 lines, each allocated to its invoice, and in turn does
// what no posting can do without: writes the rows of its lines, in one statement and one commit. It
// reports the median of three rounds as a ratio. One operation is all rounds.
func BenchmarkRemittance(b *testing.B) {
	const lines, rounds = 10_000, 3
	l := openBenchLedger(b)
	for b.Loop() {
		var ratios, floors, fulls []float64
		for round := range rounds {
			r := l.benchDeposit(b, lines, round)
			floor := l.insertRows(b, r, round)
			began := time.Now()
			l.transact(b, func(ctx context.Context, tx *pg.Tx) error {
				stored, _, err := l.line.Remittance(ctx, tx, r, "csv", []byte("x"), "bench")
				if err == nil && stored.Allocated != r.Amount {
					b.Fatalf("of %s %s is allocated", r.Amount, stored.Allocated)
				}
				return err
			})
			full := time.Since(began)
			ratios = append(ratios, float64(full)/float64(floor))
			floors, fulls = append(floors, floor.Seconds()), append(fulls, full.Seconds())
		}
		for name, all := range map[string][]float64{"x-inserting-rows": ratios, "floor-s": floors, "posting-s": fulls} {
			slices.Sort(all)
			b.ReportMetric(all[rounds/2], name)
		}
	}
}

// benchLedger is a ledger of a benchmark.
type benchLedger struct{ *ledger }

func openBenchLedger(b *testing.B) *benchLedger {
	b.Helper()
	return &benchLedger{openBooks(b, pgtest.DurableWorld(b))}
}

func (l *benchLedger) transact(b *testing.B, fn pg.Func) {
	b.Helper()
	if err := pg.Transact(b.Context(), l.DB, l.shop, fn); err != nil {
		b.Fatal(err)
	}
}

// benchDeposit issues invoices and makes the deposit that pays them all.
func (l *benchLedger) benchDeposit(b *testing.B, lines, round int) invoices.Remittance {
	b.Helper()
	r := invoices.Remittance{Shop: l.shop, Payer: l.Payers[0], Reference: fmt.Sprint("bench-", round, "-", time.Now().UnixNano()),
		PaidDate: l.Now().Format(time.DateOnly), Amount: usd(0)}
	const chunk = 1000 // as the nightly run releases
	for len(r.Lines) < lines {
		l.transact(b, func(ctx context.Context, tx *pg.Tx) error {
			first, err := pg.NextNumbers(ctx, tx, invoices.KindInvoice.Series(), chunk)
			if err != nil {
				return err
			}
			var all []invoices.Invoice
			var entries []invoices.Entry
			for n := range chunk {
				i, entry, err := invoices.Issue(l.shop, l.Draft(booktest.Op{Nets: []int64{7995}, Amount: 100}), first+int64(n))
				if err != nil {
					return err
				}
				all, entries = append(all, i), append(entries, entry)
			}
			for _, i := range all {
				r.Lines = append(r.Lines, invoices.RemittanceLine{Number: len(r.Lines) + 1, InvoiceNumber: i.Number, Paid: i.Total, Allocated: usd(0)})
				r.Amount.Minor += i.Total.Minor
			}
			return invoicespg.Insert(ctx, tx, all, entries)
		})
		if len(r.Lines) == chunk {
			l.ExecAlone(`ANALYZE`) // as the server's own vacuum does while a table grows
		}
	}
	return r
}

// insertRows writes the lines of the deposit under another number and gives the time that it took.
func (l *benchLedger) insertRows(b *testing.B, r invoices.Remittance, round int) time.Duration {
	b.Helper()
	r.Reference += "-floor"
	var id string
	l.Get(&id, `SELECT gen_random_uuid()`)
	l.Exec(`INSERT INTO remittances VALUES ($1, $2, $3, $4, '2026-10-01', 'USD', $5, 'csv', 'x', sha256('x'), now(), 'bench')`,
		string(l.shop), id, string(r.Payer), r.Reference, r.Amount.Minor)
	began := time.Now()
	l.Exec(`INSERT INTO remittance_lines (shop_id, remittance_id, line_number, invoice_number, claim_number, paid, allocated, reason_code, reason_text, sentence)
		SELECT $1, $2, n, 'INV-' || lpad(n::text, 6, '0'), '', 8594, 0, '', '', 'It waits.' FROM generate_series(1, $3::integer) n`, string(l.shop), id, len(r.Lines))
	return time.Since(began)
}
