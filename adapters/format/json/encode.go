package jsonformat

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"time"
	"unicode/utf8"

	"cullet/adapters/payload"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/money"
)

// bufferSize is how much of a document is held before it is written on.
const bufferSize = 64 << 10

// Encode writes the batch. It refuses with an errs.Invalid error, before it writes anything, a
// batch without claims, an envelope without number or time, text that is not UTF-8, shares of
// several currencies, and a payload that is not that of the claim beside it.
//
// The payloads are not parsed again: they were made canonical and frozen under their hash, and a
// night has a hundred thousand of them. What is looked at is how each begins and ends.
func (Format) Encode(w io.Writer, e claims.Envelope, batch []claims.Frozen) error {
	total, faults := inspect(e, batch)
	if err := errs.InvalidFields("BATCH_UNFIT", faults); err != nil {
		return err
	}
	out := bufio.NewWriterSize(w, bufferSize)
	if err := writeHead(out, e, len(batch), total); err != nil {
		return err
	}
	for i, frozen := range batch {
		if i > 0 {
			out.WriteByte(',')
		}
		out.WriteByte('\n')
		out.Write(frozen.Payload)
	}
	out.WriteString("\n]}\n")
	// A bufio.Writer keeps its first error and gives it here.
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write batch %d: %w", e.ControlNumber, err)
	}
	return nil
}

// head is the envelope as it is written; "claims" follows it.
type head struct {
	Schema        string       `json:"schema"`
	ControlNumber int64        `json:"control_number"`
	BuildTime     string       `json:"build_time"`
	ShopName      string       `json:"shop_name"`
	PayerCode     string       `json:"payer_code"`
	IsTest        bool         `json:"is_test"`
	ClaimCount    int          `json:"claim_count"`
	PayerShare    money.Amount `json:"payer_share"`
}

func writeHead(out *bufio.Writer, e claims.Envelope, count int, total money.Amount) error {
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false)
	err := encoder.Encode(head{
		Schema: BatchName, ControlNumber: e.ControlNumber,
		BuildTime: e.BuildTime.UTC().Format(time.RFC3339Nano), ShopName: e.ShopName,
		PayerCode: e.PayerCode, IsTest: e.IsTest, ClaimCount: count, PayerShare: total,
	})
	if err != nil {
		return fmt.Errorf("write head of batch %d: %w", e.ControlNumber, err)
	}
	out.Write(bytes.TrimSuffix(text.Bytes(), []byte("}\n")))
	out.WriteString(`,"claims":[`)
	return nil
}

// inspect finds what keeps a batch from being written, and sums what the payer is asked for.
func inspect(e claims.Envelope, batch []claims.Frozen) (money.Amount, []errs.Field) {
	faults := inspectEnvelope(e)
	if len(batch) == 0 {
		return money.Amount{}, append(faults, errs.Field{Path: "claims", Reason: "BATCH_EMPTY",
			Message: "the batch has no claim; a document has one at least"})
	}
	var total money.Amount
	for i, frozen := range batch {
		sum, err := total.Add(frozen.PayerShare)
		if err != nil {
			faults = append(faults, errs.Field{Path: fmt.Sprintf("claims[%d].payer_share", i),
				Reason: "BATCH_SUM", Message: err.Error() + "; put claims of another currency in a batch of their own"})
		} else {
			total = sum
		}
		if !isPayloadOf(frozen) {
			faults = append(faults, errs.Field{Path: fmt.Sprintf("claims[%d].payload", i), Reason: "BATCH_PAYLOAD",
				Message: fmt.Sprintf("the payload is not a frozen %s payload of claim %q", payload.SchemaName, frozen.Number)})
		}
	}
	return total, faults
}

func inspectEnvelope(e claims.Envelope) []errs.Field {
	var faults []errs.Field
	if e.ControlNumber <= 0 {
		faults = append(faults, errs.Field{Path: "control_number", Reason: "CONTROL_NUMBER",
			Message: strconv.FormatInt(e.ControlNumber, 10) + " is no control number; they count from 1"})
	}
	if year := e.BuildTime.UTC().Year(); e.BuildTime.IsZero() || year < 1 || year > 9999 {
		faults = append(faults, errs.Field{Path: "build_time", Reason: "BUILD_TIME",
			Message: "the time of building is missing or outside the years 1 to 9999"})
	}
	for _, text := range []struct{ path, value string }{{"shop_name", e.ShopName}, {"payer_code", e.PayerCode}} {
		if text.value == "" || !utf8.ValidString(text.value) {
			faults = append(faults, errs.Field{Path: text.path, Reason: "ENVELOPE_TEXT",
				Message: fmt.Sprintf("%.60q is empty or not UTF-8", text.value)})
		}
	}
	return faults
}

// isPayloadOf tells whether the payload begins as the canonical payload of this claim does, and
// ends as an object.
func isPayloadOf(f claims.Frozen) bool {
	rest, ok := bytes.CutPrefix(f.Payload, []byte(`{"schema":"`+payload.SchemaName+`","claim_number":`))
	if !ok || !bytes.HasSuffix(rest, []byte("}")) {
		return false
	}
	if isPlain(f.Number) {
		rest, ok = bytes.CutPrefix(rest, []byte(`"`))
		return ok && len(rest) > len(f.Number)+1 && string(rest[:len(f.Number)]) == f.Number &&
			rest[len(f.Number)] == '"' && rest[len(f.Number)+1] == ','
	}
	number, err := quoted(f.Number)
	return err == nil && f.Number != "" && bytes.HasPrefix(rest, append(number, ','))
}

// isPlain tells whether the number stands in JSON as it is. All of ours do.
func isPlain(number string) bool {
	for i := range len(number) {
		if c := number[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			return false
		}
	}
	return number != ""
}

func quoted(text string) ([]byte, error) {
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(text); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), nil
}
