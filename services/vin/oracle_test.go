package vin

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

const oracleNumbers = 100_000

// TestIndependentReadingsAgree compares ours with two independent implementations from the npm
// registry, vin-validator 1.0.0 (ISC) and @vroomlabs/vin-validate 1.0.2 (MIT), on generated
// numbers of which half have a wrong check digit: the same digit, the same verdict, the same
// latest model year. There is no difference to explain but one: where position 10 is no year code
// the second one answers 2009 and its thirty-year steps all the same, and ours answers none.
func TestIndependentReadingsAgree(t *testing.T) {
	t.Parallel()
	folder := filepath.Join("..", "..", ".ci", "oracles", "vin")
	if _, err := os.Stat(filepath.Join(folder, "node_modules")); err != nil {
		notRun(t, "comparison with two independent implementations")
	}
	if _, err := exec.LookPath("node"); err != nil {
		notRun(t, "comparison with two independent implementations (no node)")
	}
	numbers := generate(oracleNumbers)
	node := exec.Command("node", "read.mjs")
	node.Dir, node.Stdin, node.Stderr = folder, strings.NewReader(strings.Join(numbers, "\n")), os.Stderr
	out, err := node.Output()
	if err != nil {
		t.Fatalf("node read.mjs: %v", err)
	}
	lines := bytes.Split(bytes.TrimSpace(out), []byte("\n"))
	if len(lines) != oracleNumbers {
		t.Fatalf("answers: got %d, want %d", len(lines), oracleNumbers)
	}
	now, passing, illegal := time.Now().UTC(), 0, 0
	for i, line := range lines {
		passed, noYear := compare(t, numbers[i], string(line), now)
		passing, illegal = passing+passed, illegal+noYear
	}
	if passing < oracleNumbers/3 || passing > oracleNumbers*2/3 || illegal == 0 {
		t.Errorf("passing %d, without a year code %d of %d: the sample is lopsided", passing, illegal, oracleNumbers)
	}
	t.Logf("%d numbers agree: %d pass, %d have no year code", oracleNumbers, passing, illegal)
}

// compare holds one answer against ours and tells whether it passed and had no year code.
func compare(t *testing.T, number, line string, now time.Time) (passed, noYear int) {
	t.Helper()
	fields := strings.Split(line, "\t")
	digit, _ := CheckDigit(number)
	if fields[0] != number || fields[1] != strconv.FormatBool(Passes(number)) || fields[2] != string(digit) {
		t.Errorf("%s: got %v %c, want %v", number, Passes(number), digit, fields[1:3])
	}
	latest := Number(number).possibleYears(Said{On: now})
	if strings.IndexByte(yearCodes, number[9]) < 0 {
		if noYear = 1; len(latest) != 0 {
			t.Errorf("%s: got years %v, want none", number, latest)
		}
	} else if len(latest) == 0 || strconv.Itoa(latest[0]) != fields[3] {
		t.Errorf("%s: got years %v, want the latest to be %s", number, latest, fields[3])
	}
	if Passes(number) {
		passed = 1
	}
	return passed, noYear
}

// generate makes numbers of known and unknown makers, every second one with its check digit put
// right, always the same ones.
func generate(n int) []string {
	random := rand.New(rand.NewPCG(17, 565))
	wmis := []string{}
	for wmi := range makers() {
		wmis = append(wmis, wmi[:3])
	}
	slices.Sort(wmis)
	numbers := make([]string, n)
	for i := range numbers {
		number := make([]byte, Length)
		for j := range number {
			number[j] = isoOrder[random.IntN(len(isoOrder))]
		}
		if i%4 < 2 {
			copy(number, wmis[random.IntN(len(wmis))])
		}
		numbers[i] = string(number)
		if i%2 == 0 {
			numbers[i] = withDigit(numbers[i])
		}
	}
	return numbers
}

// notRun says what was not tested and what would bring it; the gate refuses the line.
func notRun(t *testing.T, what string) {
	t.Helper()
	fmt.Printf("NOT RUN: %s - npm ci --prefix .ci/oracles/vin\n", what)
	t.Skip("outside program absent")
}
