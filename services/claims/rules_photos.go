package claims

import (
	"fmt"
	"math/bits"
	"slices"
	"time"

	"cullet/services/finding"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

// photoWindow is how far from the work a photo may have been taken before somebody should look.
const photoWindow = 12 * time.Hour

var photoRules = []Rule{
	{
		Code: "PHOTO-MISSING", Family: FamilyPhotos, Severity: finding.Stop,
		Demand: "Every photo that the payer demands is there.",
		Fix:    "Upload the photo and amend the record with it.",
		Source: profileSource,
		check:  checkDemandedPhotos,
	},
	{
		Code: "PHOTO-NOT-UPLOADED", Family: FamilyPhotos, Severity: finding.Stop,
		Demand: "Every photo that the record names was uploaded.",
		Fix:    "Upload the photo, then record again.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			for i, p := range c.Job.Record.Photos {
				if _, known := c.Photos[p.Hash]; !known {
					broken(fmt.Sprintf("job.photos[%d]", i), fmt.Sprintf("Photo %d was not uploaded.", i+1), "")
				}
			}
		},
	},
	{
		Code: "PHOTO-ON-OTHER-CLAIM", Family: FamilyPhotos, Severity: finding.Stop,
		Demand: "No photo is the very same file as one of another job.",
		Fix:    "Amend the record with the photo of this damage.",
		Source: commonPractice,
		check: func(c *Case, broken report) {
			for i, p := range c.Job.Record.Photos {
				if n := slices.IndexFunc(c.Earlier, func(e EarlierClaim) bool {
					return e.Job != c.Job.ID && e.State != Withdrawn && slices.Contains(e.PhotoHashes, p.Hash)
				}); n >= 0 {
					broken(fmt.Sprintf("job.photos[%d]", i), fmt.Sprintf(
						"Photo %d is the very same file as a photo of claim %s.", i+1, c.Earlier[n].Number), "")
				}
			}
		},
	},
	{
		Code: "PHOTO-LIKE-ANOTHER", Family: FamilyPhotos, Severity: finding.Caution,
		Demand: "Before and after of a damage do not look the same.",
		Fix:    "Look at both photos; amend the record if one was named twice.",
		Source: ownRule,
		check:  checkLikePhotos,
	},
	{
		Code: "PHOTO-ORDER", Family: FamilyPhotos, Severity: finding.Stop,
		Demand: "The photo before was taken before the photo after.",
		Fix:    "Amend the record: the two photos may have been named the wrong way round.",
		Source: ownRule,
		check:  checkPhotoOrder,
	},
	{
		Code: "PHOTO-TIME", Family: FamilyPhotos, Severity: finding.Caution,
		Demand: "Photos were taken within 12 hours of the work.",
		Fix:    "Check the clock of the camera; write down why, if the time is right.",
		Source: ownRule,
		check: func(c *Case, broken report) {
			for i, p := range c.Job.Record.Photos {
				taken := c.Photos[p.Hash].TakeTime
				if taken == nil {
					continue
				}
				if taken.Before(c.Job.Record.StartTime.Add(-photoWindow)) || taken.After(c.Job.Record.FinishTime.Add(photoWindow)) {
					broken(fmt.Sprintf("job.photos[%d]", i), fmt.Sprintf(
						"Photo %d was taken on %s by its own clock, more than 12 hours from the work.",
						i+1, taken.UTC().Format("2006-01-02 15:04 MST")), "")
				}
			}
		},
	},
}

func checkDemandedPhotos(c *Case, broken report) {
	for _, demand := range c.Payer.Profile.Photos {
		if !demand.IsPerDamage {
			if !hasPhoto(c, jobs.PhotoKind(demand.Kind), 0) {
				broken("job.photos", fmt.Sprintf("%s demands a photo %s; the record has none.",
					c.Payer.Name, photoWords(jobs.PhotoKind(demand.Kind))), "")
			}
			continue
		}
		for i, d := range c.Job.Record.Damages {
			if d.Outcome == repairability.Repaired && !hasPhoto(c, jobs.PhotoKind(demand.Kind), i+1) {
				broken(damagePath(i)+".photos."+demand.Kind, fmt.Sprintf("%s demands a photo %s of damage %d; the record has none.",
					c.Payer.Name, photoWords(jobs.PhotoKind(demand.Kind)), i+1), "")
			}
		}
	}
}

// hasPhoto tells whether the record has a photo of the kind; number 0 takes any damage.
func hasPhoto(c *Case, kind jobs.PhotoKind, number int) bool {
	return slices.ContainsFunc(c.Job.Record.Photos, func(p jobs.PhotoReference) bool {
		return p.Kind == kind && (number == 0 || p.DamageNumber == number)
	})
}

func photoWords(kind jobs.PhotoKind) string {
	switch kind {
	case jobs.Before:
		return "before the repair"
	case jobs.After:
		return "after the repair"
	case jobs.VINPlate:
		return "of the VIN plate"
	}
	return "of the whole glass"
}

// eachPair calls see with the places of the photos before and after of each damage.
func eachPair(c *Case, see func(before, after int)) {
	for i, p := range c.Job.Record.Photos {
		if p.Kind != jobs.Before {
			continue
		}
		for k, q := range c.Job.Record.Photos {
			if q.Kind == jobs.After && q.DamageNumber == p.DamageNumber {
				see(i, k)
			}
		}
	}
}

func checkPhotoOrder(c *Case, broken report) {
	eachPair(c, func(before, after int) {
		b, a := c.Photos[c.Job.Record.Photos[before].Hash].TakeTime, c.Photos[c.Job.Record.Photos[after].Hash].TakeTime
		if b != nil && a != nil && b.After(*a) {
			broken(fmt.Sprintf("job.photos[%d]", before), fmt.Sprintf(
				"Photo %d, before, was taken after photo %d, after.", before+1, after+1), "")
		}
	})
}

func checkLikePhotos(c *Case, broken report) {
	eachPair(c, func(before, after int) {
		b, okB := c.Photos[c.Job.Record.Photos[before].Hash]
		a, okA := c.Photos[c.Job.Record.Photos[after].Hash]
		if okA && okB && bits.OnesCount64(a.Likeness^b.Likeness) <= LikeBits {
			broken(fmt.Sprintf("job.photos[%d]", after), fmt.Sprintf(
				"Photo %d, after, looks nearly the same as photo %d, before.", after+1, before+1), "")
		}
	})
}
