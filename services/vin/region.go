package vin

import "cullet/services/finding"

// Region is the part of the world in which a maker was registered.
type Region struct {
	// Name is the continent, Country the country where our table knows it; empty where not.
	Name    string
	Country string
	// CheckDigitRequired tells whether the law there asks for a right check digit and year code.
	CheckDigitRequired bool
	Source             finding.Source
}

// regionRow is one block of first characters, in the order of ISO 3780: A to Z, 1 to 9, 0.
type regionRow struct {
	from, to      string
	name, country string
}

const isoOrder = "ABCDEFGHJKLMNPRSTUVWXYZ1234567890"

const (
	africa, asia, europe   = "Africa", "Asia", "Europe"
	northAmerica, oceania  = "North America", "Oceania"
	southAmerica, noRegion = "South America", "not assigned"
)

// regionRows are the blocks of ISO 3780, from memory; the first that fits counts, so countries
// stand before their continent. That 7F to 70 belong to the United States is seen in the maker
// table; position 1 alone does not tell North America any more.
var regionRows = []regionRow{
	{"AA", "AH", africa, "South Africa"},
	{"J", "J", asia, "Japan"}, {"KL", "KR", asia, "South Korea"}, {"L", "L", asia, "China"},
	{"MA", "ME", asia, "India"}, {"ML", "MR", asia, "Thailand"}, {"NM", "NR", asia, "Turkey"},
	{"SA", "SM", europe, "United Kingdom"}, {"SN", "ST", europe, "Germany"}, {"SU", "SZ", europe, "Poland"},
	{"TJ", "TP", europe, "Czechia"}, {"TR", "TV", europe, "Hungary"}, {"UU", "UZ", europe, "Romania"},
	{"U5", "U7", europe, "Slovakia"}, {"VA", "VE", europe, "Austria"}, {"VF", "VR", europe, "France"},
	{"VS", "VW", europe, "Spain"}, {"W", "W", europe, "Germany"}, {"XL", "XR", europe, "Netherlands"},
	{"YA", "YE", europe, "Belgium"}, {"YF", "YK", europe, "Finland"}, {"YS", "YW", europe, "Sweden"},
	{"ZA", "ZR", europe, "Italy"},
	{"1", "1", northAmerica, "United States"}, {"2", "2", northAmerica, "Canada"},
	{"3A", "3W", northAmerica, "Mexico"}, {"3", "3", northAmerica, ""},
	{"4", "4", northAmerica, "United States"}, {"5", "5", northAmerica, "United States"},
	{"6A", "6W", oceania, "Australia"}, {"7A", "7E", oceania, "New Zealand"},
	{"7F", "70", northAmerica, "United States"},
	{"8A", "8E", southAmerica, "Argentina"}, {"9A", "9E", southAmerica, "Brazil"}, {"93", "99", southAmerica, "Brazil"},
	{"A", "C", africa, ""}, {"H", "R", asia, ""}, {"S", "Z", europe, ""},
	{"6", "7", oceania, ""}, {"8", "9", southAmerica, ""}, {"0", "0", noRegion, ""},
}

// Region reads the first two characters. The name is empty for a block that our table lacks.
func (n Number) Region() Region {
	for _, row := range regionRows {
		if len(n) >= 2 && between(n[:len(row.from)], row.from, row.to) {
			return Region{Name: row.name, Country: row.country,
				CheckDigitRequired: row.name == northAmerica, Source: sourceISO3780}
		}
	}
	return Region{Source: sourceISO3780}
}

func between(text Number, from, to string) bool {
	for i := range text {
		if c := isoRank[text[i]]; c < isoRank[from[i]] || c > isoRank[to[i]] {
			return false
		}
	}
	return true
}

// isoRank is the place of each character in the order of ISO 3780, -1 where it has none.
var isoRank = isoRanks()

func isoRanks() (ranks [256]int8) {
	for i := range ranks {
		ranks[i] = -1
	}
	for i := range isoOrder {
		ranks[isoOrder[i]] = int8(i)
	}
	return ranks
}
