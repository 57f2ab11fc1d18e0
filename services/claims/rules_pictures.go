package claims

import (
	"fmt"

	"cullet/services/finding"
	"cullet/services/jobs"
)

// What a photo must be for somebody to see a break on it. Nobody has written these down: they are
// set so that what a phone takes with a steady hand in daylight passes by far.
const (
	// minSharpness is below the sharpness of a photo blurred by about one pixel in a thousand.
	minSharpness = 100
	// minBrightness and maxBlownPercent leave out the night and the sun in the glass.
	minBrightness   = 30
	maxBlownPercent = 40
	// minShortEdge is in pixels.
	minShortEdge = 600
	// maxDistance, in metres, leaves room for a large yard and a poor fix.
	maxDistance = 1000
)

// pictureRules look at the pictures themselves: their pixels, where they were taken, what they read
// and what they look like. All of them but one ask a person to look.
var pictureRules = []Rule{
	{
		Code: "PHOTO-SHARPNESS", Family: FamilyPhotos, Severity: finding.Caution,
		Demand: fmt.Sprintf("Photos are sharp: their sharpest part measures %d or more.", minSharpness),
		Fix:    "Look at the photo; take it again while the vehicle is there, nearer and with a steady hand.",
		Source: commonPractice,
		check: measured(func(p jobs.Photo) string {
			return below("is out of focus: its sharpness is", p.Quality.Sharpness, minSharpness, "")
		}),
	},
	{
		Code: "PHOTO-BRIGHTNESS", Family: FamilyPhotos, Severity: finding.Caution,
		Demand: fmt.Sprintf("Photos are bright enough, a median of %d of 255 or more, and at most %d percent are blown out to white.",
			minBrightness, maxBlownPercent),
		Fix:    "Look at the photo; take it again with a lamp, or from where no light stands in the glass.",
		Source: commonPractice,
		check: measured(func(p jobs.Photo) string {
			if said := below("is dark: its median brightness is", p.Quality.Brightness, minBrightness, " of 255"); said != "" {
				return said
			}
			if p.Quality.BlownPercent > maxBlownPercent {
				return fmt.Sprintf("shows mostly light: %d percent of it are blown out to white, at most %d are usual",
					p.Quality.BlownPercent, maxBlownPercent)
			}
			return ""
		}),
	},
	{
		Code: "PHOTO-SIZE", Family: FamilyPhotos, Severity: finding.Caution,
		Demand: fmt.Sprintf("Photos have %d pixels or more on their shorter edge.", minShortEdge),
		Fix:    "Send the photo as the camera took it, not a preview or a copy from a message.",
		Source: commonPractice,
		check: eachPhoto(func(_ *Case, p jobs.Photo, _ jobs.PhotoReference) string {
			if p.Width == 0 || min(p.Width, p.Height) >= minShortEdge {
				return ""
			}
			return fmt.Sprintf("is small: it has %d x %d pixels, %d on the shorter edge are wanted", p.Width, p.Height, minShortEdge)
		}),
	},
	{
		Code: "PHOTO-PLACE", Family: FamilyPhotos, Severity: finding.Caution,
		Demand: fmt.Sprintf("Photos were taken within %d metres of the place of repair.", maxDistance),
		Fix:    "Check whose photo it is and the place of repair; write down why, if both are right.",
		Source: commonPractice,
		check: eachPhoto(func(c *Case, p jobs.Photo, _ jobs.PhotoReference) string {
			metres, ok := p.TakenFrom(c.Job.Record.Place)
			if !ok || metres <= maxDistance {
				return ""
			}
			return fmt.Sprintf("was taken %d m from the place of repair, at most %d are usual", metres, maxDistance)
		}),
	},
	{
		Code: "PHOTO-PLATE", Family: FamilyPhotos, Severity: finding.Stop,
		Demand: "The VIN plate in the photo reads what the record has as the vehicle's number.",
		Fix:    "Compare the plate in the photo with the record, and amend what is wrong.",
		Source: ownRule,
		check: eachPhoto(func(c *Case, _ jobs.Photo, r jobs.PhotoReference) string {
			if r.PlateVIN == "" || r.PlateVIN == c.Job.Record.Vehicle.VIN {
				return ""
			}
			return fmt.Sprintf("shows a plate that reads %s, and the record has %s", r.PlateVIN, c.Job.Record.Vehicle.VIN)
		}),
	},
	{
		Code: "PHOTO-LIKE-OTHER-CLAIM", Family: FamilyPhotos, Severity: finding.Caution,
		Demand: "No photo looks nearly like one of another claim; photos of VIN plates are left out.",
		Fix:    "Look at both photos; amend the record if one is of the other repair.",
		Source: commonPractice,
		check:  checkAlike,
	},
}

// eachPhoto makes a check of what say tells of a photo that was uploaded; nothing is no breach.
func eachPhoto(say func(*Case, jobs.Photo, jobs.PhotoReference) string) func(*Case, report) {
	return func(c *Case, broken report) {
		for i, r := range c.Job.Record.Photos {
			p, isKnown := c.Photos[r.Hash]
			if !isKnown {
				continue
			}
			if said := say(c, p, r); said != "" {
				broken(fmt.Sprintf("job.photos[%d]", i), fmt.Sprintf("Photo %d %s.", i+1, said), "")
			}
		}
	}
}

// measured is eachPhoto of those that were measured.
func measured(say func(jobs.Photo) string) func(*Case, report) {
	return eachPhoto(func(_ *Case, p jobs.Photo, _ jobs.PhotoReference) string {
		if p.Quality == nil {
			return ""
		}
		return say(p)
	})
}

func below(what string, got, least int, unit string) string {
	if got >= least {
		return ""
	}
	return fmt.Sprintf("%s %d%s, %d or more is wanted", what, got, unit, least)
}

func checkAlike(c *Case, broken report) {
	for i, r := range c.Job.Record.Photos {
		if r.Kind == jobs.VINPlate {
			continue
		}
		for _, a := range c.Alike {
			if a.Own == r.Hash && a.Bits <= LikeBits {
				broken(fmt.Sprintf("job.photos[%d]", i), fmt.Sprintf(
					"Photo %d looks nearly the same as photo %d of claim %s: %d of 64 bits differ.", i+1, a.Number, a.ClaimNumber, a.Bits), "", a.Other)
			}
		}
	}
}
