package desk

import (
	"fmt"
	"strings"

	"cullet/cmd/cullet/internal/desk/page"
	"cullet/cmd/cullet/internal/desk/plate"
	"cullet/cmd/cullet/internal/desk/say"
	accessv1 "cullet/proto/cullet/access/v1"
	findingsv1 "cullet/proto/cullet/findings/v1"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// barLong is the length of the longest bar, in units of the drawing.
const barLong = 196

// step is one timed step of a process.
type step struct {
	name, field string
	// usual is the reading whose range is the shop's setting.
	usual   string
	seconds int32
}

// stepsOf are the timed steps of a process in time order.
func stepsOf(p *jobsv1.Process) (all []step) {
	for i := range max(len(p.GetVacuumSeconds()), len(p.GetPressureSeconds())) {
		if i < len(p.GetVacuumSeconds()) {
			all = append(all, step{"Vacuum", fmt.Sprintf("vacuum_seconds[%d]", i), "vacuum_seconds", p.GetVacuumSeconds()[i]})
		}
		if i < len(p.GetPressureSeconds()) {
			all = append(all, step{"Pressure", fmt.Sprintf("pressure_seconds[%d]", i), "pressure_seconds", p.GetPressureSeconds()[i]})
		}
	}
	for _, s := range []struct {
		name, field, usual string
		seconds            *int32
	}{{"Cure, outside", "cure_outside_seconds", "cure_seconds", p.CureOutsideSeconds},
		{"Cure, inside", "cure_inside_seconds", "cure_seconds", p.CureInsideSeconds}, {"Pit cure", "pit_cure_seconds", "pit_cure_seconds", p.PitCureSeconds}} {
		if s.seconds != nil {
			all = append(all, step{s.name, s.field, s.usual, *s.seconds})
		}
	}
	return all
}

// readings are the timed steps of a process on one scale, each with the range that is usual in the shop
// as a field behind it, and what else was read. What was unusual is what was found when it was recorded.
func readings(shop *accessv1.Shop, p *jobsv1.Process, said []*findingsv1.Finding) (steps []page.Reading, other []page.Line) {
	if p == nil {
		return nil, nil
	}
	all := stepsOf(p)
	// The scale holds every reading and the lower end of every range; an upper end may lie far beyond.
	longest := 1.0
	for _, s := range all {
		longest = max(longest, float64(s.seconds), usualOf(shop, s.usual).GetLow()*1.25)
	}
	scale := func(seconds float64) float64 { return min(max(seconds, 0), longest) * barLong / longest }
	for _, s := range all {
		usual := usualOf(shop, s.usual)
		shown := page.Reading{Name: s.name, Taken: fmt.Sprintf("%d s", s.seconds), Width: fmt.Sprintf("%.1f", scale(float64(s.seconds))),
			Usual: usualWords(usual), Odd: oddWord(usual, s, said)}
		if from, to := scale(usual.GetLow()), scale(highOr(usual, longest)); shown.Usual != "" && to > from {
			shown.UsualFrom, shown.UsualWidth = fmt.Sprintf("%.1f", from), fmt.Sprintf("%.1f", to-from)
		}
		steps = append(steps, shown)
	}
	return steps, otherReadings(p)
}

// usualOf is the range of a reading; nil when the shop's settings have none.
func usualOf(shop *accessv1.Shop, reading string) *accessv1.ProcessRange {
	for _, r := range shop.GetProcessRanges() {
		if r.GetReading() == reading {
			return r
		}
	}
	return nil
}

func highOr(r *accessv1.ProcessRange, otherwise float64) float64 {
	if r.GetHigh() == 0 {
		return otherwise
	}
	return r.GetHigh()
}

// usualWords is a range in words; empty when there is none.
func usualWords(r *accessv1.ProcessRange) string {
	low, high := say.Decimal(r.GetLow()), say.Decimal(r.GetHigh())
	switch {
	case r == nil || r.Low == nil && r.High == nil:
		return ""
	case r.High == nil:
		return low + " s or more"
	case r.Low == nil:
		return high + " s or less"
	}
	return low + " to " + high + " s"
}

// oddWord says on which side a reading lies that was found to be unusual; empty for one that was not.
func oddWord(usual *accessv1.ProcessRange, s step, said []*findingsv1.Finding) string {
	for _, f := range said {
		switch {
		case !strings.HasSuffix(f.GetPath(), ".process."+s.field):
		case usual.GetLow() > float64(s.seconds):
			return "short"
		case usual.GetHigh() > 0 && usual.GetHigh() < float64(s.seconds):
			return "long"
		default:
			return "unusual"
		}
	}
	return ""
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
