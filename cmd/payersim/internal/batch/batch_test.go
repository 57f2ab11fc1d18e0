package batch

import (
	"strings"
	"testing"
)

const good = `{"schema":"cullet.batch/1","control_number":17,"build_time":"2026-10-21T01:30:00Z",
"shop_name":"Harbourline Glass Repair (invented)","payer_code":"lantern-mutual","is_test":true,"claim_count":2,
"payer_share":{"minor_units":17410,"currency_code":"USD"},"later_member":1,
"claims":[{"claim_number":"C-1","invoice_number":"INV-1","totals":{"payer_share":{"minor_units":7995,"currency_code":"USD"}}},
{"claim_number":"C-2","totals":{"payer_share":{"minor_units":9415,"currency_code":"USD"},"other":1}}]}`

func TestParse(t *testing.T) {
	t.Parallel()
	b, err := Parse([]byte(good))
	if err != nil {
		t.Fatal(err)
	}
	if b.ControlNumber != 17 || b.PayerCode != "lantern-mutual" || !b.IsTest || len(b.Claims) != 2 ||
		b.Claims[0] != (Claim{"C-1", "INV-1", Amount{7995, "USD"}}) {
		t.Errorf("Parse = %+v", b)
	}
}

func TestParseRefuses(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ old, new, says string }{
		{"cullet.batch/1", "cullet.batch/2", "schema"},
		{":17,", ":0,", "control_number"},
		{`"payer_code":"lantern-mutual"`, `"payer_code":""`, "payer_code"},
		{`"claim_count":2`, `"claim_count":3`, "claim_count"},
		{":17410,", ":17411,", "sum"},
		{`"C-2"`, `"C-1"`, "twice"},
		{`"C-2"`, `""`, "claim_number"},
		{":7995,", ":-7995,", "negative"},
		{`9415,"currency_code":"USD"`, `9415,"currency_code":"CAD"`, "CAD"},
		{`"claims":[{`, `"claims":[{]`, "JSON"},
	} {
		spoiled := strings.Replace(good, tt.old, tt.new, 1)
		if spoiled == good {
			t.Fatalf("%q is not in the document", tt.old)
		}
		if b, err := Parse([]byte(spoiled)); err == nil || !strings.Contains(err.Error(), tt.says) || b.Claims != nil {
			t.Errorf("%s for %s: %+v, %v, want an error about %s", tt.new, tt.old, b, err, tt.says)
		}
	}
}
