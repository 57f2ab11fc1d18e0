package jobsrpc_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/jobs"
)

// neighbours are records that lie just within what the catalogue goes just beyond.
func neighbours() map[string]func(*jobsv1.RepairRecord) {
	all := map[string]func(*jobsv1.RepairRecord){
		"twenty damages": func(m *jobsv1.RepairRecord) { more(m, 20) },
		"fifty cycles": func(m *jobsv1.RepairRecord) {
			m.Damages[0].Process.VacuumSeconds, m.Damages[0].Process.PressureSeconds = make([]int32, 50), make([]int32, 50)
		},
		"finished when it began": func(m *jobsv1.RepairRecord) { m.FinishTime = m.StartTime },
		"line breaks in a note":  func(m *jobsv1.RepairRecord) { m.Damages[0].Note = "one\r\ntwo\tthree" },
		"an e-mail address of 200 characters": func(m *jobsv1.RepairRecord) {
			m.Motorist.Email = "j@" + strings.Repeat(strings.Repeat("a", 47)+".", 4) + "exampl"
		},
	}
	for _, field := range texts() {
		// The reference of the record is the test's own.
		if field.most > 0 && field.path != "external_reference" && field.path != "coverage.payer_code" {
			all[field.path+" as long as it may be"] = func(m *jobsv1.RepairRecord) { *field.at(m) = strings.Repeat("ä", field.most) }
		}
	}
	for _, field := range decimals() {
		step := map[string]float64{"OUT_OF_RANGE": 10}[field.reason]
		switch {
		case strings.HasSuffix(field.path, "degrees"):
			step = 1e6
		case step == 0 || strings.HasSuffix(field.path, "_mm"):
			step = 100
		}
		for name, value := range map[string]float64{"least": (math.Round(field.below*step) + 1) / step, "most": (math.Round(field.above*step) - 1) / step} {
			all[field.path+" at its "+name] = func(m *jobsv1.RepairRecord) {
				if field.within == "" && !strings.HasSuffix(field.path, "degrees") {
					bare(m)
				}
				*field.at(m) = &value
			}
		}
	}
	for _, field := range wholes() {
		for _, n := range []int64{field.least, field.most} {
			all[fmt.Sprint(field.path, " of ", n)] = func(m *jobsv1.RepairRecord) {
				bare(m)
				more(m, 20)
				m.Damages[0].LegCount, m.Damages[0].LongLegCount = proto.Int32(100), proto.Int32(0)
				field.set(m, n)
			}
		}
	}
	for _, field := range times() {
		for name, at := range map[string]time.Time{"as late as may be": now.Add(jobs.Ahead), "of the year 2000": time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)} {
			all[field.path+" "+name] = func(m *jobsv1.RepairRecord) {
				*field.at(m) = timestamppb.New(at)
				if field.path == "start_time" || field.path == "finish_time" {
					m.StartTime, m.FinishTime = timestamppb.New(at), timestamppb.New(at)
				}
			}
		}
	}
	return all
}

// bare takes the sizes out that a size is held against.
func bare(m *jobsv1.RepairRecord) {
	m.Glass = &jobsv1.Glass{}
	m.Damages[0] = &jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_COMBINATION_BREAK, Outcome: jobsv1.Outcome_OUTCOME_REPAIRED, Process: &jobsv1.Process{}}
	m.Damages[1].Place = nil
}

// more adds damages until there are n.
func more(m *jobsv1.RepairRecord, n int) {
	for len(m.Damages) < n {
		m.Damages = append(m.Damages, &jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_BULLSEYE, Outcome: jobsv1.Outcome_OUTCOME_DECLINED})
	}
}

// TestSoundNeighbours: what lies just within a bound is recorded.
func TestSoundNeighbours(t *testing.T) {
	t.Parallel()
	w := start(t)
	sound, before := w.sound("V-1"), w.Count("jobs")
	n := 0
	for name, change := range neighbours() {
		n++
		request, _ := proto.Clone(sound).(*jobsv1.RecordJobRequest)
		request.RequestId, request.Record.ExternalReference = fmt.Sprint("r-", n), fmt.Sprint("V-", n)
		change(request.Record)
		if _, err := w.Jobs.RecordJob(t.Context(), request); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if got := w.Count("jobs"); got != before+n && !t.Failed() {
		t.Errorf("%d jobs, want %d", got, before+n)
	}
	t.Logf("%d neighbours", n)
}
