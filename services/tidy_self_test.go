package services_test

import (
	"slices"
	"strings"
	"testing"
)

// TestTidyRefuses gives every rule a file that breaks it and one that does not.
func TestTidyRefuses(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("\t_ = 0\n", maxFunctionLines)
	subtests := strings.Repeat("\tt.Run(\"\", func(t *testing.T) {\n\t\t_ = 0\n\t})\n", 30)
	tests := []struct{ rule, name, bad, good string }{
		{"files-are-short", "a.go", strings.Repeat("\n", maxFileLines+1), strings.Repeat("\n", maxFileLines-2)},
		{"functions-fit-a-screen", "a.go", "func f() {\n" + long + "}", "func f() {\n" + long[14:] + "}"},
		{"functions-fit-a-screen", "a.go", "func f() {\n" + subtests + "}", "func f() {}"},
		{"functions-fit-a-screen", "a_test.go", "func f() {\n" + long + "}", "func f() {\n" + subtests + "}"},
		{"functions-fit-a-screen", "a_test.go", "func f() { g(func() {\n" + long + "}) }", ""},
		{"exported-names-are-documented", "a.go", "func F() {}", "// F does.\nfunc F() {}\nfunc f() {}"},
		{"exported-names-are-documented", "a.go", "type T int", "// T is.\ntype T int\ntype t int"},
		{"exported-names-are-documented", "a.go", "const A, b = 1, 2", "// Of both.\nconst (\n\tA = 1\n\tB = 2\n)"},
		{"exported-names-are-documented", "a.go", "func (t *T[K]) M() {}", "func (t *t) M() {}"},
		{"no-init", "a_test.go", "func init() {}", "func (t t) init() {}"},
		{"no-naked-todo", "a.go", "// TO" + "DO: mend", "// TO" + "DO(lee): when rates have history"},
		{"no-floats-near-money", "services/tax/a.go", "var a float64", "var a int64"},
		{"no-floats-near-money", "services/money/x/a.go", "var a = 0.5", "var a = `0.5`"},
		{"no-floats-near-money", "services/pricing/a.go", "type a struct{ b []float32 }", ""},
		{"no-sleep-in-tests", "a_test.go", "func f() { time.Sleep(1) }", "func f() { clock.Sleep(1) }"},
		{"no-forbidden-phrases", "a.go", "// " + phrases[0], "// work"},
	}
	tried := map[string]bool{}
	for _, test := range tests {
		tried[test.rule] = true
		at := slices.IndexFunc(rules, func(r rule) bool { return r.name == test.rule })
		if at < 0 {
			t.Fatalf("there is no rule %q", test.rule)
		}
		if got := rules[at].check(sourceOf(t, test.name, test.bad)); len(got) == 0 {
			t.Errorf("%s: got no complaint of\n%s", test.rule, test.bad)
		}
		if got := rules[at].check(sourceOf(t, test.name, test.good)); len(got) != 0 {
			t.Errorf("%s: got %q, want no complaint of\n%s", test.rule, got, test.good)
		}
	}
	for _, rule := range rules {
		if !tried[rule.name] {
			t.Errorf("nothing shows that the rule %s can be broken", rule.name)
		}
	}
}

func TestTidyRefusesPackages(t *testing.T) {
	t.Parallel()
	sources := []source{
		sourceOf(t, "services/a/a.go", "func f() {}"),
		sourceOf(t, "services/b/b.go", "func f() {}"),
		sourceOf(t, "services/b/b_test.go", ""),
		sourceOf(t, "elsewhere/c.go", "func f() {}"),
	}
	sources[1].file.Doc = sourceOf(t, "x.go", "// Package b is b.").file.Comments[0]
	got := undocumentedPackages(sources)
	want := []string{"elsewhere: no file says what the package is for", "services/a: no file says what the package is for"}
	if !slices.Equal(got, want) {
		t.Errorf("undocumented: got %q, want %q", got, want)
	}
	got = untestedPackages(sources)
	if !slices.Contains(got, "services/a has no test") || slices.Contains(got, "services/b has no test") ||
		slices.Contains(got, "elsewhere has no test") || len(got) != 1+len(untested) {
		t.Errorf("untested: got %q", got)
	}
}

func sourceOf(t *testing.T, name, code string) source {
	t.Helper()
	s, err := parse(name, "package a\n"+code+"\n")
	if err != nil {
		t.Fatalf("%s: %v", code, err)
	}
	return s
}
