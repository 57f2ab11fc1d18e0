package invent

import (
	"math"
	"time"

	"cullet/cmd/cullet/internal/demo/scenario"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// The kinds of photos.
const (
	before     = "BEFORE"
	after      = "AFTER"
	vinPlate   = "VIN_PLATE"
	wholeGlass = "WHOLE_GLASS"
)

// photos invents the photos that the payer of the visit demands, and what technicians take besides.
func (d *draft) photos() {
	at := d.start.Add(40 * time.Second)
	take := func(kind string, damage int, when time.Time) {
		d.Photos = append(d.Photos, d.photo(kind, damage, when))
	}
	if d.payer == quarry {
		take(vinPlate, 0, at)
	}
	if d.payer == parks || d.payer == tannery && d.rng.IntN(2) == 0 {
		take(wholeGlass, 0, at.Add(30*time.Second))
	}
	for i, damage := range d.Record.Damages {
		// The first payer wants to see every break, the others content themselves with one.
		if i > 0 && d.payer != lantern && damage.Outcome == jobsv1.Outcome_OUTCOME_REPAIRED {
			continue
		}
		take(before, i+1, at.Add(time.Duration(1+i)*time.Minute))
		if damage.Process != nil && d.payer != "" {
			take(after, i+1, damage.Process.EndTime.AsTime().Add(time.Duration(50+d.rng.IntN(60))*time.Second))
		}
	}
}

func (d *draft) photo(kind string, damage int, when time.Time) scenario.Photo {
	n := uint64(len(d.Photos)) + 1
	p := scenario.Photo{Kind: kind, DamageNumber: int32(damage), TakeTime: when.In(d.start.Location()),
		Seed: hashOf(d.slug)%1_000_000*100 + n, Orientation: 1, Shape: hashOf(d.slug) % 10_000}
	if d.rng.IntN(5) < 2 && kind != wholeGlass {
		p.Orientation = 6 // Held upright.
	}
	place := d.Record.PlaceOfRepair
	micro := func(degrees float64) int32 { return int32(math.Round(degrees*1e6)) + int32(d.rng.IntN(400)-200) }
	p.LatitudeMicrodegrees, p.LongitudeMicrodegrees = micro(place.GetLatitudeDegrees()), micro(place.GetLongitudeDegrees())
	return p
}
