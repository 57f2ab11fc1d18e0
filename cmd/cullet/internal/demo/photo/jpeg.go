package photo

import (
	"encoding/binary"
	"math"
	"math/bits"
)

// encoder writes a baseline JPEG with 4:2:0 chrominance. It exists for one reason: most of a
// drawn photo is out of focus, and such a block needs two or three coefficients that follow from
// the backdrop directly, without making its 64 pixels first. That is several times faster than
// drawing twelve million pixels and transforming them.
type encoder struct {
	out   []byte
	acc   uint64
	count uint8
	// inverse[p] holds, in natural order, the reciprocal of the quantization step.
	inverse [2][64]float32
	steps   [2][64]uint8
	codes   [4][256]code
	last    [3]int32
}

// block is 64 DCT coefficients in natural order, or the samples before the transform.
type block [64]float32

func newEncoder(quality int) *encoder {
	e := &encoder{}
	for i, table := range huffmanTables {
		e.codes[i] = table.codes()
	}
	// The scale that most encoders share for a quality above 50.
	scale := 200 - 2*quality
	for p := range printedSteps {
		for i, printed := range printedSteps[p] {
			step := min(max((printed*scale+50)/100, 1), 255)
			e.steps[p][i], e.inverse[p][i] = uint8(step), 1/float32(step)
		}
	}
	return e
}

// begin writes everything before the scan. app1 is the EXIF segment's content, empty for none.
func (e *encoder) begin(width, height int, app1 []byte) {
	e.out = append(e.out, 0xff, 0xd8)
	if len(app1) > 0 {
		e.segment(0xe1, app1)
	}
	for p := range e.steps {
		content := []byte{byte(p)}
		for _, natural := range zigzag {
			content = append(content, e.steps[p][natural])
		}
		e.segment(0xdb, content)
	}
	frame := binary.BigEndian.AppendUint16([]byte{8}, uint16(height))
	frame = binary.BigEndian.AppendUint16(frame, uint16(width))
	e.segment(0xc0, append(frame, 3, 1, 0x22, 0, 2, 0x11, 1, 3, 0x11, 1))
	for _, table := range huffmanTables {
		e.segment(0xc4, append(append([]byte{table.class}, table.counts[:]...), table.symbols...))
	}
	e.segment(0xda, []byte{3, 1, 0x00, 2, 0x11, 3, 0x11, 0, 63, 0})
}

func (e *encoder) segment(marker byte, content []byte) {
	e.out = append(e.out, 0xff, marker)
	e.out = binary.BigEndian.AppendUint16(e.out, uint16(len(content)+2))
	e.out = append(e.out, content...)
}

// finish gives the file.
func (e *encoder) finish() []byte {
	if e.count%8 != 0 {
		fill := 8 - e.count%8
		e.put(1<<fill-1, fill) // The last byte is filled with ones.
	}
	return append(e.out, 0xff, 0xd9)
}

// put appends length bits.
func (e *encoder) put(value uint32, length uint8) {
	e.acc = e.acc<<length | uint64(value)
	e.count += length
	for e.count >= 8 {
		e.count -= 8
		b := byte(e.acc >> e.count)
		e.out = append(e.out, b)
		if b == 0xff {
			e.out = append(e.out, 0)
		}
	}
}

// number appends the Huffman code of the symbol and the bits of a coefficient.
func (e *encoder) number(table int, run uint8, value int32) {
	magnitude, low := value, value
	if value < 0 {
		magnitude, low = -value, value-1
	}
	size := uint8(bits.Len32(uint32(magnitude)))
	c := e.codes[table][run<<4|size]
	e.put(c.bits, c.length)
	if size > 0 {
		e.put(uint32(low)&(1<<size-1), size)
	}
}

// ramp appends a block of a component (0 luminance, 1 and 2 chrominance) that is a mean with a
// slope across and a slope down, both in steps a block.
func (e *encoder) ramp(component int, mean, across, down float32) {
	p := min(component, 1)
	e.dc(component, quantized(8*(mean-128), e.inverse[p][0]))
	// Of a ramp the first cosine carries almost everything; its weight follows from the transform.
	const weight = -2.2777
	first, second := quantized(weight*across, e.inverse[p][1]), quantized(weight*down, e.inverse[p][8])
	run := uint8(0)
	if first != 0 {
		e.number(2*p+1, 0, first)
	} else {
		run = 1
	}
	if second != 0 {
		e.number(2*p+1, run, second)
	}
	e.number(2*p+1, 0, 0)
}

// samples appends a block given by its samples, 0 to 255.
func (e *encoder) samples(component int, b *block) {
	p := min(component, 1)
	transform(b)
	e.dc(component, quantized(b[0]-8*128, e.inverse[p][0]))
	run := uint8(0)
	for _, natural := range zigzag[1:] {
		value := quantized(b[natural], e.inverse[p][natural])
		if value == 0 {
			run++
			continue
		}
		for ; run > 15; run -= 16 {
			c := e.codes[2*p+1][0xf0]
			e.put(c.bits, c.length)
		}
		e.number(2*p+1, run, value)
		run = 0
	}
	if run > 0 {
		e.number(2*p+1, 0, 0)
	}
}

func (e *encoder) dc(component int, value int32) {
	difference := value - e.last[component]
	e.last[component] = value
	e.number(2*min(component, 1), 0, difference)
}

func quantized(value, inverse float32) int32 {
	value *= inverse
	if value < 0 {
		return int32(value - 0.5)
	}
	return int32(value + 0.5)
}

// cosines[k][i] is the k-th basis function of the transform at sample i (T.81, A.3.3).
var cosines = basis()

func basis() (table [8][8]float32) {
	for k := range 8 {
		norm := 0.5
		if k == 0 {
			norm = math.Sqrt(0.125)
		}
		for i := range 8 {
			table[k][i] = float32(norm * math.Cos(float64(2*i+1)*float64(k)*math.Pi/16))
		}
	}
	return table
}

// transform replaces samples by coefficients. The symmetry of the cosines halves the work.
func transform(b *block) {
	for row := 0; row < 64; row += 8 {
		transformLine(b, row, 1)
	}
	for column := range 8 {
		transformLine(b, column, 8)
	}
}

func transformLine(b *block, from, step int) {
	var even, odd [4]float32
	for i := range 4 {
		left, right := b[from+i*step], b[from+(7-i)*step]
		even[i], odd[i] = left+right, left-right
	}
	for k := 0; k < 8; k += 2 {
		c, d := &cosines[k], &cosines[k+1]
		b[from+k*step] = even[0]*c[0] + even[1]*c[1] + even[2]*c[2] + even[3]*c[3]
		b[from+(k+1)*step] = odd[0]*d[0] + odd[1]*d[1] + odd[2]*d[2] + odd[3]*d[3]
	}
}
