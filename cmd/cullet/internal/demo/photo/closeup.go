package photo

import (
	"fmt"
	"math"
	"math/rand/v2"

	"cullet/services/repairability"
)

// closeUp draws one break, near and sharp, before or after its repair.
func (f *frame) closeUp(d Damage, isAfter bool) {
	d = d.completed()
	if f.rng.IntN(2) == 0 {
		f.street()
	} else {
		f.cabin()
	}
	f.glaze()
	height := f.fieldOfView(d, isAfter)
	zoom := 1 / height // Of the frame to one millimetre.
	at := vec{f.width * f.between(0.42, 0.58), f.between(0.40, 0.54)}
	tilt := f.between(-0.12, 0.12)
	f.within(zoom, tilt, at)
	f.specks(height)
	if d.Kind == repairability.Crack && d.EdgesTouched > 0 {
		f.edgeBand(d, height)
	}
	f.draw(d, isAfter)
	f.scaleStrip(height)
}

// completed puts usual sizes where none are given.
func (d Damage) completed() Damage {
	usual := map[repairability.Kind]Damage{
		repairability.Bullseye:         {Body: 14, Pit: 3},
		repairability.HalfMoon:         {Body: 15, Pit: 3},
		repairability.StarBreak:        {Spread: 36, Pit: 2.5, Legs: 5},
		repairability.CombinationBreak: {Body: 15, Spread: 42, Pit: 3, Legs: 5},
		repairability.SurfacePit:       {Pit: 4},
		repairability.Crack:            {Length: 140, Pit: 2},
	}[d.Kind]
	fallBack := func(value *float64, to float64) {
		if *value <= 0 {
			*value = to
		}
	}
	fallBack(&d.Body, usual.Body)
	fallBack(&d.Spread, usual.Spread)
	fallBack(&d.Length, usual.Length)
	fallBack(&d.Pit, usual.Pit)
	if d.Legs <= 0 {
		d.Legs = usual.Legs
	}
	return d
}

// runOut is how far, in millimetres, a break has run that spread while it was repaired.
const runOut = 95

// fieldOfView tells how many millimetres the frame is high.
func (f *frame) fieldOfView(d Damage, isAfter bool) float64 {
	if d.Kind == repairability.Crack {
		return max(60, d.Length*f.between(1.25, 1.45)/f.width)
	}
	reach := max(d.Body, d.Spread, 4*d.Pit)
	if isAfter && d.Outcome == repairability.SpreadDuringRepair {
		reach = max(reach, 1.5*runOut)
	}
	return max(56, reach*f.between(2.2, 2.9))
}

// specks are dust on the glass, which phones like to focus on.
func (f *frame) specks(height float64) {
	for range 14 {
		at := vec{f.between(-0.6, 0.6) * height, f.between(-0.45, 0.45) * height}
		f.fill(grey(f.between(150, 240), f.between(0.3, 0.7)), blob(f.rng, at, height*f.between(0.0008, 0.0024), 7))
	}
}

// scaleStrip is a paper strip with millimetres, as a technician holds it to the glass.
func (f *frame) scaleStrip(height float64) {
	long := math.Max(10, math.Floor(height*0.42/10)*10)
	wide := height * 0.055
	origin := vec{-f.width * height * f.between(0.28, 0.36), height * 0.34}
	shadow := box(origin.add(vec{0.06 * wide, 0.08 * wide}), origin.add(vec{long + 0.17*wide, 1.14 * wide}))
	f.fill(grey(20, 0.25), shadow)
	f.fill(rgb(244, 240, 226), box(origin.sub(vec{wide * 0.3, 0}), origin.add(vec{long + wide*0.3, wide})))
	every := 1.0
	if height > 130 {
		every = 5
	}
	thick := height * 0.0011
	for at := 0.0; at <= long; at += every {
		reach := wide * 0.22
		if math.Mod(at, 10) == 0 {
			reach = wide * 0.5
		} else if math.Mod(at, 5) == 0 {
			reach = wide * 0.34
		}
		x := origin.x + at
		f.fill(grey(25, 0.95), box(vec{x - thick/2, origin.y}, vec{x + thick/2, origin.y + reach}))
	}
	at := vec{origin.x + long - wide*1.9, origin.y + wide*0.92}
	f.write(regular(), fmt.Sprintf("%.0f mm", long), at, wide*0.42, grey(25, 0.95))
}

// edgeBand is the painted edge of the glass that a crack comes from, with its row of dots.
func (f *frame) edgeBand(d Damage, height float64) {
	x := -d.Length/2 - 1.5
	far := x - height*f.width
	f.fill(grey(14, 0.97), box(vec{far, -2 * height}, vec{x, 2 * height}))
	dot := height * 0.011
	for y := -0.75 * height; y < 0.75*height; y += dot * 2.6 {
		f.fill(grey(14, 0.9), ring(vec{x + dot*1.5, y}, dot*0.8, 12))
		f.fill(grey(14, 0.8), ring(vec{x + dot*3.6, y + dot*1.3}, dot*0.5, 10))
	}
}

// ring is a circle as a polygon.
func ring(at vec, radius float64, corners int) []vec {
	points := make([]vec, corners)
	for i := range points {
		points[i] = at.add(heading(2 * math.Pi * float64(i) / float64(corners)).times(radius))
	}
	return points
}

// blob is a circle with an uneven edge.
func blob(rng *rand.Rand, at vec, radius float64, corners int) []vec {
	points := make([]vec, corners)
	for i := range points {
		r := radius * between(rng, 0.75, 1)
		points[i] = at.add(heading(2 * math.Pi * float64(i) / float64(corners)).times(r))
	}
	return points
}
