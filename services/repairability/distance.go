package repairability

import (
	"math"
	"strconv"
)

// repairDistance is what is known of the distance from damage i to the nearest other repair: the
// recorded distance, or the nearest of the other damages of this visit, whichever is less. On a
// glass whose earlier repairs were counted as none the other damages alone tell. A declined damage
// is no repair; to a vehicle in use it is a damaged area all the same.
func repairDistance(purpose Purpose, g Glass, damages []Damage, i int) span {
	nearest := span{maxLength, maxLength}
	for j := range damages {
		if i == j || purpose == ForRepair && damages[j].Outcome == Declined {
			continue
		}
		gap := distance(damages[i], damages[j])
		nearest = span{min(nearest.low, gap.low), min(nearest.high, gap.high)}
	}
	recorded := damages[i].DistanceToRepair
	if recorded != nil {
		// The recorded distance is to the nearest of all, so what was not placed is no nearer.
		return exactly(min(*recorded, nearest.high))
	}
	if g.EarlierRepairs != nil && *g.EarlierRepairs == 0 {
		return nearest
	}
	return span{0, nearest.high}
}

// distance is the gap between the circles around two damages, unknown where a place is not known.
// A crack counts as the point in its middle.
func distance(a, b Damage) span {
	if a.Place == nil || b.Place == nil {
		return unknownSpan
	}
	across := float64(a.Place.FromDriverEdge - b.Place.FromDriverEdge)
	upward := float64(a.Place.FromLowerEdge - b.Place.FromLowerEdge)
	gap := Length(math.Hypot(across, upward)) - reach(a) - reach(b)
	return exactly(max(gap, 0))
}

func count(n *int) string {
	if n == nil {
		return ""
	}
	return strconv.Itoa(*n)
}
