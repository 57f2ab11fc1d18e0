package jsonformat

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/go-json-experiment/json/jsontext"

	"cullet/adapters/payload"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/money"
)

// maxClaims bounds what Decode reads.
const maxClaims = 1_000_000

// Decode reads a batch back and compares count and sum with the claims. The payloads come back
// byte for byte; the identifiers of claims do not travel and are empty. Whatever is unknown,
// repeated, missing or follows the document is refused with an errs.Invalid error.
func (Format) Decode(r io.Reader) (claims.Envelope, []claims.Frozen, error) {
	reader := batchReader{from: jsontext.NewDecoder(r), seen: map[string]bool{}}
	if err := reader.read(); err != nil {
		var known *errs.Error
		if errors.As(err, &known) {
			return claims.Envelope{}, nil, err
		}
		return claims.Envelope{}, nil, errs.Newf(errs.Invalid, "BATCH_UNREADABLE",
			"the document cannot be read as a batch of claims: %s", err).Because(err)
	}
	if err := reader.compare(); err != nil {
		return claims.Envelope{}, nil, err
	}
	return reader.envelope, reader.batch, nil
}

// batchReader holds what of a batch was read so far.
type batchReader struct {
	from     *jsontext.Decoder
	seen     map[string]bool
	envelope claims.Envelope
	count    int64
	share    money.Amount
	batch    []claims.Frozen
}

func (b *batchReader) read() error {
	if err := b.expect('{'); err != nil {
		return err
	}
	for b.from.PeekKind() == '"' {
		name, err := b.from.ReadToken()
		if err != nil {
			return err
		}
		member := name.String()
		b.seen[member] = true
		if err := b.readMember(member); err != nil {
			return err
		}
	}
	if err := b.expect('}'); err != nil {
		return err
	}
	if _, err := b.from.ReadToken(); !errors.Is(err, io.EOF) {
		return errors.New("something follows the end of the document")
	}
	return b.missing()
}

func (b *batchReader) readMember(member string) error {
	if member == "claims" {
		return b.readClaims()
	}
	value, err := b.from.ReadValue()
	if err != nil {
		return err
	}
	var at any
	var schema, builtAt string
	switch member {
	case "schema":
		at = &schema
	case "control_number":
		at = &b.envelope.ControlNumber
	case "build_time":
		at = &builtAt
	case "shop_name":
		at = &b.envelope.ShopName
	case "payer_code":
		at = &b.envelope.PayerCode
	case "is_test":
		at = &b.envelope.IsTest
	case "claim_count":
		at = &b.count
	case "payer_share":
		at = &b.share
	default:
		return fmt.Errorf("member %.60q is not known", member)
	}
	if err := unmarshal(value, at); err != nil {
		return fmt.Errorf("member %q: %w", member, err)
	}
	if member == "schema" && schema != BatchName {
		return fmt.Errorf("schema is %.60q, want %q", schema, BatchName)
	}
	if member == "build_time" {
		b.envelope.BuildTime, err = readTime(builtAt)
	}
	return err
}

func (b *batchReader) readClaims() error {
	if err := b.expect('['); err != nil {
		return err
	}
	for b.from.PeekKind() != ']' {
		value, err := b.from.ReadValue()
		if err != nil {
			return err
		}
		if len(b.batch) == maxClaims {
			return fmt.Errorf("more than %d claims", maxClaims)
		}
		claim, err := payload.Parse(value)
		if err != nil {
			return fmt.Errorf("claim %d: %w", len(b.batch)+1, err)
		}
		b.batch = append(b.batch, claims.Frozen{
			Number: claim.ClaimNumber, Payload: bytes.Clone(value), PayerShare: claim.Totals.PayerShare,
		})
	}
	return b.expect(']')
}

func (b *batchReader) expect(kind jsontext.Kind) error {
	token, err := b.from.ReadToken()
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	if err != nil {
		return err
	}
	if token.Kind() != kind {
		return fmt.Errorf("found %s where %s belongs", token.Kind(), kind)
	}
	return nil
}

func (b *batchReader) missing() error {
	var faults []errs.Field
	for _, member := range []string{"schema", "control_number", "build_time", "shop_name", "payer_code",
		"is_test", "claim_count", "payer_share", "claims"} {
		if !b.seen[member] {
			faults = append(faults, errs.Field{Path: member, Reason: "MEMBER_MISSING", Message: "the member is missing"})
		}
	}
	return errs.InvalidFields("BATCH_UNREADABLE", faults)
}

// compare holds the head against the claims: a document that lost its tail cannot pass.
func (b *batchReader) compare() error {
	var faults []errs.Field
	if b.count != int64(len(b.batch)) || b.count == 0 {
		faults = append(faults, errs.Field{Path: "claim_count", Reason: "BATCH_COUNT",
			Message: fmt.Sprintf("the head says %d, the document has %d; it has one at least", b.count, len(b.batch))})
	}
	numbers := map[string]bool{}
	var sum money.Amount
	for i, frozen := range b.batch {
		if numbers[frozen.Number] {
			faults = append(faults, errs.Field{Path: fmt.Sprintf("claims[%d].claim_number", i), Reason: "CLAIM_REPEATED",
				Message: fmt.Sprintf("claim %q is in the document twice", frozen.Number)})
		}
		numbers[frozen.Number] = true
		var err error
		if sum, err = sum.Add(frozen.PayerShare); err != nil {
			faults = append(faults, errs.Field{Path: fmt.Sprintf("claims[%d].totals.payer_share", i),
				Reason: "BATCH_SUM", Message: err.Error()})
		}
	}
	if sum != b.share {
		faults = append(faults, errs.Field{Path: "payer_share", Reason: "BATCH_SUM",
			Message: fmt.Sprintf("the head says %s, the claims sum to %s", b.share, sum)})
	}
	faults = append(faults, inspectEnvelope(b.envelope)...)
	return errs.InvalidFields("BATCH_UNREADABLE", faults)
}
