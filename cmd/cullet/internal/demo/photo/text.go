package photo

import (
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gomonobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// em is the size at which outlines are read; they are scaled afterwards.
const em = 1024

// The typefaces are parsed once; whoever writes brings his own buffer.
var (
	regular  = sync.OnceValue(func() *sfnt.Font { return parsed(goregular.TTF) })
	monoBold = sync.OnceValue(func() *sfnt.Font { return parsed(gomonobold.TTF) })
)

func parsed(file []byte) *sfnt.Font {
	f, err := sfnt.Parse(file)
	if err != nil {
		panic(err) // The file is compiled in.
	}
	return f
}

// write paints a line of text whose baseline begins at the point, size high to the em.
func (f *frame) write(typeface *sfnt.Font, text string, at vec, size float64, p paint) {
	var buffer sfnt.Buffer
	for _, r := range text {
		glyph, err := typeface.GlyphIndex(&buffer, r)
		if err != nil {
			continue
		}
		if outlines := outlinesOf(typeface, &buffer, glyph, at, size/em); len(outlines) > 0 {
			f.fill(p, outlines...)
		}
		at.x += advance(typeface, &buffer, glyph) * size / em
	}
}

// widthOf measures a line of text at one unit to the em.
func widthOf(typeface *sfnt.Font, text string) float64 {
	var buffer sfnt.Buffer
	total := 0.0
	for _, r := range text {
		if glyph, err := typeface.GlyphIndex(&buffer, r); err == nil {
			total += advance(typeface, &buffer, glyph)
		}
	}
	return total / em
}

func advance(typeface *sfnt.Font, buffer *sfnt.Buffer, glyph sfnt.GlyphIndex) float64 {
	width, err := typeface.GlyphAdvance(buffer, glyph, fixed.I(em), font.HintingNone)
	if err != nil {
		return 0
	}
	return float64(width) / 64
}

func outlinesOf(typeface *sfnt.Font, buffer *sfnt.Buffer, glyph sfnt.GlyphIndex, at vec, scale float64) [][]vec {
	segments, err := typeface.LoadGlyph(buffer, glyph, fixed.I(em), nil)
	if err != nil {
		return nil
	}
	point := func(p fixed.Point26_6) vec {
		return at.add(vec{float64(p.X) / 64, float64(p.Y) / 64}.times(scale))
	}
	var all [][]vec
	var now []vec
	for _, s := range segments {
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			if len(now) > 0 {
				all = append(all, now)
			}
			now = []vec{point(s.Args[0])}
		case sfnt.SegmentOpLineTo:
			now = append(now, point(s.Args[0]))
		case sfnt.SegmentOpQuadTo:
			now = appendCurve(now, point(s.Args[0]), point(s.Args[1]))
		case sfnt.SegmentOpCubeTo: // TrueType has none.
			now = append(now, point(s.Args[2]))
		}
	}
	if len(now) > 0 {
		all = append(all, now)
	}
	return all
}

// appendCurve flattens a quadratic curve from the last point.
func appendCurve(points []vec, control, end vec) []vec {
	start := points[len(points)-1]
	const pieces = 6
	for i := 1; i <= pieces; i++ {
		t := float64(i) / pieces
		a := start.times((1 - t) * (1 - t)).add(control.times(2 * t * (1 - t))).add(end.times(t * t))
		points = append(points, a)
	}
	return points
}

// label writes in the lower right corner what the picture is.
func (f *frame) label(text string) {
	const size = 0.019
	f.place = f.unit
	width := widthOf(regular(), text) * size
	at := vec{f.width - width - 0.02, 0.982}
	f.fill(grey(20, 0.45), box(vec{at.x - 0.008, at.y - size*0.95}, vec{f.width - 0.012, at.y + size*0.38}))
	f.write(regular(), text, at, size, grey(235, 0.95))
}

// box is the outline of an upright rectangle.
func box(low, high vec) []vec { return []vec{low, {high.x, low.y}, high, {low.x, high.y}} }
