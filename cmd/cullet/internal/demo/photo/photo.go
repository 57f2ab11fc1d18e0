// Package photo draws the photos of the demo: a break in a windshield before and after its repair,
// the plate with the vehicle's number, the whole glass. The files are what a phone would send:
// about twelve megapixels, JPEG, with time, place and orientation in their metadata.
//
// Every picture is an invention and says so, in its lower corner and as the camera's model. The
// same shot gives the same bytes on the same kind of machine. Nothing here is evidence of how a
// break looks; it refuses no measure, however unlikely, because the demo also shows mistakes.
package photo

import (
	"fmt"
	"image"
	"math/rand/v2"
	"time"

	"cullet/services/jobs"
	"cullet/services/repairability"
)

// Phone is the size of a photo as the sensor stores it: 12 megapixels.
var Phone = image.Pt(4032, 3024)

// quality is what phones write, roughly.
const quality = 82

// Damage is one break as it is drawn. Sizes are in millimetres; zero takes a usual one.
type Damage struct {
	Kind    repairability.Kind
	Outcome repairability.Outcome
	// Body is the diameter without legs, Spread with them; Length is a crack's.
	Body, Spread, Length, Pit float64
	Legs                      int
	EdgesTouched              int
	// FromDriverEdge and FromLowerEdge place it on the whole glass.
	FromDriverEdge, FromLowerEdge float64
	// Seed makes the shape: the same before and after.
	Seed uint64
}

// Shot says what to draw.
type Shot struct {
	Kind jobs.PhotoKind
	// Damages holds the one that Before and After show, and all of them for WholeGlass.
	Damages []Damage
	// VIN is what the plate reads.
	VIN string
	// GlassWidth and GlassHeight are in millimetres; zero takes a usual car's.
	GlassWidth, GlassHeight float64
	// Seed makes everything that surrounds the subject.
	Seed uint64
	// TakeTime is written with the offset of its zone; the zero time is not written.
	TakeTime time.Time
	// Position is not written when nil.
	Position *jobs.Position
	// Orientation is the EXIF value 1, 3, 6 or 8; zero is 1.
	Orientation int
	// Size is that of the stored picture; zero is Phone.
	Size image.Point
}

// maxEdge keeps a picture within what a JPEG header can say and the machine can hold.
const maxEdge = 8192

// Draw gives the photo as a JPEG file. It fails when the shot names nothing to draw.
func Draw(s Shot) ([]byte, error) {
	if s.Size == (image.Point{}) {
		s.Size = Phone
	}
	if s.Orientation == 0 {
		s.Orientation = 1
	}
	if s.Size.X < 16 || s.Size.Y < 16 || s.Size.X > maxEdge || s.Size.Y > maxEdge {
		return nil, fmt.Errorf("draw a photo of %v pixels: each side must be 16 to %d", s.Size, maxEdge)
	}
	c := newCanvas(s.Size)
	frame := newFrame(s, c)
	switch s.Kind {
	case jobs.Before, jobs.After:
		if len(s.Damages) != 1 {
			return nil, fmt.Errorf("draw a photo %s with %d damages: one is shown", s.Kind, len(s.Damages))
		}
		frame.closeUp(s.Damages[0], s.Kind == jobs.After)
	case jobs.VINPlate:
		frame.plate(s.VIN)
	case jobs.WholeGlass:
		frame.wholeGlass(s)
	default:
		return nil, fmt.Errorf("draw a photo of kind %q: BEFORE, AFTER, VIN_PLATE and WHOLE_GLASS are drawn", s.Kind)
	}
	frame.label("invented drawing")
	return c.encode(quality, exif(s)), nil
}

// frame is the picture as it is seen: upright, one unit high, with the origin at its upper left.
type frame struct {
	*canvas
	// unit maps the frame to the pixels of the file.
	unit affine
	// width is the frame's width when its height is 1.
	width float64
	rng   *rand.Rand
}

// stream keeps the surroundings of the kinds apart under one seed.
var stream = map[jobs.PhotoKind]uint64{jobs.Before: 1, jobs.After: 2, jobs.VINPlate: 3, jobs.WholeGlass: 4}

func newFrame(s Shot, c *canvas) *frame {
	upright := s.Size
	if s.Orientation > 4 {
		upright = image.Pt(s.Size.Y, s.Size.X)
	}
	height := float64(upright.Y)
	return &frame{canvas: c, width: float64(upright.X) / height, rng: rand.New(rand.NewPCG(s.Seed, stream[s.Kind])),
		unit: storing(s.Orientation, float64(s.Size.X), float64(s.Size.Y)).after(affine{a: height, e: height})}
}

// between gives a number from low to high.
func (f *frame) between(low, high float64) float64 { return between(f.rng, low, high) }

func between(rng *rand.Rand, low, high float64) float64 { return low + (high-low)*rng.Float64() }

// within draws in other units: zoom of the frame to one of them, turned, with the origin at.
func (f *frame) within(zoom, angle float64, at vec) { f.place = f.unit.after(turned(zoom, angle, at)) }
