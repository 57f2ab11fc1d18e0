package rpc

import (
	"os"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/internal/rpc/wire"
	"cullet/services/jobs"
)

// BenchmarkRecordCheck measures what a repair record without a fault costs to check, against validator/v10
// alone on the same record with its tags. "check" is the tags and jobs.Check; "whole" is all that RecordJob
// does before it looks into the database: the guard's walk over the message, reading it, the tags and
// jobs.Check. All are measured in turn, 15 rounds of 2,000; a figure is the median of the rounds' ratios.
// One operation is all rounds.
func BenchmarkRecordCheck(b *testing.B) {
	text, err := os.ReadFile("../../jobs/testdata/record.json")
	if err != nil {
		b.Fatal(err)
	}
	m := &jobsv1.RepairRecord{}
	if err := protojson.Unmarshal(text, m); err != nil {
		b.Fatal(err)
	}
	request, at := &jobsv1.RecordJobRequest{Record: m}, m.GetFinishTime().AsTime().Add(time.Minute)
	record, _ := wire.FromRecord(m)
	tags := func() int { return len(Validate("record", &record)) }
	check := func() int { return tags() + len(jobs.Check(&record, at)) }
	whole := func() int {
		n := len(checkRequest(request, rule{}))
		read, faults := wire.FromRecord(m)
		return n + len(faults) + len(Validate("record", &read)) + len(jobs.Check(&read, at))
	}
	for b.Loop() {
		var checks, wholes, floors []float64
		for range 15 {
			floor := spent(b, tags)
			floors = append(floors, floor)
			checks, wholes = append(checks, spent(b, check)/floor), append(wholes, spent(b, whole)/floor)
		}
		b.ReportMetric(middle(checks), "x-validator-check")
		b.ReportMetric(middle(wholes), "x-validator-whole")
		b.ReportMetric(middle(floors), "us/validator")
	}
}

// spent is how many microseconds one run takes; a fault ends the benchmark.
func spent(b *testing.B, run func() int) float64 {
	const runs = 2000
	begin := time.Now()
	for range runs {
		if n := run(); n > 0 {
			b.Fatalf("%d faults", n)
		}
	}
	return float64(time.Since(begin).Nanoseconds()) / runs / 1000
}

func middle(of []float64) float64 {
	slices.Sort(of)
	return of[len(of)/2]
}
