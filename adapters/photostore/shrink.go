package photostore

import (
	"image"

	"golang.org/x/image/draw"
)

// small gives a decoded photo with its longest edge at most MaxEdge.
func small(full image.Image) *image.YCbCr {
	if m, ok := full.(*image.YCbCr); ok && isPlanar(m) {
		return reduced(m, (max(m.Rect.Dx(), m.Rect.Dy())+MaxEdge-1)/MaxEdge)
	}
	return planar(shrink(full, MaxEdge))
}

// shrink gives the picture with its longest edge at most longest pixels, on white where it is
// transparent; never larger than it was. It halves until one step of at most two remains: each
// halving averages four pixels, which keeps hairlines without the memory that a wide filter takes.
func shrink(from image.Image, longest int) *image.RGBA {
	size := from.Bounds().Size()
	for max(size.X, size.Y) > 2*longest {
		size = image.Pt(max(1, (size.X+1)/2), max(1, (size.Y+1)/2))
		from = scaled(from, size)
	}
	return scaled(from, fitting(size, longest))
}

// fitting gives the size with the same proportions whose longest edge is at most longest.
func fitting(size image.Point, longest int) image.Point {
	edge := max(size.X, size.Y)
	if edge <= longest {
		return size
	}
	return image.Pt(max(1, (size.X*longest+edge/2)/edge), max(1, (size.Y*longest+edge/2)/edge))
}

func scaled(from image.Image, size image.Point) *image.RGBA {
	to := image.NewRGBA(image.Rectangle{Max: size})
	operation := draw.Src
	if opaque, ok := from.(interface{ Opaque() bool }); !ok || !opaque.Opaque() {
		draw.Draw(to, to.Bounds(), image.White, image.Point{}, draw.Src)
		operation = draw.Over
	}
	draw.ApproxBiLinear.Scale(to, to.Bounds(), from, from.Bounds(), operation, nil)
	return to
}

// shrinkingBytes bounds what shrink and the rendition allocate beside the decoded picture.
func shrinkingBytes(width, height int) int64 {
	size := image.Pt(width, height)
	pixels := int64(2 * MaxEdge * MaxEdge) // The rendition, as it lies and upright.
	for max(size.X, size.Y) > 2*MaxEdge {
		size = image.Pt(max(1, (size.X+1)/2), max(1, (size.Y+1)/2))
		pixels += int64(size.X) * int64(size.Y)
	}
	return 4 * pixels
}
