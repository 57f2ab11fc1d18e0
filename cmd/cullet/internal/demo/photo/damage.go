package photo

import (
	"math"
	"math/rand/v2"

	"cullet/services/repairability"
)

// faint is how much of a break still shows when it is filled with resin.
const faint = 0.15

// draw paints a break around the origin, in millimetres.
func (f *frame) draw(d Damage, isAfter bool) {
	rng := rand.New(rand.NewPCG(d.Seed, 0x5eed))
	strength := 1.0
	if isAfter && d.Outcome != repairability.Declined {
		strength = faint
	}
	turn := between(rng, 0, 2*math.Pi)
	switch d.Kind {
	case repairability.Bullseye:
		f.cone(d.Body/2, turn, strength, false)
	case repairability.HalfMoon:
		f.cone(d.Body/2, turn, strength, true)
	case repairability.StarBreak:
		f.legs(rng, d, turn, strength)
	case repairability.CombinationBreak:
		f.cone(d.Body/2, turn, strength, rng.IntN(2) == 0)
		f.legs(rng, d, turn, strength)
	case repairability.Crack:
		f.crack(rng, d, strength)
		return
	}
	if isAfter && d.Outcome == repairability.SpreadDuringRepair {
		f.line(f.wander(rng, vec{}, turn+0.4, runOut, 36), 0.9, 1)
	}
	f.pit(rng, d.Pit/2, strength)
}

// cone is the separated cone of a bullseye, or the half of one: dark rings with a bright crescent.
func (f *frame) cone(radius, turn, strength float64, isHalf bool) {
	toward, light := heading(turn), heading(turn+2.2)
	const grain = 512 // What depends on the distance alone is computed once for each ring.
	const outside = 1.15
	var dark, bright [grain + 1]float32
	for i := range dark {
		r := outside * float64(i) / grain
		dark[i] = float32(strength * (0.42 + 0.34*step(0.2, 0.95, r) + 0.10*math.Sin(r*15+turn)) * (1 - step(0.97, 1.04, r)))
		rim, crescent := step(0.86, 0.95, r)*(1-step(1.0, 1.09, r)), step(0.42, 0.55, r)*(1-step(0.6, 0.72, r))
		bright[i] = float32(strength * (0.85*rim + 0.4*crescent))
	}
	f.shade(vec{}, radius*outside, func(p vec) paint {
		distance := math.Sqrt(p.x*p.x + p.y*p.y)
		at := int(distance / (radius * outside) * grain)
		if at >= grain {
			return paint{}
		}
		d, b := dark[at], bright[at]
		facing := float32(max(0, (p.x*light.x+p.y*light.y)/max(distance, 1e-9)))
		b *= facing * facing * facing
		if isHalf {
			part := float32(step(-0.12*radius, 0.1*radius, p.x*toward.x+p.y*toward.y))
			d, b = d*part, b*part
		}
		// First the dark, then the light over it, as one paint.
		cover := d + b - d*b
		if cover == 0 {
			return paint{}
		}
		return paint{y: (24*d*(1-b) + 234*b) / cover, cb: 129, cr: 126, cover: cover}
	})
}

// pit is the little hole of the impact; after the repair it is level and shines.
func (f *frame) pit(rng *rand.Rand, radius, strength float64) {
	if radius <= 0 {
		return
	}
	shape := blob(rng, vec{}, radius, 21)
	if strength < 1 {
		f.shade(vec{}, radius*1.3, func(p vec) paint {
			r := p.length() / radius
			return grey(225, 0.34*(1-step(0.8, 1.15, r))*step(0.35, 0.95, r))
		})
		return
	}
	f.fill(grey(18, 0.8), blob(rng, vec{0.07 * radius, 0.09 * radius}, radius*1.1, 21))
	f.fill(rgb(196, 206, 204).thin(0.9), shape)
	for range 6 {
		at := heading(between(rng, 0, 2*math.Pi)).times(radius * between(rng, 0.1, 0.6))
		f.fill(grey(between(rng, 60, 250), 0.75), blob(rng, at, radius*between(rng, 0.12, 0.3), 6))
	}
}

// legs are the straight cracks of a star; the first two lie opposite and span the whole.
func (f *frame) legs(rng *rand.Rand, d Damage, turn, strength float64) {
	width := max(0.22, d.Spread*0.011)
	for i := range d.Legs {
		angle := turn + 2*math.Pi*float64(i)/float64(d.Legs) + between(rng, -0.22, 0.22)
		reach := d.Spread / 2 * between(rng, 0.55, 0.9)
		if i == 0 || i == d.Legs/2 {
			reach = d.Spread / 2
		}
		f.line(f.wander(rng, heading(angle).times(0.3), angle, reach, 9), width, strength)
	}
}

// crack is a single line, nearly level, that begins at an edge when it touches one.
func (f *frame) crack(rng *rand.Rand, d Damage, strength float64) {
	start := vec{-d.Length / 2, between(rng, -0.05, 0.05) * d.Length}
	f.line(f.wander(rng, start, between(rng, -0.15, 0.15), d.Length, 48), max(0.35, d.Length*0.004), strength)
	if d.EdgesTouched == 0 {
		f.pit(rng, d.Pit/2, strength)
	}
}

// wander gives the points of a crack that runs from start, not quite straight.
func (f *frame) wander(rng *rand.Rand, start vec, angle, length float64, pieces int) []vec {
	points := []vec{start}
	bend := 0.0
	for range pieces {
		bend = 0.8*bend + between(rng, -0.06, 0.06)
		angle += bend
		jitter := between(rng, -0.2, 0.2)
		points = append(points, points[len(points)-1].add(heading(angle+jitter).times(length/float64(pieces))))
	}
	return points
}

// line paints a crack: a dark thread with the light that its far wall throws back.
func (f *frame) line(points []vec, width, strength float64) {
	const piece = 4 // Short pieces keep the boxes that are rasterized small.
	for from := 0; from+1 < len(points); from += piece {
		to := min(from+piece+1, len(points))
		taper := func(i int) float64 { return width * (1 - 0.8*float64(i)/float64(len(points)-1)) }
		f.fill(grey(20, 0.78*strength), ribbon(points, from, to, taper, 0))
		f.fill(rgb(232, 242, 242).thin(0.72*strength), ribbon(points, from, to, taper, 0.8))
	}
}

// ribbon is the outline of a line of some width, moved sideways by a share of the width.
func ribbon(points []vec, from, to int, width func(int) float64, aside float64) []vec {
	var one, other []vec
	for i := from; i < to; i++ {
		along := points[min(i+1, len(points)-1)].sub(points[max(i-1, 0)])
		side := along.left().times(1 / max(along.length(), 1e-9))
		middle := points[i].add(side.times(width(i) * aside))
		one = append(one, middle.add(side.times(width(i)/2)))
		other = append(other, middle.sub(side.times(width(i)/2)))
	}
	for i := len(other) - 1; i >= 0; i-- {
		one = append(one, other[i])
	}
	return one
}
