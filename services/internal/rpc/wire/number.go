package wire

import (
	"fmt"
	"math"
	"strconv"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/repairability"
)

// reader turns a message into nouns and collects what cannot be turned without changing it. Where
// a fault stands is put together only when there is one.
type reader struct {
	// prefix is what all paths begin with: "record.".
	prefix string
	// damage is the index of the damage that is being read; -1 outside of damages.
	damage int
	// part is the message within it: "process.".
	part   string
	faults []errs.Field
}

func newReader(prefix string) *reader { return &reader{prefix: prefix, damage: -1} }

func (r *reader) fault(name, reason, message string, args ...any) {
	path := r.prefix
	if r.damage >= 0 {
		path += fmt.Sprintf("damages[%d].", r.damage)
	}
	r.faults = append(r.faults, errs.Field{Path: path + r.part + name, Reason: reason, Message: fmt.Sprintf(message, args...)})
}

// maxMM is the longest length that is read at all; what is believed of a glass is less.
const maxMM = 10_000

// length reads millimetres with at most two decimals; nil for nil and for what is faulty.
func (r *reader) length(name string, mm *float64) *repairability.Length {
	n := r.decimal(name, mm, 100, maxMM, "millimetres with at most two decimals: 25.4")
	if n == nil {
		return nil
	}
	return new(repairability.Length(*n))
}

// hottest is far beyond what any glass is; what is usual is the process check's to say.
const hottest = 1000

func (r *reader) temperature(name string, celsius *float64) *repairability.Temperature {
	n := r.decimal(name, celsius, 10, hottest, "degrees Celsius with at most one decimal: 21.5")
	if n == nil {
		return nil
	}
	return new(repairability.Temperature(*n))
}

// decimal reads a number as whole steps, of which one makes up scale. The number must be the double
// nearest to some decimal with so many places: it is never rounded.
func (r *reader) decimal(name string, value *float64, scale, most float64, wanted string) *int32 {
	if value == nil {
		return nil
	}
	v := *value
	if math.IsNaN(v) || v < -most || v > most {
		r.fault(name, "OUT_OF_RANGE", "%v was given; give %s, from %v to %v, or leave the field out", v, wanted, -most, most)
		return nil
	}
	steps := math.Round(v * scale)
	// A division of whole numbers is rounded to the nearest double, and so is the text of a number.
	if steps/scale != v {
		r.fault(name, "TOO_PRECISE", "%s was given; give %s", strconv.FormatFloat(v, 'f', -1, 64), wanted)
		return nil
	}
	n := int32(steps)
	return &n
}

// degrees reads a coordinate to a millionth of a degree, which is a tenth of a metre; what a
// receiver adds behind it is noise.
func (r *reader) degrees(name string, value *float64, most float64) *int32 {
	if value == nil {
		return nil
	}
	if v := *value; !(v >= -most && v <= most) {
		r.fault(name, "OUT_OF_RANGE", "%v was given; give degrees from %v to %v, or leave both coordinates out", v, -most, most)
		return nil
	}
	n := int32(math.Round(*value * 1e6))
	return &n
}

func toMM(l *repairability.Length) *float64 {
	if l == nil {
		return nil
	}
	return new(float64(*l) / 100)
}

func intOrNil(n *int32) *int {
	if n == nil {
		return nil
	}
	return new(int(*n))
}

func int32OrNil(n *int) *int32 {
	if n == nil {
		return nil
	}
	return new(int32(*n))
}

func ints(all []int32) []int {
	if len(all) == 0 {
		return nil
	}
	wide := make([]int, len(all))
	for i, n := range all {
		wide[i] = int(n)
	}
	return wide
}

func int32s(all []int) []int32 {
	if len(all) == 0 {
		return nil
	}
	narrow := make([]int32, len(all))
	for i, n := range all {
		narrow[i] = int32(n)
	}
	return narrow
}

// canonicalID writes an identifier as we write them; what is none stays as it is, to be refused by
// whoever checks it.
func canonicalID[T ~string](text string) T {
	if id, ok := ident.Parse[T](text); ok {
		return id
	}
	return T(text)
}
