package plate

import (
	"fmt"
	"math"
	"strings"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// Shape is a break about its own middle.
type Shape struct {
	// Stroke is the path of its legs, its arc or its run.
	Stroke string
	// Rings are the radii of its circles, Dot that of its pit; 0 for none.
	Rings []float64
	Dot   float64
	// Size is what it measures across.
	Size float64
	// IsSized is false when nothing was measured; then it is drawn 10 mm across.
	IsSized bool
}

// unsized is how large a break is drawn whose sizes were not measured.
const unsized = 10

// Break gives the shape of a damage; the number only turns its legs, so that two stars on one
// glass are not twins. How legs lie and which way a crack runs is not recorded and drawn
// generically; their number and lengths are as recorded.
func Break(d *jobsv1.Damage, number int) Shape {
	body, spread := d.GetBodyDiameterMm(), d.GetSpreadMm()
	across := max(body, spread, d.GetCrackLengthMm(), d.GetPitDiameterMm())
	s := Shape{Size: across, IsSized: across > 0, Dot: d.GetPitDiameterMm() / 2}
	if !s.IsSized {
		s.Size, s.Rings = unsized, []float64{unsized / 2}
		return s
	}
	if s.Dot == 0 {
		s.Dot = max(across*.045, .8)
	}
	switch d.GetKind() {
	case jobsv1.DamageKind_DAMAGE_KIND_CRACK:
		s.Stroke = crack(across, number)
		s.Dot = min(s.Dot, 2)
	case jobsv1.DamageKind_DAMAGE_KIND_STAR_BREAK:
		s.Stroke = legs(0, max(spread, body)/2, int(d.GetLegCount()), number)
	case jobsv1.DamageKind_DAMAGE_KIND_COMBINATION_BREAK:
		s.Rings = []float64{max(body, across*.4) / 2}
		s.Stroke = legs(s.Rings[0], across/2, int(d.GetLegCount()), number)
	case jobsv1.DamageKind_DAMAGE_KIND_HALF_MOON:
		s.Stroke = path("M", -across/2, across/8, "A", across/2, across/2, 0, 0, 1, across/2, across/8, "Z")
	case jobsv1.DamageKind_DAMAGE_KIND_SURFACE_PIT:
		s.Dot = across / 2
	default:
		s.Rings = []float64{across / 2, across / 4}
	}
	return s
}

// legs draws n legs from one radius to another, each with a bend; 7 when their number is not known.
func legs(from, to float64, n, turn int) string {
	if n <= 0 {
		n = 7
	}
	var d strings.Builder
	for i := range n {
		angle := 2*math.Pi*float64(i)/float64(n) + float64(turn)*.7 + wobble(i, turn)*.35
		// One leg is as long as the recorded spread, the others a little shorter.
		long := from + (to-from)*(1-.28*absolute(wobble(i*3, turn)))
		if i == 0 {
			long = to
		}
		bend := (from + long) / 2
		d.WriteString(path("M", from*math.Cos(angle), from*math.Sin(angle),
			"L", bend*math.Cos(angle+.12*wobble(i+1, turn)), bend*math.Sin(angle+.12*wobble(i+1, turn)),
			"L", long*math.Cos(angle), long*math.Sin(angle)))
	}
	return d.String()
}

// crack draws a run of the given length, level but for small bends.
func crack(long float64, turn int) string {
	const pieces = 6
	d := path("M", -long/2, 0)
	for i := 1; i <= pieces; i++ {
		y := 0.0
		if i < pieces {
			y = wobble(i, turn) * long * .035
		}
		d += path("L", -long/2+long*float64(i)/pieces, y)
	}
	return d
}

// wobble is a number from -1 to 1 that is always the same for the same two.
func wobble(i, turn int) float64 { return math.Sin(float64(i)*12.9898 + float64(turn)*78.233) }

// Lens is the enlarged view of one break with its own scale.
type Lens struct {
	ViewBox     string
	Middle, Rim float64
	// Rise is how far the break stands above the middle, to leave room for the scale.
	Rise  float64
	Shape Shape
	// Scale is the path of a scale ScaleMM long, labelled at TextX and TextY in text of TextSize.
	Scale                  string
	ScaleMM                int
	TextX, TextY, TextSize float64
	// Label tells it in words.
	Label string
}

// Transform puts the break at its place in the lens.
func (l Lens) Transform() string {
	return "translate(" + num(l.Middle) + " " + num(l.Middle-l.Rise) + ")"
}

// LensOf enlarges a damage: to 60 mm across or, when it is larger, to what it needs.
func LensOf(d *jobsv1.Damage, number int) Lens {
	shape := Break(d, number)
	across := max(60, shape.Size*1.5)
	l := Lens{ViewBox: fmt.Sprintf("0 0 %s %s", num(across), num(across)), Middle: across / 2, Rim: across/2 - across*.01,
		Rise: across * .05, Shape: shape, ScaleMM: 20, TextX: across / 2, TextY: across * .845, TextSize: across * .078}
	for float64(l.ScaleMM) < across/4 {
		l.ScaleMM *= 2
	}
	half, y, up := float64(l.ScaleMM)/2, across*.885, across*.025
	l.Scale = path("M", l.Middle-half, y, "H", l.Middle+half, "M", l.Middle-half, y-up, "V", y+up, "M", l.Middle+half, y-up, "V", y+up)
	l.Label = fmt.Sprintf("Damage %d enlarged: %s", number, strings.ToLower(Name(d)))
	return l
}

// Name is the kind of a damage with its size: "Star break, 38 mm across".
func Name(d *jobsv1.Damage) string {
	kind := strings.ReplaceAll(strings.TrimPrefix(d.GetKind().String(), "DAMAGE_KIND_"), "_", " ")
	kind = kind[:1] + strings.ToLower(kind[1:])
	switch shape := Break(d, 1); {
	case !shape.IsSized:
		return kind + ", size not recorded"
	case d.GetKind() == jobsv1.DamageKind_DAMAGE_KIND_CRACK:
		return kind + ", " + num(shape.Size) + " mm long"
	default:
		return kind + ", " + num(shape.Size) + " mm across"
	}
}
