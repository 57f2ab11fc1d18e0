package main

import (
	"cmp"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
)

// event is one line of `go test -json`; see `go doc test2json`.
type event struct {
	Action  string
	Package string
	Test    string
	Output  string
	Elapsed float64
}

type timing struct {
	name    string
	seconds float64
}

type report struct {
	out io.Writer
	// pending holds the output of what still runs, by package and test.
	pending map[[2]string]*strings.Builder
	// order holds the tests of a package in the order in which they first spoke.
	order map[string][]string
	// silent holds the tests of a package that skipped without a word of their own; told holds the
	// packages that said NOT RUN. What parallel tests print may be ascribed to one another, so
	// silence is judged for the package.
	silent map[string][]string
	told   map[string]bool

	passed, failed, skipped int
	packages                []timing
	faults                  []string
	notRun                  []string
}

func newReport(out io.Writer) *report {
	return &report{
		out:     out,
		pending: map[[2]string]*strings.Builder{},
		order:   map[string][]string{},
		silent:  map[string][]string{},
		told:    map[string]bool{},
	}
}

var notRunLine = regexp.MustCompile(`NOT RUN: (.*\S)`)

func (r *report) add(e event) {
	switch e.Action {
	case "output":
		r.hear(e)
	case "build-output":
		fmt.Fprint(r.out, e.Output)
	case "pass", "fail", "skip":
		if e.Test == "" {
			r.endPackage(e)
		} else {
			r.endTest(e)
		}
	}
}

func (r *report) hear(e event) {
	for _, found := range notRunLine.FindAllStringSubmatch(e.Output, -1) {
		r.notRun = append(r.notRun, found[1]+"  ("+e.Package+")")
		r.told[e.Package] = true
	}
	if e.Test == "" && isVerdict(e.Output) {
		return // It is shown when the package has ended, after what explains it.
	}
	key := [2]string{e.Package, e.Test}
	if r.pending[key] == nil {
		r.pending[key] = &strings.Builder{}
		r.order[e.Package] = append(r.order[e.Package], e.Test)
	}
	r.pending[key].WriteString(e.Output)
}

func isVerdict(line string) bool {
	return line == "PASS\n" || line == "FAIL\n" || strings.HasPrefix(line, "ok  \t") ||
		strings.HasPrefix(line, "FAIL\t") || strings.HasPrefix(line, "?   \t")
}

func (r *report) endTest(e event) {
	key := [2]string{e.Package, e.Test}
	switch e.Action {
	case "pass":
		r.passed++
		delete(r.pending, key)
	case "fail":
		r.failed++ // Its output stays pending and is shown with its package.
	case "skip":
		r.skipped++
		if text := r.pending[key]; text == nil || !notRunLine.MatchString(text.String()) {
			r.silent[e.Package] = append(r.silent[e.Package], e.Test)
		}
		delete(r.pending, key)
	}
}

func (r *report) endPackage(e event) {
	tests := r.order[e.Package]
	delete(r.order, e.Package)
	for _, test := range tests {
		key := [2]string{e.Package, test}
		if text := r.pending[key]; text != nil && e.Action == "fail" {
			fmt.Fprint(r.out, text.String())
		}
		delete(r.pending, key)
	}
	if silent := r.silent[e.Package]; len(silent) > 0 && !r.told[e.Package] {
		r.faults = append(r.faults, fmt.Sprintf(
			"%s %s skips without saying `NOT RUN: <what> - <command that brings it>`",
			e.Package, strings.Join(silent, ", ")))
	}
	switch e.Action {
	case "pass":
		fmt.Fprintf(r.out, "ok  \t%s\t%.3fs\n", e.Package, e.Elapsed)
		r.packages = append(r.packages, timing{e.Package, e.Elapsed})
	case "fail":
		fmt.Fprintf(r.out, "FAIL\t%s\t%.3fs\n", e.Package, e.Elapsed)
		r.faults = append(r.faults, e.Package+" fails")
	case "skip":
		fmt.Fprintf(r.out, "?   \t%s\t[no test files]\n", e.Package)
	}
}

// finish prints the summary and tells whether all is well.
func (r *report) finish(strict bool) bool {
	slices.SortFunc(r.packages, func(a, b timing) int { return cmp.Compare(b.seconds, a.seconds) })
	fmt.Fprintf(r.out, "\n%d packages ok; tests: %d passed, %d failed, %d skipped\n",
		len(r.packages), r.passed, r.failed, r.skipped)
	for _, p := range r.packages[:min(5, len(r.packages))] {
		fmt.Fprintf(r.out, "  %7.1f s  %s\n", p.seconds, p.name)
	}
	if len(r.packages) == 0 && len(r.faults) == 0 {
		r.faults = append(r.faults, "no test ran at all")
	}
	slices.Sort(r.notRun)
	r.notRun = slices.Compact(r.notRun)
	for _, what := range r.notRun {
		fmt.Fprintln(r.out, "NOT RUN:", what)
	}
	if strict && len(r.notRun) > 0 {
		r.faults = append(r.faults, "tests that did not run are refused here (-strict)")
	}
	for _, fault := range r.faults {
		fmt.Fprintln(r.out, "FAULT:", fault)
	}
	return len(r.faults) == 0
}
