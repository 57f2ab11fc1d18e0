package photostore

import "image"

// orientation is how a picture must be turned to stand upright: the values 1 to 8 of the EXIF tag
// 0x0112 (CIPA DC-008, 4.6.5.1.6). Anything else reads as 1, upright already.
type orientation int

const uprightAlready orientation = 1

// swapsSides tells whether turning exchanges width and height.
func (o orientation) swapsSides() bool { return o >= 5 && o <= 8 }

// upright gives the picture as it is to be seen.
func upright(from *image.YCbCr, o orientation) *image.YCbCr {
	if o <= uprightAlready || o > 8 {
		return from
	}
	size, ratio := from.Rect.Size(), from.SubsampleRatio
	if o.swapsSides() {
		size = image.Pt(size.Y, size.X)
		switch ratio {
		case image.YCbCrSubsampleRatio422:
			ratio = image.YCbCrSubsampleRatio440
		case image.YCbCrSubsampleRatio440:
			ratio = image.YCbCrSubsampleRatio422
		}
	}
	to := image.NewYCbCr(image.Rectangle{Max: size}, ratio)
	source, target := planes(from), planes(to)
	for i := range source {
		turn(target[i], source[i], o)
	}
	return to
}

// turn moves every sample of a plane to where it is to be seen.
func turn(to, from plane, o orientation) {
	// Where the first sample goes, and how far the next one across and the next one down lie.
	first := o.index(0, 0, from, to.stride)
	across := o.index(1, 0, from, to.stride) - first
	down := o.index(0, 1, from, to.stride) - first
	for y := range from.height {
		at := first + y*down
		for _, sample := range from.samples[y*from.stride:][:from.width] {
			to.samples[at] = sample
			at += across
		}
	}
}

// index tells where the sample at x, y of a plane is to be seen, in a plane with the stride.
func (o orientation) index(x, y int, from plane, stride int) int {
	right, bottom := from.width-1-x, from.height-1-y
	switch o {
	case 2:
		return y*stride + right
	case 3:
		return bottom*stride + right
	case 4:
		return bottom*stride + x
	case 5:
		return x*stride + y
	case 6:
		return x*stride + bottom
	case 7:
		return right*stride + bottom
	case 8:
		return right*stride + y
	}
	return y*stride + x
}
