package pipeline_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/invoices"
	"cullet/services/invoices/booktest"
	"cullet/services/invoices/invoicespg"
	"cullet/services/money"
	"cullet/services/pipeline"
)

// How many sequences of operations are run against PostgreSQL; `make soak` asks for more.
var sequences = flag.Int("sequences", 4, "sequences of 40 random operations on books in PostgreSQL")

// ledger is the same shop's books twice: in memory, and in PostgreSQL behind the pipeline.
type ledger struct {
	*pgtest.World
	t    testing.TB
	shop ident.Shop
	line *pipeline.Pipeline
	*booktest.Books
	invoices    []ident.Invoice
	payments    []ident.Payment
	remittances []ident.Remittance
}

func usd(minor int64) money.Amount { return money.From(minor, "USD") }

func openLedger(t *testing.T, w *pgtest.World) *ledger {
	t.Helper()
	return openBooks(t, w)
}

func openBooks(t testing.TB, w *pgtest.World) *ledger {
	t.Helper()
	shop, _, err := accesspg.Bootstrap(t.Context(), w.DB, access.Shop{Name: "Harbourline Glass Repair (invented)", TimeZone: "America/New_York",
		CurrencyCode: "USD", Address: access.Address{CountryCode: "US", State: "OH"}}, "owner", booktest.Start)
	if err != nil {
		t.Fatal(err)
	}
	l := &ledger{World: w, t: t, shop: shop, Books: booktest.New(shop, ident.New[ident.Payer](), ident.New[ident.Payer]())}
	for n, payer := range l.Payers {
		w.Exec(`INSERT INTO payers VALUES ($1, $2, $3, 'Payer (invented)', 'INSURER', 1, 1, $4, now())`, string(shop), string(payer),
			fmt.Sprint("payer-", n), string(payer))
		w.Exec(`INSERT INTO payer_profiles VALUES ($1, $2, 1, '{}', now(), 'test')`, string(shop), string(payer))
	}
	w.Exec(`INSERT INTO jobs VALUES ($1, $2, 1, true, 'R-1', '', '', '2026-10-01', '', '{}', decode(repeat('00', 32), 'hex'), '[]', '[]', now(), 'test')`,
		string(shop), string(l.Job))
	l.line = pipeline.New(pipeline.Config{DB: w.DB, Now: l.Now})
	return l
}

// do does an operation in PostgreSQL as a handler would, in one transaction.
func (l *ledger) do(op booktest.Op) error {
	return pg.Transact(l.t.Context(), l.DB, l.shop, func(ctx context.Context, tx *pg.Tx) error { return l.within(ctx, tx, op) })
}

func (l *ledger) within(ctx context.Context, tx *pg.Tx, op booktest.Op) (err error) {
	switch op.Kind {
	case booktest.Issue:
		err = l.issue(ctx, tx, l.Draft(op))
	case booktest.Pay:
		p := invoices.Payment{ID: ident.New[ident.Payment](), Invoice: l.invoices[op.Invoice], Method: invoices.Card, Amount: usd(op.Amount), Fee: usd(op.Amount * 3 / 100)}
		if _, err = l.line.Pay(ctx, tx, p, "test"); err == nil {
			l.payments = append(l.payments, p.ID)
		}
	case booktest.WriteOff:
		owed, err := invoicespg.Receivables(ctx, tx, l.invoices[op.Invoice])
		for _, r := range owed[l.invoices[op.Invoice]] {
			if r.DebtorKind == op.Debtor {
				_, err = l.line.WriteOff(ctx, tx, r.Invoice, r.ID, usd(op.Amount), "given up", "test")
				return err
			}
		}
		return errors.Join(err, booktest.ErrRefused)
	case booktest.Deposit:
		r, _, err := l.line.Remittance(ctx, tx, l.File(op), "csv", []byte("x"), "test")
		if err == nil {
			l.remittances = append(l.remittances, r.ID)
		}
		return err
	case booktest.Place:
		_, err = l.line.AllocateByHand(ctx, tx, l.remittances[op.Remittance], op.Line, l.invoices[op.Invoice], usd(op.Amount), "test")
	case booktest.Undo:
		on, err := invoicespg.AllocationsOn(ctx, tx, l.invoices[op.Invoice])
		if err == nil {
			_, err = l.line.Undo(ctx, tx, on[op.Index].ID, "undone", "test")
		}
		return err
	case booktest.Refund:
		_, err = l.line.RefundPayment(ctx, tx, invoices.Refund{Payment: l.payments[op.Index], Amount: usd(op.Amount)}, "refund", "test")
	case booktest.PayBack:
		_, err = l.line.RefundUnmatched(ctx, tx, invoices.Refund{Remittance: l.remittances[op.Remittance], LineNumber: op.Line, Amount: usd(op.Amount)}, "paid back", "test")
	case booktest.Return:
		_, err = l.line.ReturnRemittance(ctx, tx, l.remittances[op.Remittance], "bounced", "test")
	case booktest.Credit:
		_, err = l.line.CreditInvoice(ctx, tx, l.invoices[op.Invoice], op.Numbers, "wrong", "test")
	case booktest.Move:
		_, err = l.line.MoveShare(ctx, tx, l.invoices[op.Invoice], op.Debtor, usd(op.Amount), "denied", "test")
	}
	return err
}

func (l *ledger) issue(ctx context.Context, tx *pg.Tx, d invoices.Draft) error {
	sequence, err := pg.NextNumbers(ctx, tx, d.Kind.Series(), 1)
	if err != nil {
		return err
	}
	i, entry, err := invoices.Issue(l.shop, d, sequence)
	if err != nil {
		return err
	}
	l.invoices = append(l.invoices, i.ID)
	return invoicespg.Insert(ctx, tx, []invoices.Invoice{i}, []invoices.Entry{entry})
}

// sums are what booktest.Books.Sums gives, from PostgreSQL.
func (l *ledger) sums() map[string]int64 {
	var rows []struct {
		Name  string `db:"name"`
		Minor int64  `db:"minor"`
	}
	l.Select(&rows, `SELECT i.number || ' ' || r.debtor_kind || ' open' AS name, r.open_amount AS minor FROM receivables r JOIN invoices i USING (shop_id, invoice_id) WHERE shop_id = $1
		UNION ALL SELECT 'account ' || account, sum(amount)::bigint FROM journal_lines WHERE shop_id = $1 GROUP BY account
		UNION ALL SELECT 'deposit ' || substr(m.reference, 3) || ' line ' || l.line_number, l.allocated FROM remittance_lines l JOIN remittances m USING (shop_id, remittance_id) WHERE shop_id = $1`, string(l.shop))
	sums := map[string]int64{}
	for _, r := range rows {
		sums[r.Name] = r.Minor
	}
	return sums
}

// check asks for every law, and gives those that are broken.
func (l *ledger) check() (broken []string) {
	l.t.Helper()
	err := pg.Read(l.t.Context(), l.DB, l.shop, func(ctx context.Context, tx *pg.Tx) error {
		all, err := invoicespg.CheckBooks(ctx, tx)
		broken = nil
		for _, c := range all {
			if !c.Holds {
				broken = append(broken, c.Name)
			}
		}
		if len(all) != len(invoices.Laws()) {
			l.t.Errorf("%d laws are checked, there are %d", len(all), len(invoices.Laws()))
		}
		return err
	})
	if err != nil {
		l.t.Fatal(err)
	}
	return broken
}

// run does random operations on both books, compares them after each, and gives how many were done.
func (l *ledger) run(random *rand.Rand, steps int) (done map[booktest.Kind]int) {
	l.t.Helper()
	done = map[booktest.Kind]int{}
	for n := range steps {
		op := l.Draw(random.IntN)
		stored := l.do(op)
		var known *errs.Error
		if stored != nil && !errors.Is(stored, booktest.ErrRefused) && (!errors.As(stored, &known) || known.Kind != errs.State) {
			l.t.Fatalf("step %d, %+v: %v", n, op, stored)
		}
		kept := l.Apply(op)
		if (stored == nil) != (kept == nil) {
			l.t.Fatalf("step %d, %+v: PostgreSQL says %v, the model %v", n, op, stored, kept)
		}
		if diff := cmp.Diff(l.Sums(), l.sums()); diff != "" {
			l.t.Fatalf("step %d, %+v (-model +PostgreSQL):\n%s", n, op, diff)
		}
		if broken := l.check(); len(broken) > 0 {
			l.t.Fatalf("step %d, %+v breaks %q", n, op, broken)
		}
		if kept == nil {
			done[op.Kind]++
		}
	}
	return done
}

// TestLawsHoldInPostgreSQL runs the same random operations on the model and on PostgreSQL: both come to
// the same sums, refuse the same, and every law holds after each operation.
func TestLawsHoldInPostgreSQL(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	all := map[booktest.Kind]int{}
	for seed := range *sequences {
		for kind, n := range openLedger(t, w).run(rand.New(rand.NewPCG(uint64(seed), 7)), 40) {
			all[kind] += n
		}
	}
	t.Logf("done in %d sequences: %v", *sequences, all)
	if len(all) < len(booktest.Kinds())-1 {
		t.Errorf("only %d kinds of operation were done: %v", len(all), all)
	}
}

// TestMoneyIsDatedByTheShop: what is booked late in the evening is of the shop's day.
func TestMoneyIsDatedByTheShop(t *testing.T) {
	t.Parallel()
	l := openLedger(t, pgtest.New(t))
	late := time.Date(2026, 11, 1, 2, 0, 0, 0, time.UTC) // 22:00 on 31 October in New York
	l.line = pipeline.New(pipeline.Config{DB: l.DB, Now: func() time.Time { return late }})
	if err := l.do(booktest.Op{Kind: booktest.Issue, Nets: []int64{7995}}); err != nil {
		t.Fatal(err)
	}
	if err := l.do(booktest.Op{Kind: booktest.Pay, Amount: 100}); err != nil {
		t.Fatal(err)
	}
	var day string
	l.Get(&day, `SELECT receive_date::text FROM payments`)
	if day != "2026-10-31" {
		t.Errorf("received on %s, want the shop's 2026-10-31", day)
	}
}
