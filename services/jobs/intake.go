package jobs

import (
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
)

// ImportContentFor is how long the file of an import is kept after the import ended. Its report, its
// mapping and its hash stay.
const ImportContentFor = 30 * 24 * time.Hour

// The caps of a file.
const (
	MaxIntakeBytes = 4 << 20
	MaxIntakeRows  = 10_000
)

// IntakeFormat reads one form of the files of shop systems. Implementations have no state.
type IntakeFormat interface {
	// Name is how mappings name it, "csv".
	Name() string
	// Read takes a file apart by a mapping in which CheckMapping found nothing. A file that cannot be
	// read at all, or that lacks a column of the mapping, is refused whole with an errs.Invalid error
	// whose fields name every such fault. What is wrong with a single record stands with it. Equal
	// input gives equal records in equal order, so that reading may stop anywhere and begin anew.
	Read(content []byte, m Mapping) (Intake, error)
}

// Intake is a file as it was read.
type Intake struct {
	// Records are never none.
	Records []IntakeRecord
	// UnusedColumns are those that the mapping does not name, in the order of the file.
	UnusedColumns []string
}

// IntakeRecord is one record of a file.
type IntakeRecord struct {
	// Rows are the numbers of its rows, from 1 for the first below the names of the columns.
	Rows []int
	// Line is the line of the file on which it begins, as an editor counts them.
	Line int
	// Reference is its external reference, as far as it could be read.
	Reference string
	// Text is the record in JSON as RecordJob takes it, without what could not be read.
	Text []byte
	// Faults are of cells that could not be read; their paths are those of RecordJob.
	Faults []errs.Field
	// Locate tells which cell stands for a path, "damages[0].spread_mm"; ok is false when no column
	// does.
	Locate func(path string) (cell Cell, ok bool)
}

// Cell is one cell of a file.
type Cell struct {
	Column string
	Line   int
	// Text is what stands in it; empty when nothing does.
	Text string
}

// ImportState is how far an import is.
type ImportState string

// The states.
const (
	ImportReceived ImportState = "RECEIVED"
	ImportRunning  ImportState = "RUNNING"
	ImportDone     ImportState = "DONE"
	ImportFailed   ImportState = "FAILED"
)

// ImportOutcome is what became of a record.
type ImportOutcome string

// The outcomes; Acceptable is of previews only.
const (
	Recorded   ImportOutcome = "RECORDED"
	Known      ImportOutcome = "KNOWN"
	Conflict   ImportOutcome = "CONFLICT"
	Refused    ImportOutcome = "REFUSED"
	Acceptable ImportOutcome = "ACCEPTABLE"
)

// ImportOutcomes are all outcomes.
var ImportOutcomes = []ImportOutcome{Recorded, Known, Conflict, Refused, Acceptable}

// Import is one file and how far it is.
type Import struct {
	ID        ident.Import
	State     ImportState
	IsPreview bool
	FileName  string
	// FileHash is the SHA-256 of its bytes.
	FileHash []byte
	// Mapping is as it was when the file came; it names a time zone and a currency.
	Mapping Mapping
	// Records counts those of the file, Done those with a row in the report.
	Records, Done int
	// Counts of outcomes; Recorded counts the acceptable ones of a preview.
	Recorded, Known, Conflicts, Refused int
	UnusedColumns                       []string
	CreateTime                          time.Time
	// FinishTime is nil before the last record was done.
	FinishTime *time.Time
	CreatedBy  string
	// Failure says why a stored file cannot be read any more.
	Failure string
}

// ImportRow is what became of one record of a file.
type ImportRow struct {
	// Number is the record's, from 1.
	Number int
	Line   int
	Rows   []int
	// Reference is cut to what a report can hold.
	Reference string
	Outcome   ImportOutcome
	// Job is empty when there is none.
	Job    ident.Job
	Faults []ImportFault
}

// ImportFault is one fault of a record, in the file's own terms.
type ImportFault struct {
	Path     string `json:"path"`
	Reason   string `json:"reason"`
	Column   string `json:"column,omitempty"`
	Line     int    `json:"line,omitempty"`
	Given    string `json:"given,omitempty"`
	Sentence string `json:"sentence"`
}
