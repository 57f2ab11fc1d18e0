package webhook

import (
	"encoding/json"
	"strings"
	"testing"
)

func TestStrictJSON(t *testing.T) {
	t.Parallel()
	tests := []struct{ body, reason, place string }{
		{`{"a":1}`, "", ""},
		{`[{"a":1},{"a":2}]`, "", ""},
		{` null `, "", ""},
		{`{"":1,"a":{"":1}}`, "", ""},
		{`{"a":1,"a":2}`, ReasonJSONKeyRepeated, "the body"},
		{`{"answers":[{"x":0},{"state":1,"state":2}]}`, ReasonJSONKeyRepeated, "answers[1]"},
		{`{"vin":1,"VIN":2}`, ReasonJSONKeyCase, "the body"},
		{`{"a":{"b":{"Vin":1,"vIn":2}}}`, ReasonJSONKeyCase, "a.b"},
		{`{"":1,"":2}`, ReasonJSONKeyRepeated, "the body"},
		{`{"\ud800":1,"\ud801":2}`, ReasonJSONKeyRepeated, "the body"},
		{`{"groß":1,"GROẞ":2}`, ReasonJSONKeyCase, "the body"},
		{``, ReasonJSONForm, ""},
		{`{"a":1}x`, ReasonJSONForm, ""},
		{`{"a":1,}`, ReasonJSONForm, ""},
		{`{'a':1}`, ReasonJSONForm, ""},
		{`{"a":01}`, ReasonJSONForm, ""},
		{"{\"a\":\"\xff\"}", ReasonJSONForm, ""},
		{"\ufeff{}", ReasonJSONForm, ""},
		{strings.Repeat("[", 65) + strings.Repeat("]", 65), "", ""},
		{strings.Repeat("[", 66) + strings.Repeat("]", 66), ReasonJSONDepth, ""},
		{strings.Repeat(`{"a":`, 66) + "1" + strings.Repeat("}", 66), ReasonJSONDepth, ""},
		{strings.Repeat("[", 100_000), ReasonJSONForm, ""},
	}
	for _, tt := range tests {
		err := StrictJSON([]byte(tt.body))
		if got := reasonOf(err); got != tt.reason || (err == nil) != (tt.reason == "") {
			t.Errorf("StrictJSON(%.60s) = %v, want %q", tt.body, err, tt.reason)
			continue
		}
		if tt.place != "" && !strings.Contains(err.Error(), tt.place) {
			t.Errorf("StrictJSON(%.60s) = %v, want the place %q in it", tt.body, err, tt.place)
		}
	}
}

// TestWhyJSONIsStrict shows what encoding/json does with what StrictJSON refuses.
func TestWhyJSONIsStrict(t *testing.T) {
	t.Parallel()
	var v struct {
		State string `json:"state"`
	}
	if err := json.Unmarshal([]byte(`{"state":"ACCEPTED","STATE":"DENIED"}`), &v); err != nil || v.State != "DENIED" {
		t.Errorf("encoding/json gives %q, %v; it used to give the last one", v.State, err)
	}
}

func FuzzStrictJSON(f *testing.F) {
	for _, body := range []string{`{"a":[1,{"b":null}]}`, `{"a":1,"A":2}`, `[]`, `"x"`, `{"\ud800":1}`} {
		f.Add([]byte(body))
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		if StrictJSON(body) == nil && !json.Valid(body) {
			t.Errorf("StrictJSON takes %q, which is not JSON", body)
		}
	})
}
