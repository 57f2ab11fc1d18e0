package photostore

import (
	"bytes"
	"image"
	"image/jpeg"
	"io"
	"slices"
	"syscall"
	"testing"
	"time"
)

// phonePhoto is a photo as a phone sends it: the drawn break at 12 megapixels, with the grain of a
// sensor and the metadata of the drawn file, which tell that it lies on its side.
func phonePhoto(b *testing.B) []byte {
	b.Helper()
	drawn := fixture(b, "star-break-before.jpg")
	m, err := jpeg.Decode(bytes.NewReader(drawn))
	if err != nil {
		b.Fatal(err)
	}
	large := enlarged(m, 4032, 3024)
	for i, grain := range noise(len(large.Pix)) {
		large.Pix[i] = uint8(max(0, min(255, int(large.Pix[i])+int(grain>>5)-4)))
	}
	file := asJPEG(b, large)
	exif := drawn[2 : 4+int(drawn[4])<<8+int(drawn[5])]
	return bytes.Join([][]byte{file[:2], exif, file[2:]}, nil)
}

// BenchmarkChecks measures what is found out about a photo of 12 megapixels, from its hash to its
// likeness, against decoding it, which has to be done anyway: the goal is that both together take at
// most 1.10 of the decoding. What is shown (smaller in colour, turned upright) is not a check; with
// it, but for its encoding, the figure is x-decode-prepared. Seven rounds in turn; a figure is the
// median of the rounds' ratios. One operation is all rounds.
func BenchmarkChecks(b *testing.B) {
	file := phonePhoto(b)
	decoded := decode(b, file)
	if said := readMetadata(bytes.NewReader(file), jpegFormat); said.orientation != 6 || said.position == nil {
		b.Fatalf("the photo says %+v, want orientation 6 and a place", said)
	}
	if size := decoded.Rect.Size(); size.X*size.Y < 12_000_000 {
		b.Fatalf("the photo has %v pixels, want 12 millions", size)
	}
	var clock, processor, prepared, floors []float64
	b.ResetTimer()
	for b.Loop() {
		for range 7 {
			floor, floorUsed := took(func() { decode(b, file) })
			ours, oursUsed := took(func() { check(b, file, decoded) })
			_, shownUsed := took(func() { upright(small(decoded), 6) })
			clock = append(clock, 1+ours/floor)
			processor = append(processor, 1+oursUsed/floorUsed)
			prepared = append(prepared, 1+(oursUsed+shownUsed)/floorUsed)
			floors = append(floors, floorUsed/1e6)
		}
	}
	b.ReportMetric(median(clock), "x-decode-clock")
	b.ReportMetric(median(processor), "x-decode-processor")
	b.ReportMetric(median(prepared), "x-decode-prepared")
	b.ReportMetric(median(floors), "decode-ms")
	b.ReportMetric(float64(len(file)), "bytes")
}

func decode(b *testing.B, file []byte) *image.YCbCr {
	m, err := jpeg.Decode(bytes.NewReader(file))
	if err != nil {
		b.Fatal(err)
	}
	return m.(*image.YCbCr)
}

// check does what look does with a photo, but for decoding it and making what is shown.
func check(b *testing.B, file []byte, decoded *image.YCbCr) {
	hash, size, err := copyHashed(io.Discard, file[:headSize], bytes.NewReader(file[headSize:]))
	if err != nil {
		b.Fatal(err)
	}
	if _, err := weigh(bytes.NewReader(file), received{format: jpegFormat, hash: hash, size: size}); err != nil {
		b.Fatal(err)
	}
	readMetadata(bytes.NewReader(file), jpegFormat)
	quality, likeness, err := examine(planes(decoded)[0].smaller(MaxEdge))
	if err != nil || likeness == 0 || quality.Sharpness == 0 {
		b.Fatalf("%+v, likeness %x: %v", quality, likeness, err)
	}
}

// took gives the time of the work in nanoseconds by the clock and by the processor, which is the
// steadier on a machine that others use.
func took(work func()) (clock, processor float64) {
	start, used := time.Now(), processorTime()
	work()
	return float64(time.Since(start)), float64(processorTime() - used)
}

// processorTime is what this process has used so far, in nanoseconds.
func processorTime() int64 {
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		return 0
	}
	return used.Utime.Nano() + used.Stime.Nano()
}

func median(of []float64) float64 {
	sorted := slices.Sorted(slices.Values(of))
	return sorted[len(sorted)/2]
}
