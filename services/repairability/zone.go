package repairability

import "slices"

// Band is how a zone lies across the glass.
type Band string

// The bands. Empty is all that no earlier zone covers.
const (
	CentredOnDriver Band = "CENTRED_ON_DRIVER"
	DriverHalf      Band = "DRIVER_HALF"
	WholeWidth      Band = "WHOLE_WIDTH"
)

// Zone is a part of the glass as a standard cuts it, taken as a rectangle.
type Zone struct {
	Name string
	Band Band
	// Width is of a zone centred on the driver; HeavyWidth that for heavy vehicles, where it differs.
	Width, HeavyWidth Length
	// UpToWiper ends the zone where the wipers end; else TopInset keeps it below the upper edge.
	UpToWiper bool
	TopInset  Length
	// AboveSteering starts the zone at the top of the steering wheel; else BottomInset lifts it.
	AboveSteering bool
	BottomInset   Length
	SideInset     Length
}

// estimateMargin is how far a viewing area may lie beside its estimate when the steering wheel
// was not measured: our own rule. The estimate itself is a quarter of the glass's width.
const estimateMargin = 60 * Millimetre

// rect lays the zone on the glass. It gives the readings that are missing when it cannot. A zone
// without a band has no rectangle.
func (z Zone) rect(g Glass) (Rect, []string) {
	r := Rect{DriverMax: maxLength}
	switch z.Band {
	case CentredOnDriver:
		centre := g.SteeringCentre
		if centre == nil {
			if g.Width == nil {
				return Rect{}, []string{"glass.steering_centre_mm"}
			}
			centre = new(*g.Width / 4)
			r.Estimated = append(r.Estimated, "glass.steering_centre_mm")
		}
		width := z.Width
		if g.HeavyVehicle && z.HeavyWidth > 0 {
			width = z.HeavyWidth
		}
		r.DriverMin, r.DriverMax = *centre-width/2, *centre+width/2
	case DriverHalf:
		if g.Width == nil {
			return Rect{}, []string{"glass.width_mm"}
		}
		r.DriverMax = *g.Width / 2
	default:
		if g.Width != nil {
			r.DriverMax = *g.Width
		}
		r.DriverMin, r.DriverMax = r.DriverMin+z.SideInset, r.DriverMax-z.SideInset
	}
	z.upright(&r, g)
	return r, nil
}

// upright sets the lower and upper end. Where a reading is missing the zone is taken as large as
// it can be, which is the stricter reading, and the reading is named.
func (z Zone) upright(r *Rect, g Glass) {
	r.LowerMax = maxLength
	if g.Height != nil {
		r.LowerMax = *g.Height - z.TopInset
	} else if z.TopInset > 0 {
		r.Estimated = append(r.Estimated, "glass.height_mm")
	}
	if z.UpToWiper {
		if g.WiperTop != nil {
			r.LowerMax = *g.WiperTop
		} else {
			r.Estimated = append(r.Estimated, "glass.wiper_top_mm")
		}
	}
	r.LowerMin = z.BottomInset
	if z.AboveSteering {
		if g.SteeringTop != nil {
			r.LowerMin = *g.SteeringTop
		} else {
			r.Estimated = append(r.Estimated, "glass.steering_top_mm")
		}
	}
}

// Reaches tells whether a circle around the place touches the area; its border belongs to it.
func (r Rect) Reaches(p Place, radius Length) bool {
	across := int64(max(r.DriverMin-p.FromDriverEdge, p.FromDriverEdge-r.DriverMax, 0))
	upward := int64(max(r.LowerMin-p.FromLowerEdge, p.FromLowerEdge-r.LowerMax, 0))
	return across*across+upward*upward <= int64(radius)*int64(radius)
}

// widened moves both sides outward (inward when negative).
func (r Rect) widened(by Length) Rect {
	r.DriverMin, r.DriverMax = r.DriverMin-by, r.DriverMax+by
	return r
}

// where is what is known of the zone of a damage.
type where struct {
	// zones are those it may lie in, the strictest first: one when it is known.
	zones []Zone
	// missing names what would tell.
	missing []string
	// mayReach names a zone that a crack of unknown direction may run into.
	mayReach string
}

// locate finds the zone of a damage: the strictest that any part of it reaches. A crack counts
// where its middle lies, since its direction is not recorded.
func locate(s Standard, g Glass, d Damage) where {
	if d.Place == nil {
		if len(s.Zones) > 1 {
			return where{zones: s.Zones, missing: []string{"place"}}
		}
		return where{zones: s.Zones}
	}
	var w where
	for _, z := range s.Zones {
		if z.Band == "" {
			w.zones = append(w.zones, z)
			break
		}
		answer, missing := z.holds(g, d)
		if answer == No {
			if w.mayReach == "" && z.mayBeReached(g, d) {
				w.mayReach = z.Name
			}
			continue
		}
		w.zones = append(w.zones, z)
		if answer == Yes {
			break
		}
		w.missing = append(w.missing, missing...)
	}
	return w
}

// holds tells whether the damage reaches the zone, and if that is not known, for want of what.
func (z Zone) holds(g Glass, d Damage) (Answer, []string) {
	rect, missing := z.rect(g)
	if missing != nil {
		return Unknown, missing
	}
	margin := Length(0)
	if slices.Contains(rect.Estimated, "glass.steering_centre_mm") {
		margin = estimateMargin
	}
	switch radius := reach(d); {
	case rect.widened(-margin).Reaches(*d.Place, radius):
		return Yes, nil
	case rect.widened(margin).Reaches(*d.Place, radius):
		return Unknown, []string{"glass.steering_centre_mm"}
	}
	return No, nil
}

// reach is how far a damage goes from its place in every direction.
func reach(d Damage) Length {
	if d.Kind == Crack {
		return 0
	}
	return (size(d).low + 1) / 2
}

func (z Zone) mayBeReached(g Glass, d Damage) bool {
	if d.Kind != Crack {
		return false
	}
	rect, missing := z.rect(g)
	return missing == nil && rect.Reaches(*d.Place, (size(d).low+1)/2)
}
