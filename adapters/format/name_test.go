package format_test

import (
	"testing"

	"cullet/adapters/format"
	"cullet/services/claims"
)

func TestFileName(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		e    claims.Envelope
		want string
	}{
		{claims.Envelope{PayerCode: "lantern-mutual", ControlNumber: 17}, "claims-lantern-mutual-000000017.edi"},
		{claims.Envelope{PayerCode: "lantern-mutual", ControlNumber: 17, IsTest: true}, "test-claims-lantern-mutual-000000017.edi"},
		{claims.Envelope{PayerCode: "../../x", ControlNumber: 1}, "claims-x-000000001.edi"},
		{claims.Envelope{ControlNumber: 1}, "claims-000000001.edi"},
	} {
		if got := format.FileName(test.e, "edi"); got != test.want {
			t.Errorf("%+v: got %q, want %q", test.e, got, test.want)
		}
	}
}
