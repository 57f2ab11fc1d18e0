// Command testreport runs `go test -json` and shows what go test would show, plus what it hides:
// every test that did not run, with the command that would bring what it needs.
//
// It refuses silence: a test that skips must print a line `NOT RUN: <what> - <command>`, a skip
// without one is a failure. With -strict a NOT RUN is a failure too.
package main

import (
	"bufio"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
)

func main() {
	dir := flag.String("dir", ".", "folder to run go test in")
	strict := flag.Bool("strict", false, "fail when a test did not run")
	flag.Parse()
	code, err := run(*dir, *strict, flag.Args())
	if err != nil {
		fmt.Fprintln(os.Stderr, "testreport:", err)
		code = 1
	}
	os.Exit(code)
}

func run(dir string, strict bool, args []string) (int, error) {
	test := exec.Command("go", append([]string{"test", "-json"}, args...)...)
	test.Dir = dir
	test.Stderr = os.Stderr
	events, err := test.StdoutPipe()
	if err != nil {
		return 1, err
	}
	if err := test.Start(); err != nil {
		return 1, fmt.Errorf("start go test: %w", err)
	}
	report := newReport(os.Stdout)
	readErr := read(events, report)
	waitErr := test.Wait()
	if readErr != nil {
		return 1, readErr
	}
	passed := report.finish(strict)
	if waitErr != nil && passed {
		return 1, fmt.Errorf("go test: %w", waitErr)
	}
	if !passed {
		return 1, nil
	}
	return 0, nil
}

// read feeds the report with every event. A line that is no event is passed on as it is: go test
// writes such lines when it cannot even begin.
func read(events io.Reader, report *report) error {
	lines := bufio.NewReader(events)
	for {
		line, err := lines.ReadBytes('\n')
		if len(line) > 0 {
			var e event
			if json.Unmarshal(line, &e) == nil && e.Action != "" {
				report.add(e)
			} else {
				report.out.Write(line)
			}
		}
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("read the events of go test: %w", err)
		}
	}
}
