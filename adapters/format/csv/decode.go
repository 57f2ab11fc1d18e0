package csvformat

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/money"
)

// needed are the columns without which a file cannot be read back.
var needed = []string{"control_number", "claim_count", "build_time", "is_test", "shop_name", "payer_code", "claim_number", "line_count",
	"totals.payer_share", "totals.currency_code"}

// Decode reads a file back whose columns are those of f.CSV. It refuses with an errs.Invalid error a
// file that lacks a column that is needed for it, and one whose counts do not hold. Payloads do not
// travel.
func (f Format) Decode(r io.Reader) (claims.Envelope, []claims.Frozen, error) {
	reader := csv.NewReader(r)
	reader.Comma = rune(f.CSV.Comma())
	reader.ReuseRecord = true
	b := batchReader{f: f, at: map[string]int{}, seen: map[string]bool{}}
	err := b.read(reader)
	if err == nil {
		return b.envelope, b.batch, nil
	}
	var known *errs.Error
	if errors.As(err, &known) {
		return claims.Envelope{}, nil, err
	}
	return claims.Envelope{}, nil, errs.Newf(errs.Invalid, "BATCH_UNREADABLE", "the file cannot be read as a batch of claims: %s", err).Because(err)
}

type batchReader struct {
	f        Format
	at       map[string]int
	seen     map[string]bool
	envelope claims.Envelope
	batch    []claims.Frozen
	// count is how many claims the file says that it has; lines how many rows are still to come for
	// the present claim.
	count, lines int
}

func (b *batchReader) read(reader *csv.Reader) error {
	header, err := reader.Read()
	if err != nil {
		return fmt.Errorf("read the header: %w", err)
	}
	all := layout(b.f.CSV)
	if len(header) != len(all) {
		return fmt.Errorf("the header has %d columns, want %d", len(header), len(all))
	}
	for i, c := range all {
		if plain(header[i]) != Spell(c.Header) {
			return fmt.Errorf("column %d is %.60q, want %q", i+1, header[i], c.Header)
		}
		b.at[c.Source] = i
	}
	for _, source := range needed {
		if _, ok := b.at[source]; !ok {
			return fmt.Errorf("no column holds %s, so the file cannot be read back", source)
		}
	}
	for {
		row, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return b.end()
		}
		if err != nil {
			return err
		}
		if err := b.row(row); err != nil {
			return fmt.Errorf("row %d: %w", len(b.batch)+1, err)
		}
	}
}

func (b *batchReader) end() error {
	if b.lines != 0 || len(b.batch) != b.count || b.count == 0 {
		return fmt.Errorf("the file says that it has %d claims, there are %d, and %d lines of the last one are missing", b.count, len(b.batch), b.lines)
	}
	return nil
}

func (b *batchReader) row(row []string) error {
	get := func(source string) string { return plain(row[b.at[source]]) }
	e := claims.Envelope{ShopName: get("shop_name"), PayerCode: get("payer_code"), CSV: b.f.CSV}
	var err error
	if e.ControlNumber, err = strconv.ParseInt(get("control_number"), 10, 64); err != nil || e.ControlNumber <= 0 {
		return fmt.Errorf("%.20q is no control number", get("control_number"))
	}
	if e.BuildTime, err = time.Parse(time.RFC3339Nano, get("build_time")); err != nil {
		return err
	}
	e.BuildTime = e.BuildTime.UTC()
	if e.IsTest, err = strconv.ParseBool(get("is_test")); err != nil {
		return err
	}
	count, err := strconv.Atoi(get("claim_count"))
	if err != nil {
		return err
	}
	if len(b.batch) > 0 && (e.ControlNumber != b.envelope.ControlNumber || e.PayerCode != b.envelope.PayerCode || count != b.count) {
		return errors.New("it belongs to another batch than the row before")
	}
	b.envelope, b.count = e, count
	return b.claim(get)
}

// claim takes the claim of a row, or sees that the row is a further line of it.
func (b *batchReader) claim(get func(string) string) error {
	text := get("totals.payer_share")
	if b.f.CSV.IsDecimalComma {
		text = strings.Replace(text, ",", ".", 1)
	}
	share, err := money.Parse(text, get("totals.currency_code"))
	if err != nil {
		return err
	}
	number := get("claim_number")
	if b.lines > 0 {
		b.lines--
		if last := b.batch[len(b.batch)-1]; last.Number != number || last.PayerShare != share {
			return fmt.Errorf("it is of claim %.60q, and lines of %.60q are missing", number, last.Number)
		}
		return nil
	}
	if number == "" || b.seen[number] {
		return fmt.Errorf("claim %.60q is there twice or has no number", number)
	}
	if b.f.CSV.IsRowPerLine {
		if b.lines, err = strconv.Atoi(get("line_count")); err != nil || b.lines < 1 {
			return fmt.Errorf("%.20q is no count of lines", get("line_count"))
		}
		b.lines--
	}
	b.seen[number] = true
	b.batch = append(b.batch, claims.Frozen{Number: number, PayerShare: share})
	return nil
}

// plain takes away the apostrophe that disarmed a cell.
func plain(cell string) string {
	if rest, ok := strings.CutPrefix(cell, "'"); ok && rest != "" && isStart([]byte(rest)) {
		return rest
	}
	return cell
}
