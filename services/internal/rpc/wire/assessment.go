package wire

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

// ToAssessments gives the assessments of damages as messages, in their order. Prefix is what the
// paths of their reasons begin with: "record." for a job's, empty for an answer about damages.
func ToAssessments(prefix string, all []repairability.Assessment) []*jobsv1.Assessment {
	messages := make([]*jobsv1.Assessment, len(all))
	for i, a := range all {
		standard := a.Standard
		if a.Edition != "" {
			standard += " " + a.Edition
		}
		messages[i] = &jobsv1.Assessment{DamageNumber: int32(i + 1),
			Verdict:  Value[jobsv1.Verdict](jobsv1.Verdict_value, verdictPrefix, a.Verdict),
			Standard: standard, Clause: a.Clause, Missing: a.Missing, IsInViewingArea: toKnown(a.InViewingArea),
			Reasons: toReasons(fmt.Sprintf("%sdamages[%d]", prefix, i), a.Reasons)}
	}
	return messages
}

// weights tell what a rule's result does to a repair.
var weights = map[repairability.Result]findingsv1.Severity{
	repairability.Over:      findingsv1.Severity_SEVERITY_STOP,
	repairability.Missing:   findingsv1.Severity_SEVERITY_CAUTION,
	repairability.AtLimit:   findingsv1.Severity_SEVERITY_CAUTION,
	repairability.Condition: findingsv1.Severity_SEVERITY_CAUTION,
	repairability.Advice:    findingsv1.Severity_SEVERITY_CAUTION,
	repairability.Within:    findingsv1.Severity_SEVERITY_NOTE,
}

func toReasons(path string, all []repairability.Reason) []*findingsv1.Finding {
	messages := make([]*findingsv1.Finding, len(all))
	for i, r := range all {
		at := path
		if r.Field != "" {
			at += "." + r.Field
		}
		messages[i] = &findingsv1.Finding{Code: r.Code, Severity: weights[r.Result], Path: at, Sentence: r.Sentence,
			Source: ToSource(r.Source)}
	}
	return messages
}

// ToPhoto gives what is known of a photo as a message. The place where it was taken stays here; of it
// the distance from the place of repair is told, which is nil where there is none.
func ToPhoto(p jobs.Photo, place *jobs.Place) *jobsv1.Photo {
	m := &jobsv1.Photo{PhotoHash: string(p.Hash), MediaType: p.MediaType, SizeBytes: p.SizeBytes,
		WidthPixels: int32(p.Width), HeightPixels: int32(p.Height), TakeTime: ToTimeOrNil(p.TakeTime),
		StagedUntilTime: ToTimeOrNil(p.StagedUntil), HasPlace: p.Position != nil}
	if place != nil {
		if metres, ok := p.TakenFrom(*place); ok {
			m.DistanceM = new(int32(metres))
		}
	}
	if q := p.Quality; q != nil {
		m.Sharpness, m.Brightness, m.BlownPercent = new(int32(q.Sharpness)), new(int32(q.Brightness)), new(int32(q.BlownPercent))
	}
	return m
}

// ToJob gives a job as a message, with the etag that AmendJob takes.
func ToJob(j *jobs.Job, etag string) *jobsv1.Job {
	return &jobsv1.Job{JobId: string(j.ID), Version: int32(j.Version), Record: ToRecord(&j.Record),
		Assessments: ToAssessments("record.", j.Assessments), Findings: ToFindings(j.Findings),
		RecordTime: ToTime(j.RecordTime), RecordedBy: j.RecordedBy, AmendReason: j.AmendReason,
		RepairDate: j.Record.RepairDay().Format(time.DateOnly), VehicleDescription: j.Record.VehicleDescription(), Etag: etag,
		VehicleSource: jobs.VehicleSource}
}

// hasFields tells whether a message says anything.
func hasFields(m proto.Message) bool { return proto.Size(m) > 0 }
