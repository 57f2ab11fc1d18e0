package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"google.golang.org/protobuf/proto"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/say"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

func repairAddress(id string) string { return "/repairs/" + url.PathEscape(id) }

// listRepairs lists records, and the files that were brought in last.
func listRepairs(v *visit) error {
	answer, err := v.Jobs.ListJobs(v.ctx(), &jobsv1.ListJobsRequest{PageSize: 50, PageToken: v.r.FormValue("page")})
	if err != nil {
		return err
	}
	files, err := v.Jobs.ListImports(v.ctx(), &jobsv1.ListImportsRequest{PageSize: 5})
	if err != nil {
		return err
	}
	view := page.Repairs{Jobs: answer.GetJobs(), Next: nextPage(v.r, answer.GetNextPageToken()), Lead: repairsLead(len(answer.GetJobs()), answer.GetNextPageToken() != "")}
	for _, f := range files.GetImports() {
		name := f.GetFileName()
		if f.GetIsPreview() {
			name = "Preview of " + name
		}
		view.Imports = append(view.Imports, page.ImportLine{Href: importAddress(f.GetImportId()), Name: name, Sentence: importSentence(f), When: v.voice.Moment(f.GetCreateTime())})
	}
	view.Head = v.head("Repairs", page.HereRepairs)
	return v.show(http.StatusOK, page.RepairsPage(view))
}

func repairsLead(n int, hasMore bool) page.Lead {
	switch {
	case n == 0:
		return page.Lead{Strong: "No repair is recorded yet.", Rest: "A shop system sends each as it is done; one that only exports files brings them in here."}
	case n == 1:
		return page.Lead{Strong: "1 repair", Rest: "is recorded."}
	case hasMore:
		return page.Lead{Strong: fmt.Sprintf("The newest %d repairs,", n), Rest: "and more below them."}
	}
	return page.Lead{Strong: say.Count(n, "repair,", "repairs,"), Rest: "the newest first."}
}

// versionsShown is how many versions of a record the page lists.
const versionsShown = 20

// showRepair shows a record, in its present version or the one that the address names.
func showRepair(v *visit) error {
	var version int32
	if text := v.r.FormValue("version"); text != "" {
		if _, err := fmt.Sscanf(text, "%d", &version); err != nil || version < 1 {
			return errNoPage
		}
	}
	id := v.r.PathValue("id")
	shown, err := v.Jobs.GetJob(v.ctx(), &jobsv1.GetJobRequest{JobId: id, Version: version})
	if err != nil {
		return errGone(err)
	}
	present := shown.GetJob()
	if version != 0 {
		answer, err := v.Jobs.GetJob(v.ctx(), &jobsv1.GetJobRequest{JobId: id})
		if err != nil {
			return err
		}
		present = answer.GetJob()
	}
	versions, err := v.versions(present, shown.GetJob())
	if err != nil {
		return err
	}
	view := page.Repair{Claim: v.recordView(shown), Versions: versions}
	if job := shown.GetJob(); job.GetVersion() != present.GetVersion() {
		view.Present = repairAddress(id)
	}
	view.Head = v.head("Repair "+shown.GetJob().GetRecord().GetExternalReference(), page.HereRepairs)
	return v.show(http.StatusOK, page.RepairPage(view))
}

// recordView fills what a claim's page shows of the record alone.
func (v *visit) recordView(shown *jobsv1.GetJobResponse) page.Claim {
	job := shown.GetJob()
	said := make([]*findingsv1.Finding, len(job.GetFindings()))
	for i, f := range job.GetFindings() {
		said[i] = proto.CloneOf(f)
		said[i].Path = "job." + strings.TrimPrefix(f.GetPath(), "record.")
	}
	// What belongs to a process stands there already: damagesOf takes it from the job.
	places := placed(said)
	for at := range places.by {
		if strings.HasPrefix(at, "p-") {
			delete(places.by, at)
		}
	}
	k := known{job: job, photos: shown.GetPhotos()}
	view := page.Claim{Job: job, Record: facts(v.voice, job, places), Others: places.others, Damages: damagesOf(v.shop, job, places),
		GlassFindings: places.by["glass"], Lead: repairLead(v.voice, job)}
	view.Photos, view.PhotoFindings = photosOf(v.voice, k, places)
	if drawing, ok := drawingOf(job); ok {
		view.Plate = &drawing
	}
	return view
}

func repairLead(v *say.Voice, job *jobsv1.Job) page.Lead {
	damages := job.GetRecord().GetDamages()
	repaired := 0
	for _, d := range damages {
		if d.GetOutcome() == jobsv1.Outcome_OUTCOME_REPAIRED {
			repaired++
		}
	}
	return page.Lead{Strong: fmt.Sprintf("%d of %s repaired", repaired, say.Count(len(damages), "damage was", "damages were")),
		Rest: "on " + v.Day(job.GetRepairDate()) + " by " + job.GetRecord().GetTechnician() + ".", Also: vehicleWords(job)}
}

// vehicleWords says what the number tells, and by which table.
func vehicleWords(job *jobsv1.Job) string {
	if job.GetVehicleSource() == "" {
		return job.GetVehicleDescription()
	}
	return job.GetVehicleDescription() + ", by " + job.GetVehicleSource() + "."
}

// versions lists the versions of a record, the present one first.
func (v *visit) versions(present, shown *jobsv1.Job) ([]page.RepairVersion, error) {
	var all []page.RepairVersion
	for n := present.GetVersion(); n > 0 && len(all) < versionsShown; n-- {
		job := present
		switch {
		case n == shown.GetVersion():
			job = shown
		case n != present.GetVersion():
			answer, err := v.Jobs.GetJob(v.ctx(), &jobsv1.GetJobRequest{JobId: present.GetJobId(), Version: n})
			if err != nil {
				return nil, err
			}
			job = answer.GetJob()
		}
		all = append(all, page.RepairVersion{Number: n, Href: fmt.Sprintf("%s?version=%d", repairAddress(job.GetJobId()), n),
			Stamp: v.voice.Stamp(job.GetRecordTime()), When: v.voice.Moment(job.GetRecordTime()), By: "recorded by " + job.GetRecordedBy(),
			Reason: job.GetAmendReason(), IsShown: n == shown.GetVersion()})
	}
	return all, nil
}
