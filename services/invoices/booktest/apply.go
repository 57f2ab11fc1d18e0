package booktest

import (
	"fmt"
	"slices"
	"time"

	"cullet/services/ident"
	"cullet/services/invoices"
)

// Apply does an operation. It fails with ErrRefused when the rules refuse it, and then nothing has
// changed.
func (b *Books) Apply(op Op) error {
	switch op.Kind {
	case NextDay:
		b.Day += 1 + int(op.Amount%40)
	case Issue:
		_, _, err := b.issue(b.Draft(op))
		return err
	case Pay:
		return b.pay(op)
	case WriteOff:
		owed, ok := b.Share(op.Invoice, op.Debtor)
		if !ok {
			return refuse("no such share")
		}
		return b.change(b.step("given up").WriteOff(owed, usd(op.Amount)))
	case Deposit:
		return b.deposit(op)
	case Place:
		return b.place(op)
	case Undo:
		return b.undo(b.On(op.Invoice)[op.Index])
	case Refund:
		return b.refund(op)
	case PayBack:
		return b.payBack(b.Remittances[op.Remittance], op.Line, op.Amount, false)
	case Return:
		return b.returned(b.Remittances[op.Remittance])
	case Credit:
		return b.credit(op)
	case Move:
		return b.move(op)
	}
	return nil
}

func (b *Books) change(c invoices.Change, err error) error {
	if err != nil {
		return err
	}
	return b.post(c)
}

func (b *Books) pay(op Op) error {
	owed, ok := b.Share(op.Invoice, invoices.DebtorMotorist)
	if !ok {
		return refuse("no motorist")
	}
	p := invoices.Payment{ID: ident.New[ident.Payment](), Invoice: owed.Invoice, Method: invoices.Card, Amount: usd(op.Amount), Fee: usd(op.Amount * 3 / 100)}
	if err := b.change(b.step("").Pay(p, owed)); err != nil {
		return err
	}
	b.Payments = append(b.Payments, p)
	return nil
}

// File makes the deposit that an operation asks for.
func (b *Books) File(op Op) invoices.Remittance {
	r := invoices.Remittance{Shop: b.Shop, Payer: b.Payers[op.Payer], Reference: fmt.Sprint("D-", len(b.Remittances)),
		PaidDate: b.Now().Format(time.DateOnly), Amount: usd(0)}
	for n, l := range op.Lines {
		line := invoices.RemittanceLine{Number: n + 1, Paid: usd(l.Paid), Allocated: usd(0), InvoiceNumber: "INV-999999"}
		if l.Invoice < len(b.Invoices) {
			line.InvoiceNumber = b.Invoices[l.Invoice].Number
		}
		r.Lines = append(r.Lines, line)
		r.Amount.Minor += l.Paid
	}
	return r
}

func (b *Books) deposit(op Op) error {
	r := b.File(op)
	r.ID = ident.New[ident.Remittance]()
	byInvoice := map[string]invoices.Owed{}
	for n, i := range b.Invoices {
		if owed, ok := b.Share(n, invoices.DebtorPayer); ok && owed.Payer == r.Payer {
			byInvoice[i.Number] = invoices.Owed{Receivable: owed.ID, Invoice: i.ID, InvoiceNumber: i.Number, Open: owed.Open, Paid: usd(b.paidBy(owed.ID))}
		}
	}
	s := b.step("")
	lines, placed := invoices.Match(r, byInvoice, nil)
	r.Lines = lines
	if err := b.change(s.Deposit(r)); err != nil {
		return err
	}
	b.Remittances = append(b.Remittances, &Remittance{Remittance: r, Payer: op.Payer})
	if len(placed) == 0 {
		return nil
	}
	return b.change(s.Place(r, placed))
}

// raise counts money of a line as placed, as invoicespg.RaiseLine does.
func (r *Remittance) raise(line int, minor int64) bool {
	if line < 1 || line > len(r.Lines) {
		return false
	}
	l := &r.Lines[line-1]
	next := l.Allocated.Minor + minor
	if next < min(l.Paid.Minor, 0) || next > max(l.Paid.Minor, 0) {
		return false
	}
	l.Allocated.Minor = next
	return true
}

func (b *Books) place(op Op) error {
	r := b.Remittances[op.Remittance]
	owed, ok := b.Share(op.Invoice, invoices.DebtorPayer)
	if !ok || owed.Payer != r.Remittance.Payer {
		return refuse("another payer")
	}
	minor := op.Amount
	if r.Lines[op.Line-1].Paid.IsNegative() {
		if minor > b.paidBy(owed.ID) {
			return refuse("not so much paid")
		}
		minor = -minor
	}
	if !r.raise(op.Line, minor) {
		return refuse("not so much left")
	}
	err := b.change(b.step("").Place(r.Remittance, []invoices.Placed{{LineNumber: op.Line, Receivable: owed.ID, Invoice: owed.Invoice, Amount: usd(minor)}}))
	if err != nil {
		r.raise(op.Line, -minor)
	}
	return err
}

func (b *Books) undo(a invoices.Allocation) error {
	if a.Source != invoices.FromRemittance && a.Source != invoices.FromWriteOff || a.Reverses != "" || b.isUndone(a.ID) {
		return refuse("not undone so")
	}
	if a.Source == invoices.FromRemittance && a.Amount.Minor > 0 && a.Amount.Minor > b.paidBy(a.Receivable) {
		return refuse("taken back since")
	}
	if err := b.change(b.step("undone").Undo(a, *b.Owed[a.Receivable])); err != nil {
		return err
	}
	for _, r := range b.Remittances {
		if r.ID == a.Remittance && !r.raise(a.LineNumber, -a.Amount.Minor) {
			return fmt.Errorf("line %d does not count its allocation", a.LineNumber)
		}
	}
	return nil
}

func (b *Books) refund(op Op) error {
	p := b.Payments[op.Index]
	left := int64(0)
	var first invoices.Allocation
	for _, a := range b.Allocations {
		if a.Payment == p.ID {
			if left == 0 && first.ID == "" {
				first = a
			}
			left += a.Amount.Minor
		}
	}
	if op.Amount > left {
		return refuse("not so much left")
	}
	return b.change(b.step("refund").Refund(first, *b.Owed[first.Receivable], invoices.Refund{ID: ident.New[ident.Refund](), Payment: p.ID, Amount: usd(op.Amount)}))
}

func (b *Books) payBack(r *Remittance, line int, minor int64, isReturned bool) error {
	if r.Lines[line-1].Paid.IsNegative() || !r.raise(line, minor) {
		return refuse("not so much left")
	}
	return b.change(b.step("paid back").RefundUnmatched(invoices.Refund{ID: ident.New[ident.Refund](), Remittance: r.ID, LineNumber: line,
		Amount: usd(minor), IsReturned: isReturned}))
}

// returned undoes a whole deposit, or nothing of it: what would refuse is looked for first.
func (b *Books) returned(r *Remittance) error {
	standing := map[int]int64{}
	var placed []invoices.Allocation
	reopened := map[ident.Receivable]int64{}
	for _, a := range b.Allocations {
		if a.Remittance != r.ID {
			continue
		}
		standing[a.LineNumber] += a.Amount.Minor
		if a.Reverses == "" && !b.isUndone(a.ID) {
			placed = append(placed, a)
			reopened[a.Receivable] += a.Amount.Minor
		}
	}
	for _, l := range r.Lines {
		if l.Paid.IsNegative() || l.Allocated.Minor != standing[l.Number] {
			return refuse("not whole any more")
		}
	}
	for id, minor := range reopened {
		if o := b.Owed[id]; o.Open.Minor+minor > o.Amount.Minor+o.Transferred.Minor || minor > b.paidBy(id) {
			return refuse("other money took its place, or it was taken back")
		}
	}
	for _, a := range placed {
		if err := b.undo(a); err != nil {
			return fmt.Errorf("undo what was looked at: %v", err)
		}
	}
	for _, l := range r.Lines {
		if !l.Paid.IsZero() {
			if err := b.payBack(r, l.Number, l.Paid.Minor, true); err != nil {
				return fmt.Errorf("pay back what waits: %v", err)
			}
		}
	}
	return nil
}

func (b *Books) credit(op Op) error {
	i := b.Current(op.Invoice)
	for _, l := range i.Lines {
		if (len(op.Numbers) == 0 || slices.Contains(op.Numbers, l.Number)) && b.credited[i.ID][l.Number] {
			return refuse("credited before")
		}
	}
	s := b.step("wrong")
	d, err := invoices.Credit(i, op.Numbers, s)
	if err != nil {
		return refuse("%v", err)
	}
	note, entry, err := b.issue(d)
	if err != nil {
		return err
	}
	if b.credited[i.ID] == nil {
		b.credited[i.ID] = map[int]bool{}
	}
	for _, l := range note.Lines {
		b.credited[i.ID][l.CreditsLine] = true
	}
	return b.post(invoices.Change{Allocations: invoices.TakeOff(i, note, entry, d, s)})
}

func (b *Books) move(op Op) error {
	from, into, isNew, err := b.Current(op.Invoice).Sides(op.Debtor)
	if err != nil {
		return refuse("%v", err)
	}
	if op.Amount > from.Open.Minor || from.Open.IsZero() {
		return refuse("not so much open")
	}
	if isNew {
		into.Transferred = usd(0)
		b.Owed[into.ID] = &into
	}
	return b.change(b.step("denied").Transfer(from, into, usd(op.Amount)))
}
