package plate_test

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"cullet/cmd/cullet/internal/desk/plate"
	jobsv1 "cullet/proto/cullet/jobs/v1"
)

func glass(width, height float64, side jobsv1.DriverSide) *jobsv1.Glass {
	return &jobsv1.Glass{WidthMm: &width, HeightMm: &height, DriverSide: side}
}

func bullseyeAt(fromDriver, fromLower float64) *jobsv1.Damage {
	return &jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_BULLSEYE, BodyDiameterMm: proto.Float64(19),
		Place: &jobsv1.PlaceOnGlass{FromDriverEdgeMm: &fromDriver, FromLowerEdgeMm: &fromLower}}
}

// A driver on the left sits, for whoever stands before the car, on the right.
func TestDrawMirrorsThePlaceAndNotTheNumbers(t *testing.T) {
	t.Parallel()
	for side, want := range map[jobsv1.DriverSide]float64{
		jobsv1.DriverSide_DRIVER_SIDE_UNSPECIFIED: 1410 - 415,
		jobsv1.DriverSide_DRIVER_SIDE_LEFT:        1410 - 415,
		jobsv1.DriverSide_DRIVER_SIDE_RIGHT:       415,
	} {
		d, ok := plate.Draw(glass(1410, 765, side), []*jobsv1.Damage{bullseyeAt(415, 350)})
		if !ok {
			t.Fatalf("%s: not drawn", side)
		}
		if m := d.Marks[0]; m.X != want || m.Y != 765-350 || m.Number != 1 {
			t.Errorf("%s: mark %d at %g, %g, want %g, %d", side, m.Number, m.X, m.Y, want, 765-350)
		}
		for _, text := range []string{"415", "350"} {
			if !hasLabel(d, text) {
				t.Errorf("%s: no label %s", side, text)
			}
		}
		if !strings.Contains(d.Description, "415 mm from the driver's edge and 350 mm above the lower edge") {
			t.Errorf("%s: described as %q", side, d.Description)
		}
	}
}

func hasLabel(d plate.Drawing, text string) bool {
	for _, l := range d.Labels {
		if l.Text == text {
			return true
		}
	}
	return false
}

func TestDrawRefusesToGuess(t *testing.T) {
	t.Parallel()
	placed := bullseyeAt(415, 350)
	placeless := &jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_BULLSEYE, BodyDiameterMm: proto.Float64(19)}
	half := &jobsv1.Damage{Place: &jobsv1.PlaceOnGlass{FromDriverEdgeMm: proto.Float64(1)}}
	for name, c := range map[string]struct {
		glass   *jobsv1.Glass
		damages []*jobsv1.Damage
	}{
		"no glass":       {nil, []*jobsv1.Damage{placed}},
		"no height":      {&jobsv1.Glass{WidthMm: proto.Float64(1410)}, []*jobsv1.Damage{placed}},
		"no damage":      {glass(1410, 765, 0), nil},
		"no place":       {glass(1410, 765, 0), []*jobsv1.Damage{placeless}},
		"half of places": {glass(1410, 765, 0), []*jobsv1.Damage{half}},
	} {
		if _, ok := plate.Draw(c.glass, c.damages); ok {
			t.Errorf("%s: drawn all the same", name)
		}
	}
	d, ok := plate.Draw(glass(1410, 765, 0), []*jobsv1.Damage{placeless, placed})
	if !ok || len(d.Marks) != 1 || d.Marks[0].Number != 2 {
		t.Errorf("of two damages, one without a place, got %+v, %t; want number 2 alone", d.Marks, ok)
	}
	if d.Camera != "" || d.Wiper != "" || d.Steering != "" {
		t.Errorf("drew camera %q, wiper %q, steering %q that nobody recorded", d.Camera, d.Wiper, d.Steering)
	}
}

func TestOutlineIsAsLargeAsTheGlass(t *testing.T) {
	t.Parallel()
	d, _ := plate.Draw(glass(1460, 880, 0), []*jobsv1.Damage{bullseyeAt(100, 100)})
	minX, minY, maxX, maxY := bounds(t, d.Outline)
	for name, pair := range map[string][2]float64{"left": {minX, 0}, "top": {minY, 0}, "right": {maxX, 1460}, "bottom": {maxY, 880}} {
		if math.Abs(pair[0]-pair[1]) > 1.5 {
			t.Errorf("%s edge at %.1f mm, want %.0f", name, pair[0], pair[1])
		}
	}
}

var numbers = regexp.MustCompile(`-?[0-9.]+`)

// bounds follows the quadratic curves of an outline in small steps.
func bounds(t *testing.T, d string) (minX, minY, maxX, maxY float64) {
	t.Helper()
	var at [2]float64
	minX, minY, maxX, maxY = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, step := range strings.FieldsFunc(d, func(r rune) bool { return r == 'M' || r == 'Q' || r == 'Z' }) {
		var n []float64
		for _, text := range numbers.FindAllString(step, -1) {
			f, err := strconv.ParseFloat(text, 64)
			if err != nil {
				t.Fatal(err)
			}
			n = append(n, f)
		}
		if len(n) == 4 {
			for i := 0; i <= 100; i++ {
				u := float64(i) / 100
				x := (1-u)*(1-u)*at[0] + 2*u*(1-u)*n[0] + u*u*n[2]
				y := (1-u)*(1-u)*at[1] + 2*u*(1-u)*n[1] + u*u*n[3]
				minX, minY, maxX, maxY = min(minX, x), min(minY, y), max(maxX, x), max(maxY, y)
			}
		}
		at = [2]float64{n[len(n)-2], n[len(n)-1]}
	}
	return minX, minY, maxX, maxY
}

func TestBreakHasItsTrueSize(t *testing.T) {
	t.Parallel()
	for kind := range jobsv1.DamageKind_name {
		if kind == 0 {
			continue
		}
		d := &jobsv1.Damage{Kind: jobsv1.DamageKind(kind)}
		if s := plate.Break(d, 1); s.IsSized || !strings.Contains(plate.Name(d), "size not recorded") {
			t.Errorf("%s without a size: %+v, called %q", d.GetKind(), s, plate.Name(d))
		}
		d.BodyDiameterMm, d.SpreadMm, d.PitDiameterMm = proto.Float64(19), proto.Float64(38), proto.Float64(3)
		if s := plate.Break(d, 1); s.Size != 38 || !s.IsSized || s.Dot == 0 {
			t.Errorf("%s of 38 mm: %+v", d.GetKind(), s)
		}
	}
	crack := &jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_CRACK, CrackLengthMm: proto.Float64(142.5)}
	if got, want := plate.Name(crack), "Crack, 142.5 mm long"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestLensHoldsTheBreak(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Float64Range(1, 900).Draw(t, "size")
		l := plate.LensOf(&jobsv1.Damage{Kind: jobsv1.DamageKind_DAMAGE_KIND_STAR_BREAK, SpreadMm: &size}, 1)
		if l.Shape.Size/2+l.Rise > l.Rim {
			t.Errorf("a break of %g mm leaves the lens of radius %g", size, l.Rim)
		}
		if float64(l.ScaleMM) > 2*l.Rim*.7 {
			t.Errorf("the scale of %d mm is wider than the lens of %g", l.ScaleMM, 2*l.Rim)
		}
	})
}

func TestTagsKeepOffOneAnother(t *testing.T) {
	t.Parallel()
	damages := []*jobsv1.Damage{bullseyeAt(700, 400), bullseyeAt(760, 400), bullseyeAt(730, 460)}
	d, _ := plate.Draw(glass(1460, 880, 0), damages)
	for i, a := range d.Marks {
		for _, b := range d.Marks[i+1:] {
			if math.Hypot(a.TagX-b.TagX, a.TagY-b.TagY) < 60 {
				t.Errorf("tags %d and %d stand on one another at %.0f,%.0f and %.0f,%.0f", a.Number, b.Number, a.TagX, a.TagY, b.TagX, b.TagY)
			}
		}
	}
}

// Whatever is recorded, the drawing has only numbers in it.
func TestDrawNeverWritesNonsense(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Float64Range(-10, 5000)
		g := glass(size.Draw(t, "width"), size.Draw(t, "height"), jobsv1.DriverSide(rapid.IntRange(0, 2).Draw(t, "side")))
		g.WiperTopMm, g.SteeringCentreMm = proto.Float64(size.Draw(t, "wiper")), proto.Float64(size.Draw(t, "steering"))
		g.HasDriverAssistance = jobsv1.Known_KNOWN_YES
		var damages []*jobsv1.Damage
		for range rapid.IntRange(0, 5).Draw(t, "damages") {
			damage := bullseyeAt(size.Draw(t, "x"), size.Draw(t, "y"))
			damage.Kind = jobsv1.DamageKind(rapid.IntRange(0, 6).Draw(t, "kind"))
			damage.SpreadMm = proto.Float64(size.Draw(t, "spread"))
			damages = append(damages, damage)
		}
		d, ok := plate.Draw(g, damages)
		if !ok {
			return
		}
		all := d.ViewBox + d.Outline + d.Outer + d.Camera + d.Wiper + d.Steering + d.Leads + d.Axes
		for _, m := range d.Marks {
			all += m.Shape.Stroke + m.Lead + m.Transform()
		}
		if strings.Contains(all, "NaN") || strings.Contains(all, "Inf") || strings.Contains(all, "e+") {
			t.Errorf("drawn with %s", all)
		}
	})
}
