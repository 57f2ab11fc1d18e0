package x12

import (
	"errors"
	"fmt"
	"io"

	"cullet/adapters/format"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/money"
)

// Format is the format "x12". It has no state and may be used by many goroutines.
type Format struct{}

var (
	_ claims.Format = Format{}
	_ claims.Picky  = Format{}
)

// Name is "x12".
func (Format) Name() string { return "x12" }

// MediaType is that of RFC 1767.
func (Format) MediaType() string { return "application/edi-x12" }

// FileName gives "claims-lantern-mutual-000000017.edi".
func (Format) FileName(e claims.Envelope) string { return format.FileName(e, "edi") }

// The bounds of one document.
const (
	maxControlNumber = 999_999_999
	maxSets          = 999_999
)

// Encode writes the batch. It refuses with an errs.Invalid error that names every fault, before it
// writes anything: an envelope without number, time or addresses, a claim whose numbers do not fit
// their elements, sums that do not add up, and a payload that is not that of the claim beside it.
//
// It reads each payload twice: once to learn what is wrong and which characters the text needs, and
// once to write. So memory does not grow with the batch.
func (Format) Encode(w io.Writer, e claims.Envelope, batch []claims.Frozen) error {
	e.X12 = e.X12.Given()
	draft := &writer{isBasic: e.X12.IsBasic, d: preferred(e.X12.Version)}
	draft.inspect(e, batch)
	draft.document(e, batch)
	if err := errs.InvalidFields("BATCH_UNFIT", draft.faults); err != nil {
		return err
	}
	final := &writer{to: w, isFinal: true, isBasic: e.X12.IsBasic, d: choose(e.X12.Version, &draft.used)}
	final.document(e, batch)
	if final.failure != nil {
		return fmt.Errorf("write batch %d: %w", e.ControlNumber, final.failure)
	}
	return nil
}

// Unfit gives what of the claim, or of how the payer is addressed, cannot be written.
func (Format) Unfit(e claims.Envelope, f claims.Frozen) []errs.Field {
	if f.Payload == nil {
		return nil
	}
	e.X12 = e.X12.Given()
	draft := &writer{isBasic: e.X12.IsBasic, d: preferred(e.X12.Version), isDraft: true}
	draft.envelope(e, 1)
	draft.set(e, 0, f, newSource())
	return draft.faults
}

// inspect finds what is wrong with the batch as a whole.
func (w *writer) inspect(e claims.Envelope, batch []claims.Frozen) {
	w.claim = -1
	if e.ControlNumber <= 0 || e.ControlNumber > maxControlNumber {
		w.fault("control_number", "CONTROL_NUMBER", "%d is no control number; they count from 1 to %d", e.ControlNumber, maxControlNumber)
	}
	if year := e.BuildTime.UTC().Year(); e.BuildTime.IsZero() || year < 1 || year > 9999 {
		w.fault("build_time", "BUILD_TIME", "the time of building is missing or outside the years 1 to 9999")
	}
	if len(batch) == 0 || len(batch) > maxSets {
		w.fault("claims", "BATCH_SIZE", "the batch has %d claims; a document has 1 to %d", len(batch), maxSets)
	}
	var total money.Amount
	for i, f := range batch {
		var err error
		if total, err = total.Add(f.PayerShare); err != nil {
			w.claim = i
			w.fault("payer_share", "BATCH_SUM", "%s; put claims of another currency in a batch of their own", err)
			total = f.PayerShare
		}
	}
	w.claim = -1
}

// document writes everything from ISA to IEA.
func (w *writer) document(e claims.Envelope, batch []claims.Frozen) {
	w.claim = -1
	w.envelope(e, len(batch))
	from := newSource()
	for i, f := range batch {
		if w.failure != nil {
			return
		}
		w.claim = i
		w.set(e, i, f, from)
		w.flush(bufferSize)
	}
	w.claim = -1
	w.trailer(e, len(batch))
	w.flush(0)
}

// errCut is what a document ends with that lost its tail.
var errCut = errors.New("the document ends in the middle of an interchange")
