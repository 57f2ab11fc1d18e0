package main

import (
	"strings"
	"testing"
)

func TestReport(t *testing.T) {
	t.Parallel()
	const ok = `{"Action":"pass","Package":"p","Elapsed":0.5}` + "\n"
	tests := []struct {
		name, events string
		strict       bool
		passes       bool
		want         string
		wantNot      string
	}{
		{"AcceptsWhatPasses",
			`{"Action":"output","Package":"p","Test":"T","Output":"chatter\n"}
{"Action":"pass","Package":"p","Test":"T"}
` + ok, true, true, "ok  \tp\t0.500s\n", "chatter"},
		{"ShowsWhyATestFails",
			`{"Action":"output","Package":"p","Test":"T","Output":"got 1, want 2\n"}
{"Action":"fail","Package":"p","Test":"T"}
{"Action":"output","Package":"p","Output":"FAIL\tp\t0.1s\n"}
{"Action":"fail","Package":"p"}
`, false, false, "got 1, want 2\nFAIL\tp", ""},
		{"ShowsAPanicOutsideAnyTest",
			`{"Action":"output","Package":"p","Output":"panic: boom\n"}
{"Action":"fail","Package":"p"}
`, false, false, "panic: boom", ""},
		{"ShowsABuildError",
			`{"Action":"build-output","ImportPath":"p","Output":"x.go:1: undefined\n"}
{"Action":"fail","Package":"p"}
`, false, false, "x.go:1: undefined", ""},
		{"ListsWhatDidNotRun",
			`{"Action":"output","Package":"p","Test":"T","Output":" x.go:1: NOT RUN: a - b\n"}
{"Action":"skip","Package":"p","Test":"T"}
` + ok, false, true, "NOT RUN: a - b  (p)\n", "FAULT"},
		{"RefusesWhatDidNotRunWhenStrict",
			`{"Action":"output","Package":"p","Test":"T","Output":" x.go:1: NOT RUN: a - b\n"}
{"Action":"skip","Package":"p","Test":"T"}
` + ok, true, false, "NOT RUN: a - b  (p)\n", ""},
		{"RefusesASilentSkip",
			`{"Action":"output","Package":"p","Test":"T","Output":" x.go:1: later\n"}
{"Action":"skip","Package":"p","Test":"T"}
` + ok, false, false, "FAULT: p T skips", ""},
		{"RefusesARunOfNothing", "", false, false, "FAULT: no test ran at all", ""},
		{"PassesOnWhatIsNoEvent", "go: cannot find main module\n", false, false,
			"go: cannot find main module\n", ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			var out strings.Builder
			report := newReport(&out)
			if err := read(strings.NewReader(test.events), report); err != nil {
				t.Fatal(err)
			}
			if got := report.finish(test.strict); got != test.passes {
				t.Errorf("got passed = %t, want %t", got, test.passes)
			}
			if !strings.Contains(out.String(), test.want) {
				t.Errorf("got\n%s\nwant it to contain\n%s", out.String(), test.want)
			}
			if test.wantNot != "" && strings.Contains(out.String(), test.wantNot) {
				t.Errorf("got\n%s\nwant it not to contain\n%s", out.String(), test.wantNot)
			}
		})
	}
}
