package photo

import "math"

// plate draws the plate with the vehicle's number, as it is seen through the foot of the glass.
func (f *frame) plate(number string) {
	f.dashboard()
	f.glaze()
	width := f.width * f.between(0.66, 0.8)
	if f.width < 1 {
		width = f.width * f.between(0.84, 0.92)
	}
	at := vec{f.width * f.between(0.46, 0.54), f.between(0.32, 0.62)}
	f.within(width/100, f.between(-0.14, 0.14), at) // The plate is 100 units wide.
	metal, letters := rgb(188, 192, 190), grey(28, 0.95)
	if f.rng.IntN(2) == 0 {
		metal, letters = rgb(30, 32, 34), grey(226, 0.95)
	}
	f.fill(grey(8, 0.5), box(vec{-49, -6.4}, vec{51.4, 8.4}))
	f.fill(metal, box(vec{-50, -7.5}, vec{50, 7.5}))
	f.fill(grey(250, 0.10), []vec{{-50, -7.5}, {-6, -7.5}, {-22, 7.5}, {-50, 7.5}})
	f.fill(letters.thin(0.5), box(vec{-49.2, -6.7}, vec{49.2, -6.4}))
	f.fill(letters.thin(0.5), box(vec{-49.2, 6.4}, vec{49.2, 6.7}))
	for _, side := range []float64{-1, 1} {
		f.rivet(vec{side * 47, 0})
	}
	if number != "" {
		size := min(88/widthOf(monoBold(), number), 9.5)
		start := vec{-widthOf(monoBold(), number) * size / 2, size * 0.36}
		f.write(monoBold(), number, start.add(vec{0.22, 0.25}), size, grey(120, 0.5))
		f.write(monoBold(), number, start, size, letters)
	}
	f.place = f.unit
	f.frit()
}

func (f *frame) rivet(at vec) {
	f.fill(grey(60, 0.9), ring(at, 1.5, 18))
	f.fill(grey(170, 0.9), ring(at.sub(vec{0.15, 0.15}), 1.15, 16))
	f.fill(grey(240, 0.8), ring(at.sub(vec{0.45, 0.45}), 0.35, 10))
}

// dashboard is the dark ledge behind the foot of the glass, with what is mirrored above it.
func (f *frame) dashboard() {
	light, lean, line := f.between(28, 62), f.between(-0.2, 0.2), f.between(0.12, 0.34)
	f.wash(func(p vec) paint {
		shade := light * (0.8 + 0.5*p.y)
		dark := rgb(shade, shade*1.01, shade*1.05)
		behind := rgb(light*1.7, light*1.8, light*1.8)
		return blend(behind, dark, step(-0.08, 0.08, p.y-line-lean*(p.x/f.width-0.5)))
	})
	for range 8 + f.rng.IntN(4) {
		size := f.between(0.08, 0.3)
		f.blot(blot{at: vec{f.between(0, f.width), f.between(0, 1)}, half: vec{size * f.between(0.6, 2.2), size * 0.6},
			angle: f.between(-0.9, 0.9), soft: f.between(0.3, 0.6), isBox: f.rng.IntN(2) == 0,
			paint: f.anything().thin(f.between(0.25, 0.7))})
	}
}

// frit is the painted foot of the glass, which ends in dots that grow smaller.
func (f *frame) frit() {
	slope, foot := f.between(-0.05, 0.05), f.between(0.86, 0.93)
	edge := func(x float64) float64 { return foot + slope*(x/f.width-0.5) + 0.02*math.Sin(x*2.1) }
	const pieces = 16
	for i := range pieces {
		left, right := f.width*float64(i)/pieces, f.width*(float64(i)+1)/pieces
		f.fill(grey(11, 0.97), []vec{{left, 1.01}, {left, edge(left)}, {right, edge(right)}, {right, 1.01}})
	}
	for row, size := range []float64{0.0072, 0.005, 0.003} {
		for x := 0.01 * float64(row%2); x < f.width; x += 0.02 {
			f.fill(grey(11, 0.92), ring(vec{x, edge(x) - 0.012 - 0.016*float64(row)}, size, 10))
		}
	}
}
