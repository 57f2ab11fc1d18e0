package taxrpc

import (
	"cmp"
	"slices"
	"strings"

	"cullet/services/tax"
)

// keyOf is what the list is sorted by; no two rows of a book have the same.
func keyOf(row tax.RateRow) []string { return []string{row.Code, row.Scheme, row.Name, row.ValidFrom} }

func isBehind(row tax.RateRow, after []string) bool {
	return after == nil || slices.Compare(keyOf(row), after) > 0
}

func byKey(a, b tax.RateRow) int {
	return cmp.Or(slices.Compare(keyOf(a), keyOf(b)), strings.Compare(a.ValidTo, b.ValidTo))
}

// within tells whether a jurisdiction's code is the region or lies in it.
func within(code, region string) bool {
	rest, ok := strings.CutPrefix(code, region)
	return ok && (region == "" || rest == "" || rest[0] == '-')
}
