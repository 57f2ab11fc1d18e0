package claims

import (
	"slices"
	"strings"
	"testing"

	"cullet/services/finding"
	"cullet/services/jobs"
)

// alikeAfter is a photo of another claim that differs from the one after in so many bits.
func alikeAfter(bits int) AlikePhoto {
	return AlikePhoto{Own: hashAfter, Other: "cc00", Number: 3, ClaimNumber: "C-000001", Bits: bits}
}

func found(c Case, code string) (f finding.Finding, ok bool) {
	all := Check(c, Translation{})
	n := slices.IndexFunc(all, func(f finding.Finding) bool { return f.Code == code })
	if n < 0 {
		return finding.Finding{}, false
	}
	return all[n], true
}

// TestPictureRulesSayWhatWasMeasured: each caution names the value, and the one that is wanted.
func TestPictureRulesSayWhatWasMeasured(t *testing.T) {
	t.Parallel()
	for code, want := range map[string]string{
		"PHOTO-SHARPNESS":        "Photo 2 is out of focus: its sharpness is 99, 100 or more is wanted.",
		"PHOTO-BRIGHTNESS":       "Photo 2 is dark: its median brightness is 29 of 255, 30 or more is wanted.",
		"PHOTO-SIZE":             "Photo 2 is small: it has 800 x 599 pixels, 600 on the shorter edge are wanted.",
		"PHOTO-PLACE":            "Photo 2 was taken 1001 m from the place of repair, at most 1000 are usual.",
		"PHOTO-PLATE":            "Photo 2 shows a plate that reads 1G4AH59H45G118342, and the record has 1G4AH59H45G118341.",
		"PHOTO-LIKE-OTHER-CLAIM": "Photo 2 looks nearly the same as photo 3 of claim C-000001: 4 of 64 bits differ.",
	} {
		c := sound()
		breaks[code](&c)
		f, ok := found(c, code)
		if !ok || f.Sentence != want || f.Path != "job.photos[1]" {
			t.Errorf("%s at %s: %q, want %q", code, f.Path, f.Sentence, want)
		}
		if isAlike := code == "PHOTO-LIKE-OTHER-CLAIM"; isAlike != (f.OtherPhoto == "cc00") {
			t.Errorf("%s shows the other photo %q", code, f.OtherPhoto)
		}
	}
	c := sound()
	setPhoto(&c, hashAfter, func(p *jobs.Photo) { p.Quality.BlownPercent++ })
	if f, ok := found(c, "PHOTO-BRIGHTNESS"); !ok || !strings.Contains(f.Sentence, "41 percent of it are blown out to white, at most 40") {
		t.Errorf("a photo of light: %q", f.Sentence)
	}
}

// TestPictureRulesNeedWhatTheyJudge: what is not known is no breach.
func TestPictureRulesNeedWhatTheyJudge(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*Case){
		"not measured":            func(c *Case) { setPhoto(c, hashAfter, func(p *jobs.Photo) { p.Quality = nil }) },
		"a photo without a place": func(c *Case) { setPhoto(c, hashAfter, func(p *jobs.Photo) { p.Position = nil }) },
		"a repair without a place": func(c *Case) {
			c.Job.Record.Place.Position = nil
			setPhoto(c, hashAfter, func(p *jobs.Photo) { p.Position.LatitudeMicrodegrees = 0 })
		},
		"a plate that reads the same": func(c *Case) {
			c.Job.Record.Photos[1].Kind, c.Job.Record.Photos[1].PlateVIN = jobs.VINPlate, c.Job.Record.Vehicle.VIN
		},
		"a bit too far":      func(c *Case) { c.Alike = []AlikePhoto{alikeAfter(LikeBits + 1)} },
		"plates of two cars": func(c *Case) { c.Job.Record.Photos[1].Kind = jobs.VINPlate; c.Alike = []AlikePhoto{alikeAfter(0)} },
		"the photo of a withdrawn claim": func(c *Case) {
			c.Earlier = earlier(func(e *EarlierClaim) { e.State, e.PhotoHashes = Withdrawn, []jobs.PhotoHash{hashAfter} })
		},
	} {
		c := sound()
		change(&c)
		if all := Check(c, Translation{}); len(all) > 0 {
			t.Errorf("%s: found %v, want nothing", name, codes(all))
		}
	}
}

// TestTheLikestPhotoIsShown: of several that look like one photo, one is told.
func TestTheLikestPhotoIsShown(t *testing.T) {
	t.Parallel()
	c := sound()
	near, far := alikeAfter(1), alikeAfter(3)
	near.ClaimNumber, near.Other = "C-000007", "dd00"
	c.Alike = []AlikePhoto{near, far}
	all := Check(c, Translation{})
	if len(all) != 1 || all[0].OtherPhoto != "dd00" || !strings.Contains(all[0].Sentence, "claim C-000007") {
		t.Errorf("found %+v, want the likest alone", all)
	}
}
