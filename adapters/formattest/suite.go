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

// Run holds the format against the contract of claims.Format.
func Run(t *testing.T, f claims.Format) {
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

func hasNames(t *testing.T, f claims.Format) {
	if f.Name() == "" || f.Name() != strings.ToLower(f.Name()) || !strings.Contains(f.MediaType(), "/") {
		t.Errorf("got name %q and media type %q", f.Name(), f.MediaType())
	}
	seen := map[string]string{}
	for _, code := range append(HostileTexts(), "lantern-mutual", "../../etc/passwd", `..\..\x`, "CON", strings.Repeat("x", 300)) {
		e := Envelope()
		e.PayerCode = code
		if name := f.FileName(e); !safeName.MatchString(name) || strings.Contains(name, "..") {
			t.Errorf("payer %.40q: the file name %q is not safe on every system", code, name)
		}
	}
	for _, number := range []int64{1, 17, 999_999_999, 1_000_000_000} {
		for _, isTest := range []bool{false, true} {
			e := Envelope()
			e.ControlNumber, e.IsTest = number, isTest
			name, of := f.FileName(e), fmt.Sprint(number, isTest)
			if other, ok := seen[name]; ok {
				t.Errorf("%s and %s have the same file name %q", other, of, name)
			}
			seen[name] = of
		}
	}
}

func encode(t *testing.T, f claims.Format, e claims.Envelope, batch []claims.Frozen) []byte {
	t.Helper()
	var document bytes.Buffer
	if err := f.Encode(&document, e, batch); err != nil {
		t.Fatalf("encode: %v", err)
	}
	return document.Bytes()
}

func readsBack(t *testing.T, f claims.Format) {
	for _, isTest := range []bool{false, true} {
		e := Envelope()
		e.IsTest = isTest
		batch := Batch(t, 25)
		compare(t, f, e, batch, encode(t, f, e, batch))
	}
}

// compare reads a document and holds it against what was written. The identifier of a claim does
// not travel, and a format need not give the payload back; when it does, it is the same.
func compare(t *testing.T, f claims.Format, e claims.Envelope, batch []claims.Frozen, document []byte) {
	t.Helper()
	gotEnvelope, got, err := f.Decode(bytes.NewReader(document))
	if err != nil {
		t.Errorf("decode: %v", err)
		return
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

func equalBytes(t *testing.T, f claims.Format) {
	batch := Batch(t, 9)
	want := encode(t, f, Envelope(), batch)
	elsewhere := Envelope()
	elsewhere.BuildTime = elsewhere.BuildTime.In(time.FixedZone("somewhere", 9*3600))
	if got := encode(t, f, elsewhere, Batch(t, 9)); !bytes.Equal(got, want) {
		t.Error("the same moment in another zone gave other bytes")
	}
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			var document bytes.Buffer
			if err := f.Encode(&document, Envelope(), batch); err != nil || !bytes.Equal(document.Bytes(), want) {
				t.Errorf("encoded beside others it gave other bytes, %v", err)
			}
		})
	}
	all.Wait()
}

func hostileText(t *testing.T, f claims.Format) {
	carried := 0
	for _, text := range HostileTexts() {
		numbered := Examples(t)[0]
		numbered.ClaimNumber = text
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

func carriesOrRefuses(t *testing.T, f claims.Format, text string, batch []claims.Frozen) bool {
	t.Helper()
	for _, e := range []claims.Envelope{Envelope(), {ControlNumber: 1, BuildTime: Envelope().BuildTime, ShopName: text, PayerCode: text}} {
		var document bytes.Buffer
		if err := f.Encode(&document, e, batch); err != nil {
			if !errs.Is(err, errs.Invalid) || document.Len() > 0 {
				t.Errorf("%.40q: refused with %v after %d bytes, want an invalid-error and nothing", text, err, document.Len())
			}
			return false
		}
		compare(t, f, e, batch, document.Bytes())
	}
	return true
}

func refusesUnfit(t *testing.T, f claims.Format) {
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
		e, batch := Envelope(), Batch(t, 3)
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
func refusesTruncated(t *testing.T, f claims.Format) {
	document := encode(t, f, Envelope(), Batch(t, 3))
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

func failingWriter(t *testing.T, f claims.Format) {
	batch := Batch(t, 40)
	size := len(encode(t, f, Envelope(), batch))
	for _, left := range []int{0, 1, size / 2, size - 1} {
		if err := f.Encode(&brokenWriter{left: left}, Envelope(), batch); !errors.Is(err, errBroken) {
			t.Errorf("a writer that fails after %d of %d bytes: got %v, want its error", left, size, err)
		}
	}
}

// streams: what is allocated per claim is a small part of the claim, so nothing is gathered.
func streams(t *testing.T, f claims.Format) {
	few, many := Batch(t, 100), Batch(t, 4_000)
	allocated := func(batch []claims.Frozen) uint64 {
		least := uint64(math.MaxUint64)
		for range 7 { // other tests of the process allocate as well: the least of several is ours
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			if err := f.Encode(io.Discard, Envelope(), batch); err != nil {
				t.Fatal(err)
			}
			runtime.ReadMemStats(&after)
			least = min(least, after.TotalAlloc-before.TotalAlloc)
		}
		return least
	}
	allocated(few)
	size := uint64(len(many[0].Payload))
	a, b := allocated(few), allocated(many)
	if b > a && (b-a)/uint64(len(many)-len(few)) > size/8 {
		t.Errorf("100 claims took %d bytes, 4000 took %d: %d a claim of %d bytes; the document is gathered, not streamed",
			a, b, (b-a)/uint64(len(many)-len(few)), size)
	}
}
