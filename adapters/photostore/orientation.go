package photostore

import "image"

// orientation is how a picture must be turned to stand upright: the values 1 to 8 of the EXIF tag
// 0x0112 (CIPA DC-008, 4.6.5.1.6). Anything else reads as 1, upright already.
type orientation int

const uprightAlready orientation = 1

// swapsSides tells whether turning exchanges width and height.
func (o orientation) swapsSides() bool { return o >= 5 && o <= 8 }

// upright gives the picture as it is to be seen.
func upright(from *image.RGBA, o orientation) *image.RGBA {
	if o <= uprightAlready || o > 8 {
		return from
	}
	width, height := from.Bounds().Dx(), from.Bounds().Dy()
	to := image.NewRGBA(image.Rect(0, 0, width, height))
	if o.swapsSides() {
		to = image.NewRGBA(image.Rect(0, 0, height, width))
	}
	for y := range height {
		row := from.Pix[y*from.Stride:][:4*width]
		for x := range width {
			tx, ty := o.place(x, y, width, height)
			copy(to.Pix[ty*to.Stride+4*tx:][:4], row[4*x:])
		}
	}
	return to
}

// place tells where the stored pixel at x, y of a picture of width and height is to be seen.
func (o orientation) place(x, y, width, height int) (int, int) {
	right, bottom := width-1-x, height-1-y
	switch o {
	case 2:
		return right, y
	case 3:
		return right, bottom
	case 4:
		return x, bottom
	case 5:
		return y, x
	case 6:
		return bottom, x
	case 7:
		return bottom, right
	case 8:
		return y, right
	}
	return x, y
}
