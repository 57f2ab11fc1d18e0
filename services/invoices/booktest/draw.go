package booktest

import "cullet/services/invoices"

// Kind is a kind of operation.
type Kind string

// The kinds.
const (
	NextDay  Kind = "next day"
	Issue    Kind = "issue"
	Pay      Kind = "pay"
	WriteOff Kind = "write off"
	Deposit  Kind = "deposit"
	Place    Kind = "place by hand"
	Undo     Kind = "undo"
	Refund   Kind = "refund"
	PayBack  Kind = "pay back"
	Return   Kind = "return"
	Credit   Kind = "credit"
	Move     Kind = "move share"
)

// Kinds lists every kind of operation.
func Kinds() []Kind {
	return []Kind{NextDay, Issue, Pay, WriteOff, Deposit, Place, Undo, Refund, PayBack, Return, Credit, Move}
}

// Line is one line of a deposit: what is paid on an invoice by its place, or on one that is none when
// the place is beyond the last.
type Line struct {
	Invoice int
	Paid    int64
}

// Op is one operation. What it is about is named by place, so that it can be repeated on other books.
type Op struct {
	Kind       Kind
	Payer      int
	Invoice    int
	Remittance int
	// Index is an allocation on the invoice, or a payment.
	Index  int
	Line   int
	Debtor invoices.DebtorKind
	// Amount is in cents; of an Issue it is the payer's share in percent.
	Amount  int64
	Nets    []int64
	Numbers []int
	Lines   []Line
}

// Pick chooses a number from 0 to n-1; n is at least 1.
type Pick func(n int) int

// Draw makes a random operation that the books know what to do with; they may refuse it.
func (b *Books) Draw(pick Pick) Op {
	op := Op{Kind: Kinds()[pick(len(Kinds()))], Debtor: invoices.DebtorPayer, Payer: pick(len(b.Payers))}
	if len(b.Invoices) < 2 {
		op.Kind = Issue
	}
	if pick(2) == 1 {
		op.Debtor = invoices.DebtorMotorist
	}
	if op.Kind != Issue {
		op.Invoice = pick(len(b.Invoices))
	}
	switch op.Kind {
	case NextDay:
		op.Amount = int64(pick(40))
	case Issue:
		op.Amount = []int64{100, 100, 80, 33, 0}[pick(5)]
		for range 1 + pick(3) {
			op.Nets = append(op.Nets, int64(1+pick(9_000)))
		}
	case Deposit:
		b.drawLines(&op, pick)
	case Pay, WriteOff, Move:
		kind := op.Debtor
		if op.Kind == Pay {
			kind = invoices.DebtorMotorist
		} else if op.Kind == Move {
			kind = other(op.Debtor)
		}
		owed, _ := b.Share(op.Invoice, kind)
		op.Amount = some(owed.Open.Minor, pick)
	case Credit:
		if pick(2) == 1 {
			op.Numbers = []int{1 + pick(len(b.Invoices[op.Invoice].Lines))}
		}
	default:
		return b.drawLater(op, pick)
	}
	return op
}

func other(kind invoices.DebtorKind) invoices.DebtorKind {
	if kind == invoices.DebtorPayer {
		return invoices.DebtorMotorist
	}
	return invoices.DebtorPayer
}

// some is all of a sum, or part of it, or a cent more than it.
func some(minor int64, pick Pick) int64 {
	switch {
	case minor > 1 && pick(3) == 0:
		return 1 + int64(pick(int(minor)))
	case pick(8) == 0:
		return minor + 1
	}
	return max(minor, 1)
}

// drawLines pays some invoices, takes money back on others, and keeps the deposit above zero.
func (b *Books) drawLines(op *Op, pick Pick) {
	sum := int64(0)
	for range 1 + pick(4) {
		l := Line{Invoice: pick(len(b.Invoices) + 1), Paid: int64(1 + pick(5_000))}
		if l.Invoice < len(b.Invoices) {
			if owed, ok := b.Share(l.Invoice, invoices.DebtorPayer); ok {
				l.Paid = some(owed.Open.Minor, pick)
				if paid := b.paidBy(owed.ID); paid > 0 && pick(2) == 0 {
					l.Paid = -some(paid, pick)
				}
			}
		}
		sum += l.Paid
		op.Lines = append(op.Lines, l)
	}
	if sum < 0 {
		op.Lines = append(op.Lines, Line{Invoice: len(b.Invoices), Paid: -sum + int64(pick(3))})
	}
}

// drawLater draws what needs something that is there already, or else issues.
func (b *Books) drawLater(op Op, pick Pick) Op {
	on := b.On(op.Invoice)
	switch {
	case op.Kind == Undo && len(on) > 0:
		op.Index = pick(len(on))
	case op.Kind == Refund && len(b.Payments) > 0:
		op.Index = pick(len(b.Payments))
		op.Amount = some(b.Payments[op.Index].Amount.Minor, pick)
	case (op.Kind == Place || op.Kind == PayBack || op.Kind == Return) && len(b.Remittances) > 0:
		op.Remittance = pick(len(b.Remittances))
		r := b.Remittances[op.Remittance]
		op.Line = 1 + pick(len(r.Lines))
		left := r.Lines[op.Line-1].Paid.Minor - r.Lines[op.Line-1].Allocated.Minor
		op.Amount = some(max(left, -left), pick)
	default:
		return Op{Kind: Issue, Payer: op.Payer, Amount: 80, Nets: []int64{7995}}
	}
	return op
}
