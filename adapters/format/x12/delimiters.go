package x12

import "cullet/services/payers"

// delimiters are the characters that part a document. Release 004010 has no repetition.
type delimiters struct{ element, segment, component, repetition byte }

// The candidates, the usual one first. The last of each is a control character, which data never
// has: so there is always one to choose.
var (
	elementCandidates    = []byte{'*', '|', 0x1d}
	segmentCandidates    = []byte{'~', 0x1c}
	componentCandidates  = []byte{'>', ':', 0x1f}
	repetitionCandidates = []byte{'^', '!', 0x1e}
)

// preferred are the usual delimiters.
func preferred(version payers.X12Version) delimiters { return choose(version, &[256]bool{}) }

// choose gives delimiters of which none is among the used bytes.
func choose(version payers.X12Version, used *[256]bool) delimiters {
	d := delimiters{element: first(elementCandidates, used), segment: first(segmentCandidates, used),
		component: first(componentCandidates, used)}
	if version == payers.X12005010 {
		d.repetition = first(repetitionCandidates, used)
	}
	return d
}

func first(candidates []byte, used *[256]bool) byte {
	for _, c := range candidates {
		if !used[c] {
			return c
		}
	}
	return candidates[len(candidates)-1]
}
