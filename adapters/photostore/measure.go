package photostore

import "cullet/services/jobs"

// measureEdge is the size at which photos are measured, so that the same break under the same
// light comes to the same whatever the camera's resolution. At this size the leg of a break is
// still one or two pixels wide.
const measureEdge = 1024

// fields is into how many parts each side of a picture is divided for sharpness.
const fields = 8

// blown is the brightness from which on a sample shows nothing but light.
const blown = 250

// measure tells how sharp and how bright a picture is. Sharpness is that of the sharpest field,
// because a close-up of glass is meant to be out of focus behind the glass.
func measure(luma plane) jobs.Quality {
	var counts [256]int
	for y := range luma.height {
		for _, sample := range luma.row(y) {
			counts[sample]++
		}
	}
	all, over := luma.width*luma.height, 0
	for _, n := range counts[blown:] {
		over += n
	}
	quality := jobs.Quality{Brightness: middle(&counts, all), BlownPercent: (over*100 + all/2) / all}
	for y := range fields {
		for x := range fields {
			quality.Sharpness = max(quality.Sharpness, laplacianVariance(luma,
				x*luma.width/fields, y*luma.height/fields, (x+1)*luma.width/fields, (y+1)*luma.height/fields))
		}
	}
	return quality
}

func middle(counts *[256]int, all int) int {
	seen := 0
	for value, n := range counts {
		if seen += n; 2*seen >= all {
			return value
		}
	}
	return 0
}

// laplacianVariance is the variance of the Laplacian with four neighbours over a field; its outer
// samples have none and are left out. It is 0 for a field of less than three samples a side.
// (Pech-Pacheco et al., "Diatom autofocusing in brightfield microscopy", 2000; from memory.)
func laplacianVariance(luma plane, left, top, right, bottom int) int {
	left, top, right, bottom = max(left, 1), max(top, 1), min(right, luma.width-1), min(bottom, luma.height-1)
	if right <= left || bottom <= top {
		return 0
	}
	var sum, squares int64
	for y := top; y < bottom; y++ {
		above, here, below := luma.row(y - 1)[left:right], luma.row(y)[left-1:right+1], luma.row(y + 1)[left:right]
		lineSum, lineSquares := int32(0), uint32(0)
		for x := range above {
			l := int32(above[x]) + int32(below[x]) + int32(here[x]) + int32(here[x+2]) - 4*int32(here[x+1])
			lineSum += l
			lineSquares += uint32(l * l)
		}
		sum, squares = sum+int64(lineSum), squares+int64(lineSquares)
	}
	n := int64((right - left) * (bottom - top))
	return int((squares - sum*sum/n) / n)
}
