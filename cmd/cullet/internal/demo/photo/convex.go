package photo

import (
	"image"
	"math"
)

// edge is a side of a convex outline in pixels: the distance from it is positive inside.
type edge struct{ nx, ny, offset float64 }

func (e edge) distance(x, y float64) float64 { return e.nx*x + e.ny*y + e.offset }

// isConvex tells whether every corner turns the same way.
func isConvex(outline []vec) bool {
	turn := 0.0
	for i := range outline {
		a, b, c := outline[i], outline[(i+1)%len(outline)], outline[(i+2)%len(outline)]
		cross := (b.x-a.x)*(c.y-b.y) - (b.y-a.y)*(c.x-b.x)
		if cross*turn < 0 {
			return false
		}
		if cross != 0 {
			turn = cross
		}
	}
	return turn != 0
}

// edges gives the sides of a convex outline.
func edges(outline []vec) []edge {
	var middle vec
	for _, p := range outline {
		middle = middle.add(p.times(1 / float64(len(outline))))
	}
	var all []edge
	for i, a := range outline {
		along := outline[(i+1)%len(outline)].sub(a)
		if along.length() == 0 {
			continue
		}
		normal := along.left().times(1 / along.length())
		if normal.x*(middle.x-a.x)+normal.y*(middle.y-a.y) < 0 {
			normal = normal.times(-1)
		}
		all = append(all, edge{normal.x, normal.y, -normal.x*a.x - normal.y*a.y})
	}
	return all
}

// fillConvex paints a large convex outline. Most of its tiles lie wholly inside and need no look
// at their edges, which a rasterizer of whole boxes cannot know.
func (c *canvas) fillConvex(p paint, outline []vec, box image.Rectangle) {
	sides := edges(outline)
	c.eachPart(box, func(part image.Rectangle) {
		nearest := math.Inf(1)
		x, y := float64(part.Min.X+part.Max.X)/2, float64(part.Min.Y+part.Max.Y)/2
		for _, side := range sides {
			nearest = min(nearest, side.distance(x, y))
		}
		const halfDiagonal = tileEdge*math.Sqrt2/2 + 1
		if nearest < -halfDiagonal {
			return
		}
		c.fillPart(p, sides, part, nearest > halfDiagonal)
	})
}

func (c *canvas) fillPart(p paint, sides []edge, part image.Rectangle, isInside bool) {
	t := c.tileAt(part.Min)
	for y := part.Min.Y; y < part.Max.Y; y++ {
		for x := part.Min.X; x < part.Max.X; x++ {
			cover := p.cover
			if !isInside {
				nearest := 1.0 // Half a pixel to either side of an edge it is covered in part.
				for _, side := range sides {
					nearest = min(nearest, side.distance(float64(x)+0.5, float64(y)+0.5)+0.5)
				}
				if nearest <= 0 {
					continue
				}
				cover *= float32(nearest)
			}
			t.mix(x%tileEdge, y%tileEdge, p, cover)
		}
	}
}
