package photo

import "math"

// vec is a point or a direction, in the units of whoever draws.
type vec struct{ x, y float64 }

func (a vec) add(b vec) vec           { return vec{a.x + b.x, a.y + b.y} }
func (a vec) sub(b vec) vec           { return vec{a.x - b.x, a.y - b.y} }
func (a vec) times(f float64) vec     { return vec{a.x * f, a.y * f} }
func (a vec) length() float64         { return math.Hypot(a.x, a.y) }
func (a vec) left() vec               { return vec{-a.y, a.x} }
func heading(angle float64) vec       { return vec{math.Cos(angle), math.Sin(angle)} }
func mix(a, b, share float64) float64 { return a + (b-a)*share }

// step goes smoothly from 0 at from to 1 at to.
func step(from, to, at float64) float64 {
	t := min(max((at-from)/(to-from), 0), 1)
	return t * t * (3 - 2*t)
}

// affine maps x, y to a*x + b*y + c, d*x + e*y + f.
type affine struct{ a, b, c, d, e, f float64 }

func (m affine) of(p vec) vec { return vec{m.a*p.x + m.b*p.y + m.c, m.d*p.x + m.e*p.y + m.f} }

// after gives the map that applies first and then m.
func (m affine) after(first affine) affine {
	o, x, y := m.of(first.of(vec{})), m.of(first.of(vec{1, 0})), m.of(first.of(vec{0, 1}))
	return affine{x.x - o.x, y.x - o.x, o.x, x.y - o.y, y.y - o.y, o.y}
}

// scale tells by how much lengths grow; the maps used here keep proportions.
func (m affine) scale() float64 { return math.Hypot(m.a, m.d) }

// inverse gives the way back.
func (m affine) inverse() affine {
	det := m.a*m.e - m.b*m.d
	back := affine{a: m.e / det, b: -m.b / det, d: -m.d / det, e: m.a / det}
	o := back.of(vec{m.c, m.f})
	back.c, back.f = -o.x, -o.y
	return back
}

// turned scales by zoom, turns by angle and moves the origin to at.
func turned(zoom, angle float64, at vec) affine {
	c, s := zoom*math.Cos(angle), zoom*math.Sin(angle)
	return affine{c, -s, at.x, s, c, at.y}
}

// storing maps upright pixels to the pixels of a file of the stored size whose EXIF orientation
// tells a viewer to turn it back. Mirrored orientations are not drawn: no phone writes them.
func storing(orientation int, width, height float64) affine {
	switch orientation {
	case 3:
		return affine{a: -1, c: width, e: -1, f: height}
	case 6:
		return affine{b: 1, d: -1, f: height}
	case 8:
		return affine{b: -1, c: width, d: 1}
	}
	return affine{a: 1, e: 1}
}
