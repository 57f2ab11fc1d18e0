package money

import (
	"fmt"
	"math/bits"
)

// Split divides the amount in proportion to weights so that the parts sum to it exactly. Each
// part is its exact share cut to whole minor units; the units left over go one each to the parts
// with the largest remainders, the earlier part first among equals. Weights are not negative
// and not all zero, else it fails with ErrRange.
func (a Amount) Split(weights ...int64) ([]Amount, error) {
	var total uint64
	for _, w := range weights {
		if w < 0 || !inRange(w) {
			return nil, fmt.Errorf("split %s by weight %d: %w", a, w, ErrRange)
		}
		total += uint64(w)
	}
	if total == 0 || !inRange(a.Minor) {
		return nil, fmt.Errorf("split %s by weights %v: %w", a, weights, ErrRange)
	}
	magnitude, sign := uint64(a.Minor), int64(1)
	if a.Minor < 0 {
		magnitude, sign = uint64(-a.Minor), -1
	}
	parts := make([]Amount, len(weights))
	remainders := make([]uint64, len(weights))
	left := magnitude
	for i, w := range weights {
		hi, lo := bits.Mul64(magnitude, uint64(w))
		share, remainder := bits.Div64(hi, lo, total)
		parts[i] = Amount{Minor: int64(share), Currency: a.Currency}
		remainders[i] = remainder
		left -= share
	}
	for ; left > 0; left-- {
		largest := 0
		for i := range remainders {
			if remainders[i] > remainders[largest] {
				largest = i
			}
		}
		parts[largest].Minor++
		remainders[largest] = 0
	}
	for i := range parts {
		parts[i].Minor *= sign
	}
	return parts, nil
}
