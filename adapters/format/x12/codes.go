package x12

// The codes of acknowledgements in our own words. Those of segments, elements, verdicts and the
// envelope after public maps and guides, read 2026-11-25; those of sets and groups (AK502, AK905) from
// memory.
var (
	segmentNotes = map[string]string{
		"1": "not a known segment", "2": "not expected", "3": "missing, and it must be there", "4": "its loop is there too often",
		"5": "there too often", "6": "not part of this set", "7": "at the wrong place", "8": "its elements have errors",
	}
	elementNotes = map[string]string{
		"1": "missing, and it must be there", "2": "missing, and another one demands it", "3": "one too many", "4": "too short",
		"5": "too long", "6": "it has a character that is not allowed", "7": "not a code that is known", "8": "no day",
		"9": "no time of day", "10": "it excludes another one that is there",
	}
	verdicts = map[string]string{
		"R": "rejected", "M": "rejected: the message authentication does not hold", "W": "rejected: the assurance does not hold",
		"X": "rejected: it could not be decrypted",
	}
	setNotes = map[string]string{
		"1": "this set is not supported", "2": "the trailer of the set is missing", "3": "the control numbers of its header and trailer differ",
		"4": "its count of segments is wrong", "5": "segments of it have errors", "6": "its type is missing or wrong",
		"7": "its control number is missing or wrong",
	}
	groupNotes = map[string]string{
		"1": "this group is not supported", "2": "this version is not supported", "3": "the trailer of the group is missing",
		"4": "the control numbers of its header and trailer differ", "5": "its count of sets is wrong", "6": "its control number is wrong",
	}
	interchangeNotes = map[string]string{
		"001": "the control numbers of header and trailer differ", "005": "the sender's qualifier is not known",
		"006": "the sender is not known", "007": "the receiver's qualifier is not known", "008": "the receiver is not known",
		"009": "this receiver is not known there", "014": "the day is wrong", "015": "the time is wrong", "018": "the control number is wrong",
		"021": "the count of groups is wrong", "022": "the structure is wrong", "023": "the file ends too early", "024": "the content is wrong",
		"025": "a file of this number came before", "026": "the element separator is wrong", "027": "the component separator is wrong",
	}
)

// members name the member of the payload that stands in an element of our 810; without an element
// number, that of the segment.
var members = map[string]string{
	"BIG": "invoice_number", "BIG1": "invoice_date", "BIG4": "coverage.purchase_order", "CUR": "totals.total", "REF": "coverage",
	"N1": "payer", "N3": "shop.address", "N4": "shop.address", "DTM": "job.repair_date", "IT1": "lines", "PID": "lines",
	"TDS": "totals.payer_share", "TXI": "tax", "SAC": "totals.motorist_share", "CTT": "lines",
}

// pathOf points into the payload; empty when the segment is none of ours.
func pathOf(segment, element string) string {
	if len(element) == 2 && element[0] == '0' {
		element = element[1:]
	}
	if path, ok := members[segment+element]; ok {
		return path
	}
	return members[segment]
}
