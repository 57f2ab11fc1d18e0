package scenario

import (
	"fmt"
	"image"
	"strconv"
	"strings"

	"cullet/cmd/cullet/internal/demo/photo"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

// What is sent in the place of a photo.
const (
	InsteadText = "TEXT"
	InsteadHEIC = "HEIC"
	InsteadHalf = "HALF"
)

// Draw gives the bytes of a photo of a visit, counted from 0, at the size of a phone's when size
// is zero. The same photo gives the same bytes. All visits are needed because a photo may be
// another's. It may be called from many goroutines at once.
func Draw(visits []Visit, visit, number int, size image.Point) ([]byte, error) {
	v := visits[visit]
	p := v.Photos[number]
	if p.SameAs != "" {
		otherVisit, otherNumber, err := find(visits, p.SameAs)
		if err != nil {
			return nil, fmt.Errorf("photo %d of %s: %w", number+1, v.Name, err)
		}
		return Draw(visits, otherVisit, otherNumber, size)
	}
	switch p.Instead {
	case InsteadText:
		return []byte("Photo of the break, taken from outside. (This is a text file.)\n"), nil
	case InsteadHEIC:
		// The head of such a file is all that is ever looked at.
		return append([]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic"), make([]byte, 2000)...), nil
	}
	drawn, err := photo.Draw(v.shot(p, size))
	if err != nil {
		return nil, fmt.Errorf("photo %d of %s: %w", number+1, v.Name, err)
	}
	if p.Instead == InsteadHalf {
		drawn = drawn[:len(drawn)/2]
	}
	return drawn, nil
}

// shot says what the camera saw.
func (v Visit) shot(p Photo, size image.Point) photo.Shot {
	glass := v.Record.GetGlass()
	s := photo.Shot{Kind: jobs.PhotoKind(p.Kind), VIN: v.Record.GetVehicle().GetVin(), Seed: p.Seed, TakeTime: p.TakeTime,
		Orientation: p.Orientation, Size: size, GlassWidth: glass.GetWidthMm(), GlassHeight: glass.GetHeightMm()}
	if p.Shows != "" {
		s.Kind = jobs.PhotoKind(p.Shows)
	}
	if p.PlateReads != "" {
		s.VIN = p.PlateReads
	}
	if p.LatitudeMicrodegrees != 0 || p.LongitudeMicrodegrees != 0 {
		s.Position = &jobs.Position{LatitudeMicrodegrees: p.LatitudeMicrodegrees, LongitudeMicrodegrees: p.LongitudeMicrodegrees}
	}
	for i, d := range v.Record.GetDamages() {
		// A photo that names no damage of the record still shows one: the first.
		shows := int(p.DamageNumber) == i+1 || i == 0 && int(p.DamageNumber) > len(v.Record.GetDamages())
		if s.Kind == jobs.WholeGlass || shows && (s.Kind == jobs.Before || s.Kind == jobs.After) {
			s.Damages = append(s.Damages, seen(d, p.Shape+uint64(i)))
		}
	}
	return s
}

func seen(d *jobsv1.Damage, shape uint64) photo.Damage {
	const kinds, outcomes = "DAMAGE_KIND_", "OUTCOME_"
	return photo.Damage{
		Kind:    repairability.Kind(strings.TrimPrefix(d.GetKind().String(), kinds)),
		Outcome: repairability.Outcome(strings.TrimPrefix(d.GetOutcome().String(), outcomes)),
		Body:    d.GetBodyDiameterMm(), Spread: d.GetSpreadMm(), Length: d.GetCrackLengthMm(), Pit: d.GetPitDiameterMm(),
		Legs: int(d.GetLegCount()), EdgesTouched: int(d.GetEdgesTouched()),
		FromDriverEdge: d.GetPlace().GetFromDriverEdgeMm(), FromLowerEdge: d.GetPlace().GetFromLowerEdgeMm(), Seed: shape,
	}
}

// find gives the place of a photo named as "R-0007-star-break/2".
func find(visits []Visit, name string) (visit, number int, err error) {
	of, counted, ok := strings.Cut(name, "/")
	n, convErr := strconv.Atoi(counted)
	for i := range visits {
		if visits[i].Name == of && ok && convErr == nil && n >= 1 && n <= len(visits[i].Photos) &&
			visits[i].Photos[n-1].SameAs == "" {
			return i, n - 1, nil
		}
	}
	return 0, 0, fmt.Errorf("it is to be the same as %q, which is no photo", name)
}

// checkPhotos refuses what Draw would stumble over later.
func checkPhotos(visits []Visit) error {
	for _, v := range visits {
		for i, p := range v.Photos {
			if _, known := jobsv1.PhotoKind_value["PHOTO_KIND_"+p.Kind]; !known {
				return fmt.Errorf("photo %d of %s is of the unknown kind %q", i+1, v.Name, p.Kind)
			}
			if p.SameAs != "" {
				if _, _, err := find(visits, p.SameAs); err != nil {
					return fmt.Errorf("photo %d of %s: %w", i+1, v.Name, err)
				}
			}
		}
	}
	return nil
}
