package photo

import (
	"image"
	"image/draw"
	"math"
)

// blot is a soft spot of colour on the backdrop: an ellipse, or a box.
type blot struct {
	at, half vec
	angle    float64
	// soft is the width of the edge as a share of the size.
	soft  float64
	isBox bool
	paint paint
}

// wash sets every sample of the backdrop.
func (f *frame) wash(colour func(p vec) paint) {
	f.eachCell(image.Rectangle{Max: f.cells}, func(at int, p vec) {
		one := colour(p)
		f.backdrop[0][at], f.backdrop[1][at], f.backdrop[2][at] = one.y, one.cb, one.cr
	})
}

// blot blends a soft spot into the backdrop.
func (f *frame) blot(b blot) {
	reach := vec{b.half.x * (1 + b.soft), b.half.y * (1 + b.soft)}
	c, s := math.Cos(b.angle), math.Sin(b.angle)
	box := vec{math.Abs(c)*reach.x + math.Abs(s)*reach.y, math.Abs(s)*reach.x + math.Abs(c)*reach.y}
	f.eachCell(f.cellsUnder(b.at.sub(box), b.at.add(box)), func(at int, p vec) {
		p = p.sub(b.at)
		u, v := (c*p.x+s*p.y)/b.half.x, (c*p.y-s*p.x)/b.half.y
		var inside float64
		if b.isBox {
			inside = (1 - step(1-b.soft, 1+b.soft, math.Abs(u))) * (1 - step(1-b.soft, 1+b.soft, math.Abs(v)))
		} else {
			inside = 1 - step(1-b.soft, 1+b.soft, math.Sqrt(u*u+v*v))
		}
		f.tint(at, b.paint, b.paint.cover*float32(inside))
	})
}

// outline fills a polygon on the backdrop; its edge is as soft as the backdrop is coarse.
func (f *frame) outline(p paint, points ...vec) {
	f.raster.Reset(f.cells.X, f.cells.Y)
	f.raster.DrawOp = draw.Src
	for i, point := range points {
		q := f.unit.of(point)
		if i == 0 {
			f.raster.MoveTo(float32(q.x/cell), float32(q.y/cell))
		} else {
			f.raster.LineTo(float32(q.x/cell), float32(q.y/cell))
		}
	}
	f.raster.ClosePath()
	mask := image.NewAlpha(image.Rectangle{Max: f.cells})
	f.raster.Draw(mask, mask.Rect, image.Opaque, image.Point{})
	for at, covered := range mask.Pix {
		if covered > 0 {
			f.tint(at, p, p.cover*float32(covered)/255)
		}
	}
}

func (f *frame) tint(at int, p paint, cover float32) {
	f.backdrop[0][at] += (p.y - f.backdrop[0][at]) * cover
	f.backdrop[1][at] += (p.cb - f.backdrop[1][at]) * cover
	f.backdrop[2][at] += (p.cr - f.backdrop[2][at]) * cover
}

// cellsUnder gives the samples that lie in an upright box of the frame.
func (f *frame) cellsUnder(low, high vec) image.Rectangle {
	a, b := f.unit.of(low), f.unit.of(high)
	box := image.Rect(int(a.x/cell), int(a.y/cell), int(b.x/cell), int(b.y/cell)) // Image.Rect sorts them.
	box.Min, box.Max = box.Min.Sub(image.Pt(1, 1)), box.Max.Add(image.Pt(2, 2))
	return box.Intersect(image.Rectangle{Max: f.cells})
}

// eachCell calls do with the index of each sample and the point of the frame that it stands for.
func (f *frame) eachCell(box image.Rectangle, do func(at int, p vec)) {
	back := f.unit.inverse()
	across := vec{back.a * cell, back.d * cell}
	for y := box.Min.Y; y < box.Max.Y; y++ {
		p := back.of(vec{(float64(box.Min.X) + 0.5) * cell, (float64(y) + 0.5) * cell})
		for x := box.Min.X; x < box.Max.X; x++ {
			do(y*f.cells.X+x, p)
			p = p.add(across)
		}
	}
}

// street paints what is seen through a glass from inside, far out of focus: sky, things that
// stand about, the road.
func (f *frame) street() {
	horizon, lean := f.between(0.3, 0.7), f.between(-0.15, 0.15)
	high, low := rgb(f.between(110, 185), f.between(160, 205), f.between(200, 240)), grey(f.between(205, 240), 1)
	near, far := grey(f.between(55, 95), 1), grey(f.between(95, 150), 1)
	f.wash(func(p vec) paint {
		line := horizon + lean*(p.x/f.width-0.5)
		sky := blend(high, low, step(0, line, p.y))
		road := blend(far, near, step(line, 1.1, p.y))
		return blend(sky, road, step(line-0.04, line+0.04, p.y))
	})
	for range 9 + f.rng.IntN(5) {
		size := f.between(0.05, 0.24)
		f.blot(blot{at: vec{f.between(-0.1, f.width+0.1), horizon + f.between(-0.25, 0.12)},
			half: vec{size * f.between(0.6, 1.8), size}, soft: f.between(0.25, 0.6), isBox: f.rng.IntN(2) == 0,
			paint: f.anything().thin(f.between(0.6, 0.95))})
	}
}

// cabin paints what is seen through a glass from outside: a dark inside with seats and a wheel.
func (f *frame) cabin() {
	top, bottom := f.between(25, 75), f.between(20, 60)
	side := f.between(-30, 30)
	f.wash(func(p vec) paint {
		shade := mix(top, bottom, p.y) + side*(p.x/f.width-0.5)
		return rgb(shade*0.95, shade*1.03, shade)
	})
	for range 5 + f.rng.IntN(5) {
		size := f.between(0.12, 0.4)
		light := f.between(20, 150)
		f.blot(blot{at: vec{f.between(0, f.width), f.between(0, 1)}, half: vec{size, size * f.between(0.5, 1.6)},
			angle: f.between(-0.7, 0.7), soft: f.between(0.2, 0.5), isBox: f.rng.IntN(3) == 0,
			paint: rgb(light, light*f.between(0.9, 1.05), light*f.between(0.8, 1.1)).thin(f.between(0.5, 0.9))})
	}
	for range 2 + f.rng.IntN(3) { // Sky and houses are mirrored in the glass.
		f.blot(blot{at: vec{f.between(0, f.width), f.between(0, 1)},
			half: vec{f.between(0.15, 0.6), f.between(0.05, 0.35)}, angle: f.between(-1.2, 1.2),
			soft: f.between(0.15, 0.5), isBox: true,
			paint: rgb(180, 200, 215).thin(f.between(0.15, 0.45))})
	}
}

// anything is the colour of a tree, a wall, a parked car.
func (f *frame) anything() paint {
	light := f.between(35, 190)
	return rgb(light*f.between(0.75, 1.15), light*f.between(0.85, 1.1), light*f.between(0.7, 1.1))
}

// glaze lays the glass over the backdrop: a touch of green, streaks of light, darker corners.
func (f *frame) glaze() {
	for range 1 + f.rng.IntN(3) {
		f.blot(blot{at: vec{f.between(0, f.width), f.between(0.1, 0.9)}, half: vec{f.between(0.03, 0.16), 1.4},
			angle: f.between(0.3, 1.1), soft: 0.6, isBox: true, paint: grey(235, f.between(0.06, 0.24))})
	}
	glass := rgb(150, 190, 175).thin(0.06)
	middle := vec{f.width / 2, 0.5}
	f.eachCell(image.Rectangle{Max: f.cells}, func(at int, p vec) {
		f.tint(at, glass, glass.cover)
		f.backdrop[0][at] *= float32(1 - 0.28*step(0.45, 1.0, p.sub(middle).length()))
	})
}

func blend(a, b paint, share float64) paint {
	t := float32(share)
	return paint{a.y + (b.y-a.y)*t, a.cb + (b.cb-a.cb)*t, a.cr + (b.cr-a.cr)*t, 1}
}
