package jobs

import "math"

// earthRadius is the mean radius of the ellipsoid GRS 80 in metres (from memory). A sphere of it
// gives distances within about half a percent.
const earthRadius = 6_371_008.8

// MetresTo tells how far another place is, in whole metres over the ground.
func (p Position) MetresTo(q Position) int {
	const radians = math.Pi / 180 / 1e6
	north, other := float64(p.LatitudeMicrodegrees)*radians, float64(q.LatitudeMicrodegrees)*radians
	up := math.Sin((other - north) / 2)
	across := math.Sin((float64(q.LongitudeMicrodegrees) - float64(p.LongitudeMicrodegrees)) * radians / 2)
	share := up*up + math.Cos(north)*math.Cos(other)*across*across
	return int(math.Round(2 * earthRadius * math.Asin(math.Sqrt(min(1, share)))))
}

// TakenFrom tells how far from the place of repair a photo was taken, in whole metres; ok is false
// when either place is not known.
func (p Photo) TakenFrom(place Place) (metres int, ok bool) {
	if p.Position == nil || place.Position == nil {
		return 0, false
	}
	return p.Position.MetresTo(*place.Position), true
}
