// Package formattest is the suite that every claims.Format must pass. A new format calls Run from
// its own tests and adds examples of answers under testdata/answers/<name>/: files whose names
// begin with "valid-" are read, files that begin with "broken-" are refused.
//
// It knows nothing of any one format. Where a format cannot carry a text it may refuse the batch,
// but what it writes it must read back with the same claims and the same money.
package formattest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/money"
)

// Run holds the format against the contract of Suite.
func Run(t *testing.T, f claims.Format) {
	t.Helper()
	Suite{Format: f}.Run(t)
}

// Suite is a format with what it needs to be known about it.
type Suite struct {
	claims.Format
	// Address adds to an envelope what the format wants of a payer's profile; nil adds nothing.
	Address func(*claims.Envelope)
	// Spell gives a text of the envelope as the format carries it; nil carries every text as it is.
	// What was spelled once stays as it is.
	Spell func(string) string
	// Answers is the folder of the examples of answers; empty is the format's name.
	Answers string
}

// envelope is an envelope of an invented scenario, as the format wants it.
func (f Suite) envelope() claims.Envelope { return f.address(Envelope()) }

func (f Suite) address(e claims.Envelope) claims.Envelope {
	if f.Address != nil {
		f.Address(&e)
	}
	return e
}

// Run holds the format against the contract of Suite.
func (f Suite) Run(t *testing.T) {
	t.Helper()
	t.Run("HasNames", func(t *testing.T) { t.Parallel(); hasNames(t, f) })
	t.Run("ReadsBackWhatItWrote", func(t *testing.T) { t.Parallel(); readsBack(t, f) })
	t.Run("EqualInputGivesEqualBytes", func(t *testing.T) { t.Parallel(); equalBytes(t, f) })
	t.Run("CarriesOrRefusesHostileText", func(t *testing.T) { t.Parallel(); hostileText(t, f) })
	t.Run("RefusesUnfitBatches", func(t *testing.T) { t.Parallel(); refusesUnfit(t, f) })
	t.Run("RefusesTruncatedDocuments", func(t *testing.T) { t.Parallel(); refusesTruncated(t, f) })
	t.Run("TellsOfAFailingWriter", func(t *testing.T) { t.Parallel(); failingWriter(t, f) })
	t.Run("ReadsAnswers", func(t *testing.T) { t.Parallel(); readsAnswers(t, f) })
	// Not parallel: it measures what the process allocates.
	t.Run("Streams", func(t *testing.T) { streams(t, f) })
}

// Envelope is an envelope of an invented scenario.
func Envelope() claims.Envelope {
	return claims.Envelope{
		ControlNumber: 17, BuildTime: time.Date(2026, 10, 21, 1, 30, 0, 0, time.UTC),
		ShopName: "Harbourline Glass Repair (invented)", PayerCode: "lantern-mutual",
	}
}

var safeName = regexp.MustCompile(`^[a-z0-9][a-z0-9.-]{0,126}[a-z0-9]$`)

func hasNames(t *testing.T, f Suite) {
	if f.Name() == "" || f.Name() != strings.ToLower(f.Name()) || !strings.Contains(f.MediaType(), "/") {
		t.Errorf("got name %q and media type %q", f.Name(), f.MediaType())
	}
	seen := map[string]string{}
	for _, code := range append(HostileTexts(), "lantern-mutual", "../../etc/passwd", `..\..\x`, "CON", strings.Repeat("x", 300)) {
		e := f.envelope()
		e.PayerCode = code
		if name := f.FileName(e); !safeName.MatchString(name) || strings.Contains(name, "..") {
			t.Errorf("payer %.40q: the file name %q is not safe on every system", code, name)
		}
	}
	for _, number := range []int64{1, 17, 999_999_999, 1_000_000_000} {
		for _, isTest := range []bool{false, true} {
			e := f.envelope()
			e.ControlNumber, e.IsTest = number, isTest
			name, of := f.FileName(e), fmt.Sprint(number, isTest)
			if other, ok := seen[name]; ok {
				t.Errorf("%s and %s have the same file name %q", other, of, name)
			}
			seen[name] = of
		}
	}
}

func encode(t *testing.T, f Suite, e claims.Envelope, batch []claims.Frozen) []byte {
	t.Helper()
	var document bytes.Buffer
	if err := f.Encode(&document, e, batch); err != nil {
		t.Fatalf("encode: %v", err)
	}
	return document.Bytes()
}

func readsBack(t *testing.T, f Suite) {
	for _, isTest := range []bool{false, true} {
		e := f.envelope()
		e.IsTest = isTest
		batch := Batch(t, 25)
		compare(t, f, e, batch, encode(t, f, e, batch))
	}
}

// compare reads a document and holds it against what was written. The identifier of a claim does
// not travel, and a format need not give the payload back; when it does, it is the same.
func compare(t *testing.T, f Suite, e claims.Envelope, batch []claims.Frozen, document []byte) {
	t.Helper()
	gotEnvelope, got, err := f.Decode(bytes.NewReader(document))
	if err != nil {
		t.Errorf("decode: %v", err)
		return
	}
	if f.Spell != nil {
		e.ShopName = f.Spell(e.ShopName)
		if again := f.Spell(e.ShopName); again != e.ShopName {
			t.Errorf("%q spelled again is %q", e.ShopName, again)
		}
	}
	if diff := cmp.Diff(e, gotEnvelope); diff != "" {
		t.Errorf("envelope, want - got +:\n%s", diff)
	}
	if len(got) != len(batch) {
		t.Errorf("wrote %d claims, read %d", len(batch), len(got))
		return
	}
	for i := range batch {
		if got[i].Number != batch[i].Number || got[i].PayerShare != batch[i].PayerShare {
			t.Errorf("claim %d: wrote %q for %s, read %q for %s", i, batch[i].Number, batch[i].PayerShare,
				got[i].Number, got[i].PayerShare)
		}
		if got[i].Payload != nil && !bytes.Equal(got[i].Payload, batch[i].Payload) {
			t.Errorf("claim %d: the payload came back changed:\n%s\n%s", i, batch[i].Payload, got[i].Payload)
		}
	}
}

func equalBytes(t *testing.T, f Suite) {
	batch := Batch(t, 9)
	want := encode(t, f, f.envelope(), batch)
	elsewhere := f.envelope()
	elsewhere.BuildTime = elsewhere.BuildTime.In(time.FixedZone("somewhere", 9*3600))
	if got := encode(t, f, elsewhere, Batch(t, 9)); !bytes.Equal(got, want) {
		t.Error("the same moment in another zone gave other bytes")
	}
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			var document bytes.Buffer
			if err := f.Encode(&document, f.envelope(), batch); err != nil || !bytes.Equal(document.Bytes(), want) {
				t.Errorf("encoded beside others it gave other bytes, %v", err)
			}
		})
	}
	all.Wait()
}

func hostileText(t *testing.T, f Suite) {
	carried := 0
	for _, text := range HostileTexts() {
		numbered := Examples(t)[0]
		numbered.ClaimNumber, numbered.InvoiceNumber, numbered.InvoiceDate = text, "INV-000001", "2026-10-20"
		for _, batch := range [][]claims.Frozen{HostileBatch(t, text), {Freeze(t, numbered)}} {
			if carriesOrRefuses(t, f, text, batch) {
				carried++
			}
		}
	}
	if carried < len(HostileTexts()) {
		t.Errorf("only %d of %d texts are carried", carried, 2*len(HostileTexts()))
	}
}

// carriesOrRefuses tells whether the claims are carried under an ordinary envelope; under one with the
// text in it they may be refused as well.
func carriesOrRefuses(t *testing.T, f Suite, text string, batch []claims.Frozen) (isCarried bool) {
	t.Helper()
	for i, e := range []claims.Envelope{f.envelope(), f.address(claims.Envelope{ControlNumber: 1, BuildTime: Envelope().BuildTime, ShopName: text, PayerCode: text})} {
		var document bytes.Buffer
		if err := f.Encode(&document, e, batch); err != nil {
			if !errs.Is(err, errs.Invalid) || document.Len() > 0 {
				t.Errorf("%.40q: refused with %v after %d bytes, want an invalid-error and nothing", text, err, document.Len())
			}
			continue
		}
		compare(t, f, e, batch, document.Bytes())
		isCarried = isCarried || i == 0
	}
	return isCarried
}

func refusesUnfit(t *testing.T, f Suite) {
	tests := []struct {
		name   string
		change func(*claims.Envelope, *[]claims.Frozen)
	}{
		{"no claims", func(_ *claims.Envelope, b *[]claims.Frozen) { *b = nil }},
		{"control number 0", func(e *claims.Envelope, _ *[]claims.Frozen) { e.ControlNumber = 0 }},
		{"control number below 0", func(e *claims.Envelope, _ *[]claims.Frozen) { e.ControlNumber = -1 }},
		{"no time", func(e *claims.Envelope, _ *[]claims.Frozen) { e.BuildTime = time.Time{} }},
		{"two currencies", func(_ *claims.Envelope, b *[]claims.Frozen) { (*b)[1].PayerShare = money.From(1, "CAD") }},
		{"payload missing", func(_ *claims.Envelope, b *[]claims.Frozen) { (*b)[1].Payload = nil }},
		{"payload of another claim", func(_ *claims.Envelope, b *[]claims.Frozen) { (*b)[1].Payload = (*b)[0].Payload }},
		{"payload cut short", func(_ *claims.Envelope, b *[]claims.Frozen) {
			(*b)[1].Payload = (*b)[1].Payload[:len((*b)[1].Payload)-1]
		}},
		{"claim without a number", func(_ *claims.Envelope, b *[]claims.Frozen) { (*b)[1].Number = "" }},
	}
	for _, test := range tests {
		e, batch := f.envelope(), Batch(t, 3)
		test.change(&e, &batch)
		var document bytes.Buffer
		if err := f.Encode(&document, e, batch); !errs.Is(err, errs.Invalid) {
			t.Errorf("%s: got %v, want an invalid-error", test.name, err)
		}
		if document.Len() > 0 {
			t.Errorf("%s: %d bytes were written before it was refused", test.name, document.Len())
		}
	}
}

// refusesTruncated: a document that lost its tail, or has one too many, is never taken for a whole
// one. Space at the end is no loss.
func refusesTruncated(t *testing.T, f Suite) {
	document := encode(t, f, f.envelope(), Batch(t, 3))
	whole := len(bytes.TrimRight(document, " \r\n"))
	for cut := 0; cut < whole; cut += max(1, whole/400) {
		if _, _, err := f.Decode(bytes.NewReader(document[:cut])); !errs.Is(err, errs.Invalid) {
			t.Fatalf("cut at %d of %d bytes: got %v, want an invalid-error", cut, whole, err)
		}
	}
	if _, _, err := f.Decode(bytes.NewReader(document[:whole-1])); !errs.Is(err, errs.Invalid) {
		t.Errorf("without its last byte: got %v, want an invalid-error", err)
	}
	twice := append(bytes.Clone(document), document...)
	if _, _, err := f.Decode(bytes.NewReader(twice)); !errs.Is(err, errs.Invalid) {
		t.Errorf("two documents in one: got %v, want an invalid-error", err)
	}
}

// brokenWriter takes so many bytes and then fails.
type brokenWriter struct{ left int }

var errBroken = errors.New("the line is cut")

func (b *brokenWriter) Write(p []byte) (int, error) {
	if len(p) > b.left {
		return b.left, errBroken
	}
	b.left -= len(p)
	return len(p), nil
}

func failingWriter(t *testing.T, f Suite) {
	batch := Batch(t, 40)
	size := len(encode(t, f, f.envelope(), batch))
	for _, left := range []int{0, 1, size / 2, size - 1} {
		if err := f.Encode(&brokenWriter{left: left}, f.envelope(), batch); !errors.Is(err, errBroken) {
			t.Errorf("a writer that fails after %d of %d bytes: got %v, want its error", left, size, err)
		}
	}
}

// streams: what is allocated per claim is a small part of the claim, so nothing is gathered. Other
// tests of the process allocate as well, so one measurement in seven is enough.
func streams(t *testing.T, f Suite) {
	few, many := Batch(t, 100), Batch(t, 4_000)
	allocated := func(batch []claims.Frozen) uint64 {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		if err := f.Encode(io.Discard, f.envelope(), batch); err != nil {
			t.Fatal(err)
		}
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc
	}
	least, most := uint64(math.MaxUint64), uint64(len(many[0].Payload))/8
	allocated(few)
	for range 7 {
		a := allocated(few)
		each := (max(allocated(many), a) - a) / uint64(len(many)-len(few))
		if least = min(least, each); least <= most {
			return
		}
	}
	t.Errorf("a claim of %d bytes took %d bytes more, at most %d are allowed; the document is gathered, not streamed",
		len(many[0].Payload), least, most)
}
