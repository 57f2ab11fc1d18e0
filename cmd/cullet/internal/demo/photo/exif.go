package photo

import (
	"encoding/binary"
	"fmt"
	"slices"
	"time"

	"cullet/services/jobs"
)

// The EXIF types that are written (CIPA DC-008, 4.6.2).
const (
	asciiType    = 2
	shortType    = 3
	longType     = 4
	rationalType = 5
	byteType     = 1
)

// tag is one entry of a directory.
type tag struct {
	number, kind uint16
	count        uint32
	value        []byte
}

// Make and Model stand in the metadata of every drawn photo, so that nobody takes one for real.
const (
	Make  = "Cullet"
	Model = "Cullet demo drawing"
)

var little = binary.LittleEndian

// exif gives the content of the APP1 segment.
func exif(s Shot) []byte {
	picture := []tag{ascii(0x010f, Make), ascii(0x0110, Model), short(0x0112, uint16(max(s.Orientation, 1)))}
	var shot, place []tag
	if !s.TakeTime.IsZero() {
		shot = []tag{ascii(0x9003, s.TakeTime.Format("2006:01:02 15:04:05")),
			ascii(0x9011, s.TakeTime.Format("-07:00"))}
		picture = append(picture, long(0x8769, 0))
	}
	if s.Position != nil {
		place = placeTags(*s.Position, s.TakeTime)
		picture = append(picture, long(0x8825, 0))
	}
	// The directories follow one another; each pointer is the offset of the one it names.
	const header = 8
	shotAt := header + sizeOf(picture)
	placeAt := shotAt + sizeOf(shot)
	for i, t := range picture {
		switch t.number {
		case 0x8769:
			picture[i] = long(t.number, uint32(shotAt))
		case 0x8825:
			picture[i] = long(t.number, uint32(placeAt))
		}
	}
	out := append([]byte("Exif\x00\x00II*\x00"), 8, 0, 0, 0)
	out = appendDirectory(out, header, picture)
	out = appendDirectory(out, shotAt, shot)
	return appendDirectory(out, placeAt, place)
}

func placeTags(p jobs.Position, taken time.Time) []tag {
	north, east := "N", "E"
	if p.LatitudeMicrodegrees < 0 {
		north = "S"
	}
	if p.LongitudeMicrodegrees < 0 {
		east = "W"
	}
	tags := []tag{{0x0000, byteType, 4, []byte{2, 3, 0, 0}},
		ascii(0x0001, north), degrees(0x0002, p.LatitudeMicrodegrees),
		ascii(0x0003, east), degrees(0x0004, p.LongitudeMicrodegrees)}
	if !taken.IsZero() {
		utc := taken.UTC()
		tags = append(tags,
			rationals(0x0007, uint32(utc.Hour()), 1, uint32(utc.Minute()), 1, uint32(utc.Second()), 1),
			ascii(0x001d, utc.Format("2006:01:02")))
	}
	return tags
}

// degrees writes degrees, minutes and ten-thousandths of seconds.
func degrees(number uint16, micro int32) tag {
	n := uint64(max(micro, -micro))
	tenThousandths := n * 36 // One millionth of a degree is 36 ten-thousandths of a second.
	const minute = 60 * 10_000
	return rationals(number, uint32(tenThousandths/(60*minute)), 1, uint32(tenThousandths/minute%60), 1,
		uint32(tenThousandths%minute), 10_000)
}

func ascii(number uint16, text string) tag {
	return tag{number, asciiType, uint32(len(text) + 1), append([]byte(text), 0)}
}

func short(number, value uint16) tag {
	return tag{number, shortType, 1, little.AppendUint16(nil, value)}
}

func long(number uint16, value uint32) tag {
	return tag{number, longType, 1, little.AppendUint32(nil, value)}
}

func rationals(number uint16, numbers ...uint32) tag {
	var value []byte
	for _, n := range numbers {
		value = little.AppendUint32(value, n)
	}
	return tag{number, rationalType, uint32(len(numbers) / 2), value}
}

// sizeOf is what appendDirectory will add.
func sizeOf(tags []tag) int {
	if len(tags) == 0 {
		return 0
	}
	size := 2 + 12*len(tags) + 4
	for _, t := range tags {
		if len(t.value) > 4 {
			size += len(t.value) + len(t.value)%2
		}
	}
	return size
}

// appendDirectory writes a directory that begins at the offset, with its longer values behind it.
func appendDirectory(out []byte, at int, tags []tag) []byte {
	if len(tags) == 0 {
		return out
	}
	if !slices.IsSortedFunc(tags, func(a, b tag) int { return int(a.number) - int(b.number) }) {
		panic(fmt.Sprintf("tags of the directory at %d are not in order", at))
	}
	out = little.AppendUint16(out, uint16(len(tags)))
	values := []byte{}
	for _, t := range tags {
		out = little.AppendUint16(out, t.number)
		out = little.AppendUint16(out, t.kind)
		out = little.AppendUint32(out, t.count)
		if len(t.value) <= 4 {
			out = append(append(out, t.value...), make([]byte, 4-len(t.value))...)
			continue
		}
		out = little.AppendUint32(out, uint32(at+2+12*len(tags)+4+len(values)))
		values = append(append(values, t.value...), make([]byte, len(t.value)%2)...)
	}
	return append(append(out, 0, 0, 0, 0), values...)
}
