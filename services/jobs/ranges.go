package jobs

import (
	"cullet/services/access"
	"cullet/services/repairability"
)

// Readings lists the readings whose usual range a shop may set, with the range that ships.
func Readings() []access.Reading {
	ranges := repairability.DefaultRanges()
	var all []access.Reading
	for _, named := range ranges.Named() {
		r := named.Range
		reading := access.Reading{Unit: named.Unit, Scale: named.Scale, Usual: access.ProcessRange{Reading: named.Name},
			Source: repairability.UsualPractice, PossibleLow: r.PossibleLow, PossibleHigh: r.PossibleHigh}
		if r.UsualLow > r.PossibleLow {
			reading.Usual.Low = new(r.UsualLow)
		}
		if r.UsualHigh < r.PossibleHigh {
			reading.Usual.High = new(r.UsualHigh)
		}
		all = append(all, reading)
	}
	return all
}

// Ranges gives what is usual in a shop: what it has set, and what ships for all other readings. A
// reading that is not known any more is passed over.
func Ranges(set []access.ProcessRange) repairability.Ranges {
	ranges := repairability.DefaultRanges()
	for _, named := range ranges.Named() {
		for _, s := range set {
			if s.Reading != named.Name {
				continue
			}
			r := named.Range
			r.UsualLow, r.UsualHigh = r.PossibleLow, r.PossibleHigh
			if s.Low != nil {
				r.UsualLow = *s.Low
			}
			if s.High != nil {
				r.UsualHigh = *s.High
			}
		}
	}
	return ranges
}
