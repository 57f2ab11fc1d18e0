package desk

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/plate"
	"cullet/cmd/cullet/internal/desk/say"
	accessv1 "cullet/proto/cullet/access/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// places are findings by what they stand beside.
type places struct {
	// by holds them by the anchor of their place.
	by map[string][]*findingsv1.Finding
	// others have no place of their own on the page.
	others []page.Fact
}

// placed puts each finding where it belongs.
func placed(all []*findingsv1.Finding) places {
	p := places{by: map[string][]*findingsv1.Finding{}}
	for _, f := range all {
		at := anchor(f.GetPath())
		if strings.HasPrefix(at, "x-") && len(p.by[at]) == 0 {
			p.others = append(p.others, page.Fact{ID: at, Label: f.GetPath()})
		}
		p.by[at] = append(p.by[at], f)
	}
	for i := range p.others {
		p.others[i].Findings = p.by[p.others[i].ID]
	}
	return p
}

// damagePath and photoPath find the number in a path.
var (
	damagePath = regexp.MustCompile(`^(?:job|record)\.damages\[(\d+)\](.*)$`)
	photoPath  = regexp.MustCompile(`^job\.photos\[(\d+)\]`)
)

// anchor is the place on the claim's page of what a path names: a field of the coverage, a row of
// the record, a damage, a photo; what belongs nowhere stands in a row of its own, x-.
func anchor(path string) string {
	if name, ok := strings.CutPrefix(path, "coverage."); ok {
		for _, f := range fields {
			if f.name == name {
				return f.id()
			}
		}
	}
	if parts := damagePath.FindStringSubmatch(path); parts != nil {
		n, _ := strconv.Atoi(parts[1])
		switch {
		case strings.HasPrefix(parts[2], ".photos"):
			return fmt.Sprintf("missing-%d-%s", n+1, strings.TrimPrefix(parts[2], ".photos."))
		case strings.HasPrefix(parts[2], ".process"):
			return fmt.Sprintf("p-%d", n+1)
		}
		return fmt.Sprintf("d-%d", n+1)
	}
	if parts := photoPath.FindStringSubmatch(path); parts != nil {
		n, _ := strconv.Atoi(parts[1])
		return fmt.Sprintf("photo-%d", n+1)
	}
	for _, known := range []struct{ prefix, at string }{{"job.glass", "glass"}, {"job.standard_key", "glass"}, {"job.photos", "photos"}, {"job.vehicle", "r-vehicle"}, {"job.damages", "glass"},
		{"job.place_of_repair", "r-place"}, {"shop.address", "r-place"}, {"job.finish_time", "r-day"}, {"job.start_time", "r-day"},
		{"job.work_authorization", "r-signed"}, {"job.payment_authorization", "r-signed"}, {"job.warranty_of_job_id", "r-day"},
		{"lines", "lines"}} {
		if strings.HasPrefix(path, known.prefix) {
			return known.at
		}
	}
	return "x-" + strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '-'
	}, path)
}

// facts are what the record says apart from damages and photos.
func facts(v *say.Voice, job *jobsv1.Job, p places) []page.Fact {
	r := job.GetRecord()
	vehicle := []string{job.GetVehicleDescription()}
	if plate := r.GetVehicle().GetPlate(); plate != "" {
		vehicle = append(vehicle, strings.TrimSpace("plate "+plate+" "+r.GetVehicle().GetPlateRegion()))
	}
	if unit := r.GetVehicle().GetUnitNumber(); unit != "" {
		vehicle = append(vehicle, "unit "+unit)
	}
	where := "at the shop"
	if r.GetPlaceOfRepair().GetIsMobile() {
		where = "where the vehicle stood"
	}
	a := r.GetPlaceOfRepair().GetAddress()
	signed := r.GetWorkAuthorization().GetSignedBy()
	if signed == "" {
		signed = "nobody"
	}
	all := []page.Fact{
		{ID: "r-vehicle", Label: "VIN", Text: r.GetVehicle().GetVin(), Small: strings.Join(kept(vehicle), ", "), IsCode: true},
		{ID: "r-day", Label: "Repaired", Text: v.Day(job.GetRepairDate()), Small: fmt.Sprintf("by %s, reference %s", r.GetTechnician(), r.GetExternalReference())},
		{ID: "r-place", Label: "Where", Text: say.Capital(where), Small: say.Address(a.GetStreet(), a.GetCity(), a.GetCounty(), a.GetState())},
		{ID: "r-signed", Label: "Signed for the work", Text: say.Capital(signed), Small: v.Moment(r.GetWorkAuthorization().GetSignTime())},
	}
	for i := range all {
		all[i].Findings = p.by[all[i].ID]
	}
	return all
}

func drawingOf(job *jobsv1.Job) (plate.Drawing, bool) {
	return plate.Draw(job.GetRecord().GetGlass(), job.GetRecord().GetDamages())
}

// glassSaid is what was found about the glass as a whole when the job was recorded: cameras, number and
// spacing of repairs, an edition that did not stand.
func glassSaid(job *jobsv1.Job) (all []*findingsv1.Finding) {
	for _, f := range job.GetFindings() {
		if strings.HasPrefix(f.GetCode(), "GLASS-") || strings.HasPrefix(f.GetCode(), "STANDARD-") {
			all = append(all, f)
		}
	}
	return all
}

// damagesOf shows each damage with its assessment, its process and what was found about it.
func damagesOf(shop *accessv1.Shop, job *jobsv1.Job, p places) []page.Damage {
	said := placed(job.GetFindings())
	all := make([]page.Damage, len(job.GetRecord().GetDamages()))
	for i, d := range job.GetRecord().GetDamages() {
		n := i + 1
		shown := page.Damage{ID: fmt.Sprintf("d-%d", n), Title: fmt.Sprintf("%d · %s", n, plate.Name(d)), Lens: plate.LensOf(d, n),
			Outcome: say.Outcome(d.GetOutcome()), Place: placeWords(d), Measures: measures(d), Note: d.GetNote(),
			Findings: p.by[fmt.Sprintf("d-%d", n)]}
		for _, a := range job.GetAssessments() {
			if int(a.GetDamageNumber()) == n {
				shown.Assessment = a
			}
		}
		shown.ProcessSaid = append(slices.Clone(p.by[fmt.Sprintf("p-%d", n)]), said.by[fmt.Sprintf("p-%d", n)]...)
		shown.Readings, shown.Other = readings(shop, d.GetProcess(), shown.ProcessSaid)
		shown.HasProcess = len(shown.Readings)+len(shown.Other)+len(shown.ProcessSaid) > 0
		all[i] = shown
	}
	return all
}

func placeWords(d *jobsv1.Damage) string {
	place := d.GetPlace()
	if place == nil || place.FromDriverEdgeMm == nil || place.FromLowerEdgeMm == nil {
		return "Place not recorded."
	}
	return fmt.Sprintf("%s mm from the driver’s edge, %s mm above the lower edge.", say.Decimal(place.GetFromDriverEdgeMm()),
		say.Decimal(place.GetFromLowerEdgeMm()))
}

// measures lists what was measured, in the words of the trade; what was not is not there.
func measures(d *jobsv1.Damage) string {
	var all []string
	for _, m := range []struct {
		name string
		mm   *float64
	}{{"body", d.BodyDiameterMm}, {"spread", d.SpreadMm}, {"length", d.CrackLengthMm}, {"pit", d.PitDiameterMm},
		{"pit depth", d.PitDepthMm}, {"finished pit", d.FinishedPitMm}, {"to the edge", d.EdgeDistanceMm},
		{"to another repair", d.RepairDistanceMm}} {
		if m.mm != nil {
			all = append(all, m.name+" "+say.Millimetres(*m.mm))
		}
	}
	if d.LegCount != nil {
		all = append(all, say.Count(int(d.GetLegCount()), "leg", "legs"))
	}
	if d.GetIsInCameraArea() == jobsv1.Known_KNOWN_YES {
		all = append(all, "where a camera or sensor looks through")
	}
	if len(all) == 0 {
		return ""
	}
	return say.Capital(strings.Join(all, ", ")) + "."
}
