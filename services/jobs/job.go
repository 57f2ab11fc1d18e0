package jobs

import (
	"time"

	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/repairability"
)

// Job is a repair record as stored, in one version.
type Job struct {
	ID      ident.Job
	Shop    ident.Shop
	Version int
	Record  Record
	// Assessments has one per damage, made when the version was recorded.
	Assessments []repairability.Assessment
	// Findings are the cautions and notes that recording left.
	Findings   []finding.Finding
	RecordTime time.Time
	RecordedBy string
	// AmendReason is empty in version 1.
	AmendReason string
}
