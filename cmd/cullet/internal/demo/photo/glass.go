package photo

import (
	"math"
	"strconv"
)

// The proportions of a drawn car, by the width of its glass.
const (
	usualWidth, usualHeight = 1450.0, 860.0 // Millimetres.
	topShare                = 0.80          // Of the upper edge to the lower.
)

// wholeGlass draws the vehicle from the front, with each break marked and numbered.
func (f *frame) wholeGlass(s Shot) {
	width, height := s.GlassWidth, s.GlassHeight
	if width <= 0 {
		width = usualWidth
	}
	if height <= 0 {
		height = usualHeight
	}
	f.yard()
	// The glass leans back: from the front it is seen lower than it is.
	lean := f.between(0.55, 0.68)
	zoom := min(f.width*f.between(0.66, 0.8)/width, 0.52/(height*lean))
	at := vec{f.width * f.between(0.45, 0.55), f.between(0.58, 0.68)}
	tilt := f.between(-0.05, 0.05)
	pane := pane{width: width, height: height, lean: lean}
	f.body(pane, turned(zoom, tilt, at))
	f.glaze()
	f.within(zoom, tilt, at)
	f.rim(pane)
	f.wipers(pane)
	for i, d := range s.Damages {
		f.marked(pane, d.completed(), i+1, zoom)
	}
}

// pane places points of the glass, with the origin in the middle of its lower edge and the
// vertical foreshortened.
type pane struct{ width, height, lean float64 }

// point takes across from -1 to 1 and up from 0 to 1.
func (g pane) point(across, up float64) vec {
	half := g.width / 2 * mix(1, topShare, up)
	bow := 0.06 * g.height * (1 - across*across) // Both edges are bowed.
	return vec{across * half, -(up*g.height + bow*mix(-1, 0.7, up)) * g.lean}
}

// outline goes round the glass, larger by a margin in millimetres.
func (g pane) outline(margin float64) []vec {
	larger := pane{width: g.width + 2*margin, height: g.height + 2*margin, lean: g.lean}
	const pieces = 14
	var points []vec
	for i := range pieces + 1 {
		points = append(points, larger.point(2*float64(i)/pieces-1, 0))
	}
	for i := range pieces + 1 {
		points = append(points, larger.point(1-2*float64(i)/pieces, 1))
	}
	for i := range points {
		points[i].y += margin * g.lean
	}
	return points
}

// yard is where the vehicle stands: a wall or a hedge, and the ground.
func (f *frame) yard() {
	line := f.between(0.3, 0.55)
	back, floor := f.anything(), grey(f.between(90, 165), 1)
	sky := rgb(f.between(150, 200), f.between(180, 215), f.between(205, 240))
	roof := line * f.between(0.1, 0.7)
	f.wash(func(p vec) paint {
		above := blend(sky, back, step(roof-0.05, roof+0.05, p.y))
		return blend(above, floor, step(line-0.04, line+0.04, p.y))
	})
	for range 10 + f.rng.IntN(4) {
		size := f.between(0.06, 0.28)
		f.blot(blot{at: vec{f.between(0, f.width), f.between(0, line+0.15)}, half: vec{size * f.between(0.5, 1.5), size},
			soft: f.between(0.2, 0.5), isBox: f.rng.IntN(3) > 0, paint: f.anything().thin(f.between(0.6, 1))})
	}
}

// body paints the vehicle on the backdrop; m maps millimetres to the frame.
func (f *frame) body(g pane, m affine) {
	at := func(points ...vec) []vec {
		for i := range points {
			points[i] = m.of(points[i])
		}
		return points
	}
	light := f.between(60, 215)
	paintwork := rgb(light*f.between(0.5, 1.1), light*f.between(0.6, 1.05), light*f.between(0.6, 1.15))
	dark := blend(paintwork, grey(20, 1), 0.35)
	w, h := g.width/2, g.height*g.lean
	roof := pane{width: g.width * 0.98, height: g.height * f.between(1.10, 1.22), lean: g.lean}
	f.outline(paintwork, at(roof.outline(60)...)...)
	f.outline(dark, at(vec{-w * 1.16, 40}, vec{-w * 1.02, -0.1 * h}, vec{w * 1.02, -0.1 * h}, vec{w * 1.16, 40},
		vec{w * 1.2, 0.9 * h}, vec{w * 1.12, 1.5 * h}, vec{-w * 1.12, 1.5 * h}, vec{-w * 1.2, 0.9 * h})...)
	f.outline(paintwork, at(vec{-w * 1.04, 60}, vec{w * 1.04, 60}, vec{w * 0.9, 0.62 * h}, vec{-w * 0.9, 0.62 * h})...)
	for _, side := range []float64{-w, w} { // Its mirror and its lamp.
		f.outline(dark, at(vec{side * 1.02, -0.22 * h}, vec{side * 1.26, -0.3 * h}, vec{side * 1.27, -0.08 * h},
			vec{side * 1.02, -0.05 * h})...)
		f.outline(grey(225, 0.8), at(vec{side * 0.72, 0.74 * h}, vec{side * 1.08, 0.66 * h}, vec{side * 1.06, 0.82 * h},
			vec{side * 0.74, 0.86 * h})...)
	}
	f.outline(grey(30, 0.9), at(vec{-w * 0.6, 0.76 * h}, vec{w * 0.6, 0.76 * h}, vec{w * 0.52, 1.0 * h}, vec{-w * 0.52, 1.0 * h})...)
	f.outline(rgb(38, 46, 48), at(g.outline(0)...)...)
	f.inside(g, m)
}

// inside shows what is seen through the glass: seats, a wheel, the mirrored sky.
func (f *frame) inside(g pane, m affine) {
	zoom := m.scale()
	spot := func(across, up, halfX, halfY, light, cover float64) {
		f.blot(blot{at: m.of(g.point(across, up)), half: vec{halfX * zoom, halfY * zoom}, soft: 0.25,
			paint: grey(light, cover)})
	}
	for _, side := range []float64{-0.45, 0.45} {
		spot(side, 0.42, 150, 190, 74, 0.8)
		spot(side, 0.68, 80, 70, 84, 0.8)
	}
	spot(0.45, 0.16, 150, 60, 15, 0.8)
	spot(f.between(-0.6, 0.6), f.between(0.5, 0.9), 330, 90, 190, f.between(0.15, 0.4))
	f.outline(rgb(190, 210, 220).thin(f.between(0.08, 0.25)), m.of(g.point(-0.9, 0.95)), m.of(g.point(f.between(-0.4, 0.2), 0.98)),
		m.of(g.point(f.between(-0.8, 0), 0.03)), m.of(g.point(-0.98, 0.04)))
}

// rim is the painted edge of the glass, sharp, and the mirror's foot.
func (f *frame) rim(g pane) {
	outer, inner := g.outline(8), g.outline(-26)
	n := len(outer)
	for i := range n {
		j := (i + 1) % n
		f.fill(grey(12, 0.96), []vec{outer[i], outer[j], inner[j], inner[i]})
	}
	top := g.point(0, 0.97)
	f.fill(grey(14, 0.95), []vec{top.add(vec{-70, 0}), top.add(vec{70, 0}), top.add(vec{46, 66}), top.add(vec{-46, 66})})
	f.fill(grey(26, 0.95), box(top.add(vec{-105, 62}), top.add(vec{105, 108})))
}

func (f *frame) wipers(g pane) {
	for _, side := range []float64{-0.62, 0.18} {
		foot, tip := g.point(side, 0.01), g.point(side+f.between(0.5, 0.62), f.between(0.05, 0.10))
		arm := []vec{foot, tip}
		f.fill(grey(10, 0.95), ribbon(arm, 0, 2, func(int) float64 { return 15 }, 0))
		f.fill(grey(70, 0.8), ribbon(arm, 0, 2, func(int) float64 { return 4 }, 1.2))
	}
}

// marked draws a break at its place and size, with a round sticker beside it that numbers it.
func (f *frame) marked(g pane, d Damage, number int, zoom float64) {
	across, up := 1-2*d.FromDriverEdge/g.width, d.FromLowerEdge/g.height
	if d.FromDriverEdge == 0 && d.FromLowerEdge == 0 {
		across, up = 0.1, 0.5
	}
	// Seen from outside, the driver of a vehicle made for the right side of the road sits right.
	at := g.point(min(max(across, -0.97), 0.97), min(max(up, 0.02), 0.98))
	outer := f.place
	f.place = outer.after(affine{a: 1, c: at.x, e: g.lean, f: at.y})
	f.draw(d, false)
	f.place = outer
	reach := max(d.Body, d.Spread, d.Length, 4*d.Pit)/2 + 14
	f.loop(at, reach, 5)
	tag := at.add(vec{reach + 34, -reach*g.lean - 20})
	f.fill(rgb(240, 200, 60), ring(tag, 34, 28))
	digit := strconv.Itoa(number)
	size := 52.0
	f.write(regular(), digit, tag.add(vec{-widthOf(regular(), digit) * size / 2, size * 0.36}), size, grey(20, 1))
}

// loop is a circle drawn with a marker.
func (f *frame) loop(at vec, radius, width float64) {
	const pieces = 40
	for i := range pieces {
		a, b := 2*math.Pi*float64(i)/pieces, 2*math.Pi*float64(i+1)/pieces
		f.fill(rgb(240, 200, 60), []vec{at.add(heading(a).times(radius)), at.add(heading(b).times(radius)),
			at.add(heading(b).times(radius + width)), at.add(heading(a).times(radius + width))})
	}
}
