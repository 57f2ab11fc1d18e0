package desk

import (
	"fmt"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/plate"
	"cullet/cmd/cullet/internal/desk/say"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// barLong is the length of the longest bar, in units of the drawing.
const barLong = 196

// readings are the timed steps of a process in time order on one scale, and what else was read.
func readings(p *jobsv1.Process, said []*findingsv1.Finding) (steps []page.Reading, other []page.Line) {
	if p == nil {
		return nil, nil
	}
	odd := func(field string) bool {
		for _, f := range said {
			if strings.HasSuffix(f.GetPath(), ".process."+field) {
				return true
			}
		}
		return false
	}
	var seconds []int32
	add := func(name, field string, s int32) {
		steps = append(steps, page.Reading{Name: name, Taken: fmt.Sprintf("%d s", s), Odd: odd(field)})
		seconds = append(seconds, s)
	}
	for i := range max(len(p.GetVacuumSeconds()), len(p.GetPressureSeconds())) {
		if i < len(p.GetVacuumSeconds()) {
			add("Vacuum", fmt.Sprintf("vacuum_seconds[%d]", i), p.GetVacuumSeconds()[i])
		}
		if i < len(p.GetPressureSeconds()) {
			add("Pressure", fmt.Sprintf("pressure_seconds[%d]", i), p.GetPressureSeconds()[i])
		}
	}
	for _, s := range []struct {
		name, field string
		seconds     *int32
	}{{"Cure, outside", "cure_outside_seconds", p.CureOutsideSeconds}, {"Cure, inside", "cure_inside_seconds", p.CureInsideSeconds},
		{"Pit cure", "pit_cure_seconds", p.PitCureSeconds}} {
		if s.seconds != nil {
			add(s.name, s.field, *s.seconds)
		}
	}
	longest := int32(1)
	for _, s := range seconds {
		longest = max(longest, s)
	}
	for i, s := range seconds {
		steps[i].Width = fmt.Sprintf("%.1f", float64(max(s, 0))*barLong/float64(longest))
	}
	return steps, otherReadings(p)
}

func otherReadings(p *jobsv1.Process) (all []page.Line) {
	add := func(name, text string) { all = append(all, page.Line{Name: name, Sum: text}) }
	if p.GlassTemperatureC != nil {
		add("Glass", say.Decimal(p.GetGlassTemperatureC())+" °C "+p.GetTemperatureNote())
	}
	if p.HumidityPercent != nil {
		add("Humidity", fmt.Sprintf("%d %%", p.GetHumidityPercent()))
	}
	if p.ResinViscosityCp != nil {
		add("Resin", fmt.Sprintf("%d cP", p.GetResinViscosityCp()))
	}
	if p.PitResinViscosityCp != nil {
		add("Pit resin", fmt.Sprintf("%d cP", p.GetPitResinViscosityCp()))
	}
	if p.IsDrilled != nil {
		text := yesNo(p.GetIsDrilled())
		if p.DrillDepthMm != nil {
			text += ", " + say.Millimetres(p.GetDrillDepthMm()) + " deep"
		}
		add("Drilled", strings.TrimSuffix(text+", "+p.GetDrillReason(), ", "))
	}
	if p.IsResinFilled != nil {
		add("Filled with resin", yesNo(p.GetIsResinFilled()))
	}
	if p.IsPitFilled != nil {
		add("Pit filled", yesNo(p.GetIsPitFilled()))
	}
	if p.IsPitFlush != nil {
		add("Pit flush with the glass", yesNo(p.GetIsPitFlush()))
	}
	if p.GetResultNote() != "" {
		add("Result seen", p.GetResultNote())
	}
	if p.GetReason() != "" {
		add("The technician’s reason", p.GetReason())
	}
	return all
}

func yesNo(is bool) string {
	if is {
		return "yes"
	}
	return "no"
}

// photoWords are the kinds of photos in words, in the order in which they are shown.
var photoWords = []struct {
	kind jobsv1.PhotoKind
	word string
}{{jobsv1.PhotoKind_PHOTO_KIND_BEFORE, "before"}, {jobsv1.PhotoKind_PHOTO_KIND_AFTER, "after"},
	{jobsv1.PhotoKind_PHOTO_KIND_VIN_PLATE, "plate with the VIN"}, {jobsv1.PhotoKind_PHOTO_KIND_WHOLE_GLASS, "whole glass"}}

func photoWord(kind jobsv1.PhotoKind) string {
	for _, w := range photoWords {
		if w.kind == kind {
			return w.word
		}
	}
	return "photo"
}

// photosOf shows the photos, before and after of each damage together, then the others; a photo
// that is demanded and missing keeps its place as an empty frame. Findings of no one photo come
// back apart.
func photosOf(v *say.Voice, k known, p places) ([]page.Photo, []*findingsv1.Finding) {
	var all []page.Photo
	facts := map[string]*jobsv1.Photo{}
	for _, f := range k.photos {
		facts[f.GetPhotoHash()] = f
	}
	damages := k.job.GetRecord().GetDamages()
	for n := 1; n <= len(damages)+1; n++ {
		damage := n
		if n > len(damages) {
			damage = 0 // what shows no one damage stands last
		}
		for _, w := range photoWords {
			for i, ref := range k.job.GetRecord().GetPhotos() {
				if int(ref.GetDamageNumber()) == damage && ref.GetKind() == w.kind {
					all = append(all, photoOf(v, i, ref, facts[ref.GetPhotoHash()], damages, p))
				}
			}
			kind := strings.TrimPrefix(w.kind.String(), "PHOTO_KIND_")
			id := fmt.Sprintf("missing-%d-%s", damage, kind)
			if found := p.by[id]; damage > 0 && len(found) > 0 {
				all = append(all, page.Photo{ID: id, Title: fmt.Sprintf("Damage %d, %s", damage, w.word), Missing: "It is demanded.", Findings: found})
			}
		}
	}
	return all, p.by["photos"]
}

func photoOf(v *say.Voice, i int, ref *jobsv1.PhotoReference, fact *jobsv1.Photo, damages []*jobsv1.Damage, p places) page.Photo {
	id := fmt.Sprintf("photo-%d", i+1)
	shown := page.Photo{ID: id, Hash: ref.GetPhotoHash(), Title: say.Capital(photoWord(ref.GetKind())), Findings: p.by[id],
		Width: fact.GetWidthPixels(), Height: fact.GetHeightPixels(), Caption: "Time not known to the camera."}
	shown.Alt = "Photo of the " + photoWord(ref.GetKind())
	if n := int(ref.GetDamageNumber()); n > 0 && n <= len(damages) {
		shown.Title = fmt.Sprintf("Damage %d, %s", n, photoWord(ref.GetKind()))
		shown.Alt = fmt.Sprintf("Photo of damage %d %s the repair: %s", n, photoWord(ref.GetKind()), strings.ToLower(plate.Name(damages[n-1])))
	}
	if fact.GetTakeTime() != nil {
		shown.Caption = v.Moment(fact.GetTakeTime()) + " by the camera’s clock"
	}
	if fact.DistanceM != nil {
		shown.Caption = fmt.Sprintf("%s, %d m from the place of repair", strings.TrimSuffix(shown.Caption, "."), fact.GetDistanceM())
	}
	return shown
}
