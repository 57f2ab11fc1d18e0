// Package plate draws a windshield to scale, with its damages at their places and at their true
// size: the numbers and paths of an SVG whose unit is the millimetre.
//
// It refuses to guess: a glass without its sizes is not drawn, a damage without its place stands
// in the list and not on the glass, and what is generic (the outline, the run of a crack) is said
// to be so. It judges nothing; areas of a repair standard are not its own to compute.
package plate

import (
	"fmt"
	"strings"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// Drawing is a windshield as seen from outside. All lengths are millimetres; x grows to the right
// from the left edge, y grows downwards from the upper one.
type Drawing struct {
	ViewBox       string
	Width, Height float64
	// Outline is the generic outline, Outer and Inner the transforms that put it where the rows of
	// printed dots run.
	Outline, Outer, Inner string
	// Camera is the zone of a driver-assistance camera; empty when the vehicle has none.
	Camera string
	// Wiper and Steering are lines that the technician measured; empty when he did not.
	Wiper, Steering string
	// Leads run from the damages to the two axes; Axes are these with their ticks.
	Leads, Axes string
	Marks       []Mark
	Labels      []Label
	// Title and Description tell the same in words.
	Title, Description string
}

// Mark is a damage on the glass, with its numbered tag.
type Mark struct {
	Number     int
	X, Y       float64
	Shape      Shape
	TagX, TagY float64
	// Lead joins the two.
	Lead string
}

// Transform puts the shape of the mark at its place.
func (m Mark) Transform() string { return "translate(" + num(m.X) + " " + num(m.Y) + ")" }

// Label is a text in the drawing.
type Label struct {
	X, Y float64
	// Anchor is "start", "middle" or "end".
	Anchor, Text string
	// IsWide labels are left out where the drawing is small.
	IsWide bool
}

// Room around the glass for axes and labels.
const (
	above, right, below, left = 20, 210, 300, 10
	axisGap                   = 92
	axisText                  = 54
	tick                      = 14
	// apart is how close two labels of an axis may stand before the second is left out.
	apart     = 105
	scaleLong = 200
)

// Draw makes the drawing; ok is false when the sizes of the glass are not recorded, or no damage
// has a place on it.
func Draw(glass *jobsv1.Glass, damages []*jobsv1.Damage) (d Drawing, ok bool) {
	width, height := glass.GetWidthMm(), glass.GetHeightMm()
	if width <= 0 || height <= 0 {
		return Drawing{}, false
	}
	d = Drawing{Width: width, Height: height, Outline: outline(width, height),
		ViewBox: fmt.Sprintf("%d %d %s %s", -left, -above, num(width+left+right), num(height+above+below)),
		Outer:   around(width, height, .962, .928), Inner: around(width, height, .949, .906)}
	s := side{width: width, height: height, isRight: glass.GetDriverSide() == jobsv1.DriverSide_DRIVER_SIDE_RIGHT}
	d.Marks = s.marks(damages)
	if len(d.Marks) == 0 {
		return Drawing{}, false
	}
	d.features(s, glass)
	d.axes(s)
	d.tell(s, glass, damages)
	return d, true
}

// side turns places, which are measured from the driver's edge and the lower one, into points.
type side struct {
	width, height float64
	isRight       bool
}

func (s side) x(fromDriver float64) float64 {
	if s.isRight {
		return fromDriver
	}
	return s.width - fromDriver
}

func (s side) y(fromLower float64) float64 { return s.height - fromLower }

func (s side) marks(damages []*jobsv1.Damage) []Mark {
	var all []Mark
	for i, d := range damages {
		place := d.GetPlace()
		if place == nil || place.FromDriverEdgeMm == nil || place.FromLowerEdgeMm == nil {
			continue
		}
		all = append(all, Mark{Number: i + 1, X: s.x(place.GetFromDriverEdgeMm()), Y: s.y(place.GetFromLowerEdgeMm()),
			Shape: Break(d, i+1)})
	}
	s.tag(all)
	return all
}

// features draws what else is known of the glass.
func (d *Drawing) features(s side, glass *jobsv1.Glass) {
	middle := s.width / 2
	if glass.GetHasDriverAssistance() == jobsv1.Known_KNOWN_YES {
		d.Camera = path("M", middle-70, 30, "H", middle+70, "L", middle+45, 136, "H", middle-45, "Z")
		d.Labels = append(d.Labels, Label{middle, 92, "middle", "camera", true})
	}
	if glass.WiperTopMm != nil && glass.GetWiperTopMm() < s.height {
		y := s.y(glass.GetWiperTopMm())
		d.Wiper = path("M", 0, y, "H", s.width)
		d.Labels = append(d.Labels, Label{middle, y - 14, "middle", "top of the wiper sweep", true})
	}
	if glass.SteeringCentreMm != nil && glass.GetSteeringCentreMm() < s.width {
		d.Steering = path("M", s.x(glass.GetSteeringCentreMm()), 0, "V", s.height)
		d.Labels = append(d.Labels, Label{s.x(glass.GetSteeringCentreMm()), s.height - 66, "middle", "steering wheel", true})
	}
}

// axes measures the damages from the two reference edges, and lays a scale below.
func (d *Drawing) axes(s side) {
	foot, edge := s.height+axisGap, s.width+axisText
	zero := s.x(0)
	far, high := 0.0, 0.0
	onFoot, onEdge := labels{}, labels{}
	onFoot.add(zero, "0")
	onEdge.add(s.height, "0")
	var leads, axes strings.Builder
	for _, m := range d.Marks {
		fromDriver, fromLower := absolute(zero-m.X), s.height-m.Y
		far, high = max(far, fromDriver), max(high, fromLower)
		leads.WriteString(path("M", m.X, m.Y+m.Shape.Size/2+6, "V", foot-4, "M", m.X+m.Shape.Size/2+6, m.Y, "H", edge-4))
		axes.WriteString(path("M", m.X, foot-tick, "V", foot+tick, "M", edge-tick, m.Y, "H", edge+tick))
		onFoot.add(m.X, num(fromDriver))
		onEdge.add(m.Y, num(fromLower))
	}
	axes.WriteString(path("M", zero, foot, "H", s.x(far), "M", zero, foot-tick, "V", foot+tick))
	axes.WriteString(path("M", edge, s.height, "V", s.y(high), "M", edge-tick, s.height, "H", edge+tick))
	for _, l := range onFoot {
		d.Labels = append(d.Labels, Label{l.at, foot + axisText, "middle", l.text, false})
	}
	for _, l := range onEdge {
		d.Labels = append(d.Labels, Label{edge + 24, l.at + 9, "start", l.text, false})
	}
	scale := foot + 2*axisText + 30
	axes.WriteString(path("M", 40, scale, "H", 40+scaleLong, "M", 40, scale-tick, "V", scale+tick,
		"M", 40+scaleLong/2, scale-8, "V", scale+8, "M", 40+scaleLong, scale-tick, "V", scale+tick))
	d.Labels = append(d.Labels, Label{40, scale + axisText, "start", "0", false},
		Label{40 + scaleLong, scale + axisText, "middle", "200 mm", false},
		Label{s.width, foot + 2*axisText + 8, "end", "mm from the driver's edge; to the right, mm from the lower edge", true})
	d.Leads, d.Axes = leads.String(), axes.String()
}

// labels are those of one axis; one that would stand on another is left out, for the list beside
// the drawing has every number.
type labels []struct {
	at   float64
	text string
}

func (l *labels) add(at float64, text string) {
	for _, other := range *l {
		if absolute(other.at-at) < apart {
			return
		}
	}
	*l = append(*l, struct {
		at   float64
		text string
	}{at, text})
}

// tell writes the drawing in words.
func (d *Drawing) tell(s side, glass *jobsv1.Glass, damages []*jobsv1.Damage) {
	d.Title = fmt.Sprintf("The windshield, %s by %s mm, drawn to scale with a generic outline, seen from outside",
		num(s.width), num(s.height))
	var text strings.Builder
	for _, m := range d.Marks {
		damage := damages[m.Number-1]
		fmt.Fprintf(&text, "Damage %d, %s, %s mm from the driver's edge and %s mm above the lower edge. ", m.Number,
			strings.ToLower(Name(damage)), num(damage.GetPlace().GetFromDriverEdgeMm()), num(damage.GetPlace().GetFromLowerEdgeMm()))
	}
	if d.Camera != "" {
		text.WriteString("A driver-assistance camera or sensor looks through the glass; its zone is drawn generically. ")
	}
	if d.Wiper != "" {
		fmt.Fprintf(&text, "The wipers sweep up to %s mm above the lower edge. ", num(glass.GetWiperTopMm()))
	}
	if d.Steering != "" {
		fmt.Fprintf(&text, "The centre of the steering wheel is %s mm from the driver's edge. ", num(glass.GetSteeringCentreMm()))
	}
	d.Description = strings.TrimSpace(text.String())
}
