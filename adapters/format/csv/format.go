package csvformat

import (
	"fmt"
	"io"
	"strings"

	"cullet/adapters/format"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/money"
	"cullet/services/payers"
)

// Format is the format "csv". CSV is only for Decode, because a file does not say what its columns are;
// Encode goes by the envelope. It may be used by many goroutines.
type Format struct{ CSV payers.CSV }

var (
	_ claims.Format = Format{}
	_ claims.Picky  = Format{}
)

// Name is "csv".
func (Format) Name() string { return "csv" }

// MediaType is that of RFC 4180.
func (Format) MediaType() string { return "text/csv" }

// FileName gives "claims-lantern-mutual-000000017.csv".
func (Format) FileName(e claims.Envelope) string { return format.FileName(e, "csv") }

// Encode writes the batch. It refuses with an errs.Invalid error that names every fault, before it
// writes anything: an envelope without number or time, unknown columns, numbers with control
// characters, and a payload that is not that of the claim beside it. It reads each payload twice, so
// memory does not grow with the batch.
func (Format) Encode(w io.Writer, e claims.Envelope, batch []claims.Frozen) error {
	draft := newWriter(nil, e, len(batch))
	draft.inspect(batch)
	draft.document(batch)
	if err := errs.InvalidFields("BATCH_UNFIT", draft.faults); err != nil {
		return err
	}
	final := newWriter(w, e, len(batch))
	final.document(batch)
	if final.failure != nil {
		return fmt.Errorf("write batch %d: %w", e.ControlNumber, final.failure)
	}
	return nil
}

// Unfit gives what of the claim, or of the payer's columns, cannot be written.
func (Format) Unfit(e claims.Envelope, f claims.Frozen) []errs.Field {
	if f.Payload == nil {
		return nil
	}
	draft := newWriter(nil, e, 1)
	draft.isDraft = true
	draft.claim(f)
	return draft.faults
}

// inspect finds what is wrong with the batch as a whole.
func (w *writer) inspect(batch []claims.Frozen) {
	if w.e.ControlNumber <= 0 {
		w.fault("control_number", "CONTROL_NUMBER", "%d is no control number; they count from 1", w.e.ControlNumber)
	}
	if year := w.e.BuildTime.UTC().Year(); w.e.BuildTime.IsZero() || year < 1 || year > 9999 {
		w.fault("build_time", "BUILD_TIME", "the time of building is missing or outside the years 1 to 9999")
	}
	for _, text := range []struct{ path, value string }{{"shop_name", w.e.ShopName}, {"payer_code", w.e.PayerCode}} {
		if Spell(text.value) == "" {
			w.fault(text.path, "ENVELOPE_TEXT", "%.60q says nothing", text.value)
		}
	}
	if len(batch) == 0 {
		w.fault("claims", "BATCH_EMPTY", "the batch has no claim; a file has one at least")
	}
	var total money.Amount
	for i, f := range batch {
		var err error
		if total, err = total.Add(f.PayerShare); err != nil {
			w.index = i
			w.fault("payer_share", "BATCH_SUM", "%s; put claims of another currency in a batch of their own", err)
			total = f.PayerShare
		}
	}
	w.index = -1
}

// Spell gives a name as a file carries it: control characters as spaces, none at its ends.
func Spell(text string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if isControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\ufffd")))
}

// isControl tells whether a cell may not hold the character: C0, C1, and the separators of lines and
// paragraphs, at which some programs begin a new row.
func isControl(r rune) bool {
	return r < ' ' || r >= 0x7f && r < 0xa0 || r == '\u2028' || r == '\u2029' || r == '\ufeff'
}
