package photostore

import (
	"encoding/binary"
	"image"
	"image/color"
)

// plane is one component of a picture.
type plane struct {
	samples       []uint8
	stride        int
	width, height int
}

func (p plane) row(y int) []uint8 { return p.samples[y*p.stride:][:p.width] }

// smaller gives the plane with its longest edge at most edge, as the means of squares; the plane
// itself when it is small enough.
func (p plane) smaller(edge int) plane {
	n := (max(p.width, p.height) + edge - 1) / edge
	if n <= 1 {
		return p
	}
	to := plane{stride: (p.width + n - 1) / n, width: (p.width + n - 1) / n, height: (p.height + n - 1) / n}
	to.samples = make([]uint8, to.stride*to.height)
	average(to, p, n)
	return to
}

// planes gives the luminance and the two chrominances.
func planes(m *image.YCbCr) [3]plane {
	width, height := m.Rect.Dx(), m.Rect.Dy()
	across, down := width, height
	switch m.SubsampleRatio {
	case image.YCbCrSubsampleRatio420:
		across, down = (width+1)/2, (height+1)/2
	case image.YCbCrSubsampleRatio422:
		across = (width + 1) / 2
	case image.YCbCrSubsampleRatio440:
		down = (height + 1) / 2
	}
	return [3]plane{{m.Y, m.YStride, width, height}, {m.Cb, m.CStride, across, down}, {m.Cr, m.CStride, across, down}}
}

// isPlanar tells whether planes knows the subsampling; two rare kinds are converted instead.
func isPlanar(m *image.YCbCr) bool {
	return m.Rect.Min == image.Point{} && m.SubsampleRatio != image.YCbCrSubsampleRatio411 &&
		m.SubsampleRatio != image.YCbCrSubsampleRatio410
}

// reduced averages squares of n by n samples, which is much faster than any scaler that goes
// through colours.
func reduced(from *image.YCbCr, n int) *image.YCbCr {
	size := image.Pt((from.Rect.Dx()+n-1)/n, (from.Rect.Dy()+n-1)/n)
	to := image.NewYCbCr(image.Rectangle{Max: size}, from.SubsampleRatio)
	source, target := planes(from), planes(to)
	for i := range target {
		average(target[i], source[i], n)
	}
	return to
}

// average fills a plane with the means of squares of another; squares that stick out at the right
// and at the bottom repeat the last samples.
func average(to, from plane, n int) {
	if n == 1 {
		for y := range to.height {
			copy(to.samples[y*to.stride:][:to.width], from.row(y))
		}
		return
	}
	sums := make([]uint32, to.width)
	for y := range to.height {
		line, done := to.samples[y*to.stride:][:to.width], 0
		if n == 2 {
			done = halve(line, from.row(2*y), from.row(min(2*y+1, from.height-1)))
		}
		averageRow(line, from, y, n, done, sums)
	}
}

// averageRow fills a line from the place done on.
func averageRow(line []uint8, from plane, y, n, done int, sums []uint32) {
	clear(sums)
	for k := range n {
		sumRow(sums[done:], from.row(min(y*n+k, from.height-1))[min(done*n, from.width-1):], n)
	}
	half, all := uint32(n*n/2), uint32(n*n)
	for x := done; x < len(line); x++ {
		line[x] = uint8((sums[x] + half) / all)
	}
}

func sumRow(sums []uint32, row []uint8, n int) {
	whole := min(len(row)/n, len(sums))
	for x := range sums[:whole] {
		for _, sample := range row[x*n : x*n+n] {
			sums[x] += uint32(sample)
		}
	}
	for x := whole; x < len(sums); x++ {
		for k := range n {
			sums[x] += uint32(row[min(x*n+k, len(row)-1)])
		}
	}
}

// halve fills a line with the means of squares of two by two, four at a time as far as that goes,
// and tells how many it made. Twelve megapixels come to this, and one sample at a time it would
// cost a fifth of their decoding.
func halve(line, above, below []uint8) (done int) {
	const low = 0x00ff00ff00ff00ff
	for ; done+4 <= len(line) && 2*done+8 <= len(above); done += 4 {
		a, b := binary.LittleEndian.Uint64(above[2*done:]), binary.LittleEndian.Uint64(below[2*done:])
		// Four sums of 16 bits side by side: none can be more than 1022.
		sums := a&low + a>>8&low + b&low + b>>8&low + 0x0002000200020002
		sums = sums >> 2 & low
		sums |= sums >> 8
		binary.LittleEndian.PutUint32(line[done:], uint32(sums&0xffff|sums>>16&0xffff0000))
	}
	return done
}

// planar converts what is not in planes yet.
func planar(from *image.RGBA) *image.YCbCr {
	to := image.NewYCbCr(from.Rect, image.YCbCrSubsampleRatio444)
	for y := range from.Rect.Dy() {
		row, at := from.Pix[y*from.Stride:], y*to.YStride
		for x := range from.Rect.Dx() {
			to.Y[at+x], to.Cb[at+x], to.Cr[at+x] = color.RGBToYCbCr(row[4*x], row[4*x+1], row[4*x+2])
		}
	}
	return to
}
