package payer

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestDecideIsStableAndFollowsTheWeights(t *testing.T) {
	t.Parallel()
	p := Payer{Code: "lantern-mutual", Outcomes: map[Outcome]int{Accept: 60, ShortPay: 10, Reject: 10, Ask: 10, Deny: 5, Silent: 5}}
	count := map[Outcome]int{}
	for i := range 10_000 {
		number := fmt.Sprintf("C-%06d", i)
		d := p.Decide(number, false)
		if again := p.Decide(number, false); again.Outcome != d.Outcome || fmt.Sprint(again.Reasons) != fmt.Sprint(d.Reasons) {
			t.Fatalf("%s is decided %v, then %v", number, d, again)
		}
		if needsReason := d.Outcome != Accept && d.Outcome != Silent; needsReason != (len(d.Reasons) == 1) {
			t.Fatalf("%s is decided %s with %d reasons", number, d.Outcome, len(d.Reasons))
		}
		count[d.Outcome]++
	}
	for outcome, weight := range p.Outcomes {
		if got, want := count[outcome], 100*weight; got < want*8/10 || got > want*12/10 {
			t.Errorf("%s: %d of 10000, want about %d", outcome, got, want)
		}
	}
}

// TestDecideKnownValues pins the hash: a book written by one version must be understood by the
// next. Computed with Python: the first 8 bytes of SHA-256 over code, number and "outcome", each
// behind its length in 4 bytes, modulo 6.
func TestDecideKnownValues(t *testing.T) {
	t.Parallel()
	p := Payer{Code: "lantern-mutual", Outcomes: map[Outcome]int{Accept: 1, ShortPay: 1, Reject: 1, Ask: 1, Deny: 1, Silent: 1}}
	var got []string
	for i := range 8 {
		got = append(got, string(p.Decide(fmt.Sprintf("C-%06d", i), false).Outcome))
	}
	const want = "SHORT_PAY REJECT ASK ACCEPT ASK REJECT SILENT DENY"
	if text := strings.Join(got, " "); text != want {
		t.Errorf("decided %s, want %s", text, want)
	}
}

func TestDecideFollowsTheConfiguration(t *testing.T) {
	t.Parallel()
	named := Decision{Outcome: Reject, Reasons: []Reason{{Code: "X", Text: "because"}}}
	p := Payer{Code: "a", Claims: map[string]Decision{"C-1": named, "C-2": {Outcome: Deny}}}
	if got := p.Decide("C-1", false); got.Outcome != Reject || got.Reasons[0].Code != "X" {
		t.Errorf("C-1: %v, want the configured rejection", got)
	}
	if got := p.Decide("C-2", false); got.Outcome != Deny || len(got.Reasons) != 1 {
		t.Errorf("C-2: %v, want a denial with a reason of our own", got)
	}
	if got := p.Decide("C-3", false); got.Outcome != Accept {
		t.Errorf("C-3: %v, want acceptance where nothing is weighed", got)
	}
	if got := p.Decide("C-1", true); got.Outcome != Accept {
		t.Errorf("C-1 again: %v, want acceptance", got)
	}
	p.Again = Deny
	if got := p.Decide("C-1", true); got.Outcome != Deny {
		t.Errorf("C-1 again: %v, want what again says", got)
	}
}

func TestPays(t *testing.T) {
	t.Parallel()
	p, tenth := Payer{}, Payer{ShortPercent: 10}
	for _, tt := range []struct {
		p       Payer
		outcome Outcome
		share   int64
		want    int64
	}{
		{p, Accept, 7995, 7995}, {p, ShortPay, 7995, 6795}, {p, ShortPay, 1, 0}, {p, Reject, 7995, 0}, {p, Silent, 7995, 0},
		{tenth, ShortPay, 7995, 799}, {tenth, ShortPay, 1 << 62, 1<<62/100*10 + (1<<62)%100*10/100},
	} {
		if got := tt.p.Pays(tt.outcome, tt.share); got != tt.want {
			t.Errorf("Pays(%s, %d) at %d%% = %d, want %d", tt.outcome, tt.share, tt.p.ShortPercent, got, tt.want)
		}
	}
}

func TestInTurn(t *testing.T) {
	t.Parallel()
	p := Payer{Transports: []Transport{DropReply, Honest, Reset}, Acknowledgements: []Acknowledgement{Late}}
	var got []string
	for number := int64(0); number <= 5; number++ {
		got = append(got, string(p.TransportOf(number)))
	}
	if text, want := strings.Join(got, " "), "HONEST DROP_REPLY HONEST RESET DROP_REPLY HONEST"; text != want {
		t.Errorf("transports %s, want %s", text, want)
	}
	if got := p.AcknowledgementOf(9); got != Late {
		t.Errorf("acknowledgement %s, want LATE", got)
	}
	if got := (Payer{}).AcknowledgementOf(9); got != Once {
		t.Errorf("acknowledgement %s, want ONCE", got)
	}
}

func TestParseRefuses(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ content, says string }{
		{`{"code":"a/b"}`, "code"},
		{`{"code":""}`, "code"},
		{`{"code":"a","outcomes":{"MAYBE":1}}`, "MAYBE"},
		{`{"code":"a","outcomes":{"ACCEPT":-1}}`, "weight"},
		{`{"code":"a","claims":{"C-1":{"outcome":"?"}}}`, "C-1"},
		{`{"code":"a","again":"?"}`, "again"},
		{`{"code":"a","short_percent":101}`, "short_percent"},
		{`{"code":"a","transports":["FAST"]}`, "FAST"},
		{`{"code":"a","acknowledgements":["NEVER"]}`, "NEVER"},
		{`{"code":"a","callback_url":"nowhere"}`, "callback_url"},
		{`{"code":"a","callback_url":"https://shop.example/in","callback_secret":"whsec_AAAA"}`, "callback_secret"},
		{`{"code":"a","speed":1}`, "speed"},
		{`{"code":"a"} {}`, "follows"},
	} {
		if _, err := Parse([]byte(tt.content)); err == nil || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("Parse(%s) = %v, want an error about %s", tt.content, err, tt.says)
		}
	}
}

func TestReadFile(t *testing.T) {
	t.Parallel()
	name := filepath.Join(t.TempDir(), "payers.json")
	if err := os.WriteFile(name, []byte(`{"payers":[{"code":"a","name":"A (invented)"},{"code":"b"}]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	payers, err := ReadFile(name)
	if err != nil || len(payers) != 2 || payers[0].Name != "A (invented)" {
		t.Errorf("ReadFile = %v, %v, want two payers", payers, err)
	}
	if err := os.WriteFile(name, []byte(`{"payers":[{"code":"?"}]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadFile(name); err == nil {
		t.Errorf("a bad payer in the file: nil, want an error")
	}
}
