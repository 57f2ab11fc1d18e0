package photo

import (
	"image"
	"image/draw"
	"math"

	"golang.org/x/image/vector"
)

const (
	cell     = 8  // Pixels of the file to one sample of the backdrop: one DCT block.
	tileEdge = 64 // Pixels of the edge of a tile, whole minimum coded units of 16.
)

// canvas is a picture in two parts: a backdrop with one sample a block, out of focus by its
// nature, and tiles of sharp pixels wherever something was drawn on it.
type canvas struct {
	size image.Point
	// cells is the size of the backdrop, rounded up to whole tiles.
	cells    image.Point
	backdrop [3][]float32 // Luminance and the two chrominances.
	tiles    []*tile
	// place maps what is drawn to the pixels of the file.
	place  affine
	raster vector.Rasterizer
	mask   image.Alpha
}

// tile holds sharp samples; chrominance has half the resolution.
type tile struct {
	planes [3][]float32
}

// paint is a colour in JPEG's luminance and chrominance, with how much it covers, 0 to 1.
type paint struct {
	y, cb, cr, cover float32
}

// grey is a paint without colour.
func grey(luminance, cover float64) paint {
	return paint{float32(luminance), 128, 128, float32(cover)}
}

// rgb is an opaque paint (JFIF's conversion).
func rgb(r, g, b float64) paint {
	return paint{y: float32(0.299*r + 0.587*g + 0.114*b), cb: float32(128 - 0.168736*r - 0.331264*g + 0.5*b),
		cr: float32(128 + 0.5*r - 0.418688*g - 0.081312*b), cover: 1}
}

// thin gives the paint with another cover.
func (p paint) thin(cover float64) paint {
	p.cover = float32(cover)
	return p
}

func newCanvas(size image.Point) *canvas {
	const perTile = tileEdge / cell
	across, down := (size.X+tileEdge-1)/tileEdge, (size.Y+tileEdge-1)/tileEdge
	c := &canvas{size: size, cells: image.Pt(across*perTile, down*perTile), tiles: make([]*tile, across*down)}
	for i := range c.backdrop {
		c.backdrop[i] = make([]float32, c.cells.X*c.cells.Y)
	}
	return c
}

// at gives a sample of the backdrop; outside, that of the nearest edge.
func (c *canvas) at(plane, x, y int) float32 {
	return c.backdrop[plane][min(max(y, 0), c.cells.Y-1)*c.cells.X+min(max(x, 0), c.cells.X-1)]
}

// tileAt gives the tile of a pixel, made from the backdrop when it is new.
func (c *canvas) tileAt(pixel image.Point) *tile {
	column, row := pixel.X/tileEdge, pixel.Y/tileEdge
	t := &c.tiles[row*(c.cells.X*cell/tileEdge)+column]
	if *t == nil {
		*t = c.newTile(column, row)
	}
	return *t
}

func (c *canvas) newTile(column, row int) *tile {
	t := &tile{}
	for plane := range t.planes {
		edge := tileEdge
		if plane > 0 {
			edge = tileEdge / 2
		}
		t.planes[plane] = make([]float32, edge*edge)
		c.enlarge(t.planes[plane], plane, edge, column*tileEdge/cell, row*tileEdge/cell)
	}
	return t
}

// enlarge fills a square of edge pixels with the backdrop between its samples.
func (c *canvas) enlarge(to []float32, plane, edge, fromX, fromY int) {
	const samples = tileEdge / cell
	ratio := float64(samples) / float64(edge)
	var line [samples + 2]float32
	for y := range edge {
		v := (float64(y)+0.5)*ratio - 0.5
		above := int(math.Floor(v))
		share := float32(v - float64(above))
		for i := range line {
			a, b := c.at(plane, fromX+i-1, fromY+above), c.at(plane, fromX+i-1, fromY+above+1)
			line[i] = a + (b-a)*share
		}
		for x := range edge {
			u := (float64(x)+0.5)*ratio + 0.5
			left := int(u)
			to[y*edge+x] = line[left] + (line[left+1]-line[left])*float32(u-float64(left))
		}
	}
}

// fill paints the inside of closed outlines. Outlines that run the other way round are holes.
func (c *canvas) fill(p paint, outlines ...[]vec) {
	placed, box := c.placed(outlines)
	if box.Empty() {
		return
	}
	if len(placed) == 1 && box.Dx()*box.Dy() > 4*tileEdge*tileEdge && isConvex(placed[0]) {
		c.fillConvex(p, placed[0], box)
		return
	}
	c.raster.Reset(box.Dx(), box.Dy())
	c.raster.DrawOp = draw.Src
	for _, outline := range placed {
		for j, q := range outline {
			x, y := float32(q.x-float64(box.Min.X)), float32(q.y-float64(box.Min.Y))
			if j == 0 {
				c.raster.MoveTo(x, y)
			} else {
				c.raster.LineTo(x, y)
			}
		}
		c.raster.ClosePath()
	}
	c.blend(box, p)
}

// placed gives outlines in pixels, and the box of pixels that they reach.
func (c *canvas) placed(outlines [][]vec) ([][]vec, image.Rectangle) {
	var low, high vec
	placed := make([][]vec, len(outlines))
	for i, outline := range outlines {
		placed[i] = make([]vec, len(outline))
		for j, point := range outline {
			q := c.place.of(point)
			if i == 0 && j == 0 {
				low, high = q, q
			}
			low, high = vec{min(low.x, q.x), min(low.y, q.y)}, vec{max(high.x, q.x), max(high.y, q.y)}
			placed[i][j] = q
		}
	}
	box := image.Rect(int(math.Floor(low.x)), int(math.Floor(low.y)), int(math.Ceil(high.x)), int(math.Ceil(high.y)))
	return placed, box.Intersect(image.Rectangle{Max: c.size})
}

// blend paints through what the rasterizer holds.
func (c *canvas) blend(box image.Rectangle, p paint) {
	if n := box.Dx() * box.Dy(); n > cap(c.mask.Pix) {
		c.mask.Pix = make([]uint8, n)
	}
	c.mask.Stride, c.mask.Rect = box.Dx(), image.Rectangle{Max: box.Size()}
	c.mask.Pix = c.mask.Pix[:box.Dx()*box.Dy()]
	c.raster.Draw(&c.mask, c.mask.Rect, image.Opaque, image.Point{})
	c.eachPart(box, func(part image.Rectangle) {
		var t *tile // A tile that nothing is painted on stays soft.
		for y := part.Min.Y; y < part.Max.Y; y++ {
			row := c.mask.Pix[(y-box.Min.Y)*c.mask.Stride:][part.Min.X-box.Min.X : part.Max.X-box.Min.X]
			for x, covered := range row {
				if covered == 0 {
					continue
				}
				if t == nil {
					t = c.tileAt(part.Min)
				}
				t.mix((part.Min.X+x)%tileEdge, y%tileEdge, p, p.cover*float32(covered)/255)
			}
		}
	})
}

// eachPart calls do with the part of the box on every tile under it.
func (c *canvas) eachPart(box image.Rectangle, do func(part image.Rectangle)) {
	box = box.Intersect(image.Rectangle{Max: c.size})
	for y := box.Min.Y / tileEdge * tileEdge; y < box.Max.Y; y += tileEdge {
		for x := box.Min.X / tileEdge * tileEdge; x < box.Max.X; x += tileEdge {
			if part := box.Intersect(image.Rect(x, y, x+tileEdge, y+tileEdge)); !part.Empty() {
				do(part)
			}
		}
	}
}

// mix blends a paint into one pixel of the tile.
func (t *tile) mix(x, y int, p paint, cover float32) {
	at := &t.planes[0][y*tileEdge+x]
	*at += (p.y - *at) * cover
	if x&1 == 0 && y&1 == 0 {
		half := y/2*(tileEdge/2) + x/2
		cb, cr := &t.planes[1][half], &t.planes[2][half]
		*cb += (p.cb - *cb) * cover
		*cr += (p.cr - *cr) * cover
	}
}

// shade paints every pixel within radius of the centre as do says of its distance from it, in the
// units of what is drawn.
func (c *canvas) shade(centre vec, radius float64, do func(from vec) paint) {
	middle, reach := c.place.of(centre), radius*c.place.scale()
	box := image.Rect(int(middle.x-reach), int(middle.y-reach), int(middle.x+reach)+2, int(middle.y+reach)+2)
	back := c.place.inverse()
	c.eachPart(box, func(part image.Rectangle) {
		t := c.tileAt(part.Min)
		for y := part.Min.Y; y < part.Max.Y; y++ {
			from := back.of(vec{float64(part.Min.X) + 0.5, float64(y) + 0.5}).sub(centre)
			for x := part.Min.X; x < part.Max.X; x++ {
				if p := do(from); p.cover > 0 {
					t.mix(x%tileEdge, y%tileEdge, p, p.cover)
				}
				from.x, from.y = from.x+back.a, from.y+back.d
			}
		}
	})
}
