package pipeline

import (
	"context"
	"crypto/sha256"
	"fmt"
	"slices"
	"time"

	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/invoices"
	"cullet/services/invoices/invoicespg"
	"cullet/services/jobs"
	"cullet/services/jobs/jobspg"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
)

// chunkSize is how many claims of one payer are released, or sent, in one transaction.
const chunkSize = 1000

// Released is what became of one claim that was asked to be released.
type Released struct {
	Claim         ident.Claim
	InvoiceNumber string
	// Reason says why it was not released; empty when it was.
	Reason string
}

// Release releases claims in the caller's transaction: those that are ready and not held get
// their invoice, their journal entry and their frozen payload together; for the others the answer
// says why not. A claim that was released before is answered with its invoice. The answer is in
// the order of ids.
func (p *Pipeline) Release(ctx context.Context, tx *pg.Tx, ids []ident.Claim, actor string) ([]Released, error) {
	found, err := claimspg.LockAll(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return nil, err
	}
	results := make(map[ident.Claim]Released, len(ids))
	byPayer := map[ident.Payer][]claims.Claim{}
	for _, c := range found {
		r := Released{Claim: c.ID, InvoiceNumber: c.InvoiceNumber, Reason: whyNot(c, shop.Today(p.now()))}
		if c.State == claims.Released {
			r.Reason = ""
		}
		results[c.ID] = r
		if c.State == claims.Ready && r.Reason == "" {
			byPayer[c.Payer] = append(byPayer[c.Payer], c)
		}
	}
	for _, payer := range slices.Sorted(mapsKeys(byPayer)) {
		numbers, err := p.releaseChunk(ctx, tx, shop, payer, byPayer[payer], actor)
		if err != nil {
			return nil, err
		}
		for _, c := range byPayer[payer] {
			r := Released{Claim: c.ID, InvoiceNumber: numbers[c.ID]}
			if r.InvoiceNumber == "" {
				r.Reason = fmt.Sprintf("%s is being checked again: its job, its payer's profile or a rate has changed.", c.Number)
			}
			results[c.ID] = r
		}
	}
	answer := make([]Released, len(ids))
	for i, id := range ids {
		r, ok := results[id]
		if !ok {
			r = Released{Claim: id, Reason: fmt.Sprintf("There is no claim %q in this shop.", string(id))}
		}
		answer[i] = r
	}
	return answer, nil
}

func mapsKeys[K comparable, V any](m map[K]V) func(func(K) bool) {
	return func(yield func(K) bool) {
		for k := range m {
			if !yield(k) {
				return
			}
		}
	}
}

// whyNot says why a claim cannot be released today; empty when it can.
func whyNot(c claims.Claim, today string) string {
	switch {
	case c.Hold != nil:
		return fmt.Sprintf("%s is held: %s", c.Number, c.Hold.Reason)
	case c.State == claims.Draft:
		return fmt.Sprintf("%s is not ready: its findings say what stops it.", c.Number)
	case c.State != claims.Ready:
		return fmt.Sprintf("%s is %s; only ready claims can be released.", c.Number, c.State)
	case c.FilingDeadline != "" && today > c.FilingDeadline:
		return fmt.Sprintf("%s is late: the payer took it until %s.", c.Number, c.FilingDeadline)
	}
	return ""
}

// releaseReady releases one chunk of a payer's ready claims by itself, as the nightly run does, in
// the caller's transaction. More tells whether there may be others left.
func (p *Pipeline) releaseReady(ctx context.Context, tx *pg.Tx, payer ident.Payer) (n int, more bool, err error) {
	ready, err := claimspg.LockReady(ctx, tx, payer, chunkSize)
	if err != nil || len(ready) == 0 {
		return 0, false, err
	}
	more = len(ready) == chunkSize
	shop, err := accesspg.GetShop(ctx, tx)
	if err != nil {
		return 0, false, err
	}
	today := shop.Today(p.now())
	var late []string
	ready = slices.DeleteFunc(ready, func(c claims.Claim) bool {
		if whyNot(c, today) != "" {
			late = append(late, string(c.ID))
			return true
		}
		return false
	})
	if len(late) > 0 { // checking again turns a late claim into a draft that says so
		if err := outbox.Enqueue(ctx, tx, TopicCheck, late...); err != nil {
			return 0, false, err
		}
	}
	if len(ready) == 0 {
		return 0, more, nil
	}
	numbers, err := p.releaseChunk(ctx, tx, shop, payer, ready, serverActor)
	return len(numbers), more && len(numbers) > 0, err
}

// releaseChunk releases locked, ready claims of one payer: the number row is locked once, every
// table is written once. It gives the invoice number of each claim.
func (p *Pipeline) releaseChunk(ctx context.Context, tx *pg.Tx, shop access.Shop, payerID ident.Payer,
	ready []claims.Claim, actor string) (map[ident.Claim]string, error) {
	payer, err := payerspg.Get(ctx, tx, payerID)
	if err != nil {
		return nil, err
	}
	work, err := p.releaseOf(ctx, tx, shop, payer, ready)
	if err != nil {
		return nil, err
	}
	changed, err := work.keepStanding(p)
	if err != nil {
		return nil, err
	}
	if len(changed) > 0 {
		if err := outbox.Enqueue(ctx, tx, TopicCheck, changed...); err != nil {
			return nil, err
		}
	}
	if len(work.ready) == 0 {
		return nil, nil
	}
	drafts, groups := work.drafts()
	first, err := pg.NextNumbers(ctx, tx, invoices.KindInvoice.Series(), len(drafts))
	if err != nil {
		return nil, err
	}
	issued, entries := make([]invoices.Invoice, len(drafts)), make([]invoices.Entry, len(drafts))
	for n, d := range drafts {
		if issued[n], entries[n], err = invoices.Issue(tx.Shop(), d, first+int64(n)); err != nil {
			return nil, err
		}
	}
	if err := invoicespg.Insert(ctx, tx, issued, entries); err != nil {
		return nil, err
	}
	numbers := make(map[ident.Claim]string, len(work.ready))
	var frozen []claimspg.Release
	var events []outbox.Event
	for n, i := range issued {
		for _, k := range groups[n] {
			c := &work.ready[k]
			c.Invoice, c.InvoiceNumber, c.State = i.ID, i.Number, claims.Released
			release, err := work.freeze(p, *c, i)
			if err != nil {
				return nil, err
			}
			c.Version++
			frozen = append(frozen, release)
			numbers[c.ID] = i.Number
			events = append(events, claimEvent("claim.released", *c, actor, work.at,
				map[string]any{"invoice_number": i.Number, "invoice_id": i.ID}))
		}
	}
	if err := claimspg.MarkReleased(ctx, tx, frozen, work.at); err != nil {
		return nil, err
	}
	return numbers, announce(ctx, tx, events...)
}

// releasing is a chunk on its way to being released, with what its documents need.
type releasing struct {
	shop   access.Shop
	payer  payers.Payer
	ready  []claims.Claim
	jobs   map[ident.Job]jobs.Job
	photos map[jobs.PhotoHash]jobs.Photo
	at     time.Time
}

func (p *Pipeline) releaseOf(ctx context.Context, tx *pg.Tx, shop access.Shop, payer payers.Payer,
	ready []claims.Claim) (*releasing, error) {
	ids := make([]ident.Job, len(ready))
	for n, c := range ready {
		ids[n] = c.Job
	}
	all, err := jobspg.Many(ctx, tx, ids)
	if err != nil {
		return nil, err
	}
	var named []jobs.PhotoReference
	for _, job := range all {
		named = append(named, job.Record.Photos...)
	}
	photos, err := jobspg.Photos(ctx, tx, p.Sealer, named)
	if err != nil {
		return nil, err
	}
	return &releasing{shop: shop, payer: payer, ready: ready, jobs: all, photos: photos, at: p.now()}, nil
}

// keepStanding drops the claims that would leave other than they were checked: amended since, or
// checked by an older profile, price or rate. It gives their identifiers, to be checked again.
func (r *releasing) keepStanding(p *Pipeline) (changed []string, err error) {
	kept := r.ready[:0]
	for _, c := range r.ready {
		stands := c.ProfileVersion == r.payer.Profile.Version && c.JobVersion == r.jobs[c.Job].Version
		if stands {
			t, err := p.Translator.Translate(r.caseOf(c, invoices.Invoice{}))
			if err != nil {
				return nil, fmt.Errorf("release claim %s: %w", c.Number, err)
			}
			stands = t.Totals == c.Totals
		}
		if stands {
			kept = append(kept, c)
		} else {
			changed = append(changed, string(c.ID))
		}
	}
	r.ready = kept
	return changed, nil
}

func (r *releasing) caseOf(c claims.Claim, i invoices.Invoice) claims.Case {
	return claims.Case{Shop: r.shop, Job: r.jobs[c.Job], Payer: r.payer, Coverage: c.Coverage, Photos: r.photos,
		ClaimNumber: c.Number, InvoiceNumber: i.Number, InvoiceDate: i.IssueDate, Now: r.at}
}

// drafts makes the documents of the chunk: one a claim, or one for all where the payer's profile
// says so. Groups names the claims of each.
func (r *releasing) drafts() (drafts []invoices.Draft, groups [][]int) {
	if r.payer.Profile.IsInvoicedTogether {
		every := make([]int, len(r.ready))
		for k := range every {
			every[k] = k
		}
		return []invoices.Draft{r.draft(every)}, [][]int{every}
	}
	for k := range r.ready {
		drafts = append(drafts, r.draft([]int{k}))
		groups = append(groups, []int{k})
	}
	return drafts, groups
}

func (r *releasing) draft(members []int) invoices.Draft {
	d := invoices.Draft{
		Kind: invoices.KindInvoice, Seller: invoices.SellerOf(r.shop), RemitTo: invoices.RemitToOf(r.shop),
		BillTo: invoices.Party{Name: r.payer.Name, Telephone: r.payer.Profile.Telephone}, Payer: r.payer.ID,
		PayerName: r.payer.Name, IssueDate: r.shop.Today(r.at), PaymentDays: paymentDays(r.payer), IssueTime: r.at,
	}
	for _, k := range members {
		c := r.ready[k]
		job := r.jobs[c.Job]
		d.MotoristName = c.MotoristName
		if d.PurchaseOrder == "" {
			d.PurchaseOrder = c.Coverage.PurchaseOrder
		}
		for _, line := range c.Lines {
			d.Lines = append(d.Lines, invoices.Line{Line: line, Claim: c.ID, ClaimNumber: c.Number, Job: c.Job,
				Reference: invoices.ReferenceOf(job)})
		}
		d.PayerShare.Minor += c.Totals.PayerShare.Minor
		d.PayerShare.Currency = c.Totals.Total.Currency
		d.MotoristShare.Minor += c.Totals.MotoristShare.Minor
		d.MotoristShare.Currency = c.Totals.Total.Currency
	}
	return d
}

// paymentDays is the term of the payer's invoices.
func paymentDays(payer payers.Payer) int {
	if payer.Profile.PaymentDays == 0 {
		return 30
	}
	return payer.Profile.PaymentDays
}

// freeze makes the payload of a claim as it leaves, with its invoice's number.
func (r *releasing) freeze(p *Pipeline, c claims.Claim, i invoices.Invoice) (claimspg.Release, error) {
	t, err := p.Translator.Translate(r.caseOf(c, i))
	if err != nil {
		return claimspg.Release{}, fmt.Errorf("freeze claim %s: %w", c.Number, err)
	}
	hash := sha256.Sum256(t.Payload)
	return claimspg.Release{Claim: c.ID, Invoice: i.ID, Payload: t.Payload, Hash: hash[:]}, nil
}
