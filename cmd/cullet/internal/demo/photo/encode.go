package photo

// encode writes the picture as JPEG.
func (c *canvas) encode(quality int, app1 []byte) []byte {
	e := newEncoder(quality)
	e.out = make([]byte, 0, c.size.X*c.size.Y/24+4096)
	e.begin(c.size.X, c.size.Y, app1)
	across := c.cells.X * cell / tileEdge
	for y := 0; y < c.size.Y; y += 16 {
		for x := 0; x < c.size.X; x += 16 {
			if t := c.tiles[y/tileEdge*across+x/tileEdge]; t != nil {
				e.sharp(t, x%tileEdge, y%tileEdge)
			} else {
				e.soft(c, x/cell, y/cell)
			}
		}
	}
	return e.finish()
}

// sharp appends one minimum coded unit of a tile.
func (e *encoder) sharp(t *tile, x, y int) {
	var b block
	take := func(plane, x, y, stride int) {
		for i := range 8 {
			copy(b[8*i:8*i+8], t.planes[plane][(y+i)*stride+x:])
		}
		e.samples(plane, &b)
	}
	for i := range 4 {
		take(0, x+8*(i%2), y+8*(i/2), tileEdge)
	}
	take(1, x/2, y/2, tileEdge/2)
	take(2, x/2, y/2, tileEdge/2)
}

// soft appends one minimum coded unit of the backdrop, two by two samples of it.
func (e *encoder) soft(c *canvas, x, y int) {
	for i := range 4 {
		u, v := x+i%2, y+i/2
		e.ramp(0, c.at(0, u, v), (c.at(0, u+1, v)-c.at(0, u-1, v))/2, (c.at(0, u, v+1)-c.at(0, u, v-1))/2)
	}
	for plane := 1; plane < 3; plane++ {
		mean := (c.at(plane, x, y) + c.at(plane, x+1, y) + c.at(plane, x, y+1) + c.at(plane, x+1, y+1)) / 4
		across := (c.at(plane, x+2, y) - c.at(plane, x-1, y)) * 2 / 3
		down := (c.at(plane, x, y+2) - c.at(plane, x, y-1)) * 2 / 3
		e.ramp(plane, mean, across, down)
	}
}
