package tax

import (
	"bytes"
	"maps"
	"slices"
	"strings"
	"sync"

	"cullet/services/errs"
)

// Book holds the dated rates and taxabilities. It never changes; With makes a new one. The zero
// Book knows nothing and stops every quote.
type Book struct {
	rates     []RateRow
	laws      []Taxability
	countries map[string]*territory
	// room keeps the working memory of finished quotes for the next ones.
	room *sync.Pool
}

// territory is a country or a state with its own law, and what lies in it.
type territory struct {
	code string
	// states are the states of a country that have laws of their own.
	states map[string]*territory
	// base are the rows of the territory itself, the row to prefer first.
	base []*RateRow
	// locals are the rows beneath it by code, byName their codes by level and name.
	locals map[string][]*RateRow
	byName [localLevels]map[string]string
	// laws are the taxabilities by Category.index; index 0 is for all others.
	laws [categoryCount][]*Taxability
}

// With returns a book that also has these rows. A row added later goes before an earlier one of
// the same code (or the same territory and category) on the days that both cover, so a shop can
// correct what is shipped. It fails, and nothing is added, when a row is not well formed or when
// two of the new rows cover the same day.
func (b Book) With(rates []RateRow, laws []Taxability) (Book, error) {
	if err := checkRows(rates, laws); err != nil {
		return b, err
	}
	rates, laws = slices.Clone(rates), slices.Clone(laws)
	for i := range rates {
		rates[i].rateText, rates[i].percentText = rates[i].Rate.String(), rates[i].Rate.Percent()
		rates[i].doubtFrom = rates[i].firstDoubt()
	}
	for i := range laws {
		laws[i].isDoubtful = isRemembered(laws[i].Source)
	}
	made := Book{rates: slices.Concat(rates, b.rates), laws: slices.Concat(laws, b.laws),
		countries: map[string]*territory{}, room: &sync.Pool{}}
	for i := range made.rates {
		made.addRate(&made.rates[i])
	}
	for i := range made.laws {
		made.addLaw(&made.laws[i])
	}
	return made, nil
}

func checkRows(rates []RateRow, laws []Taxability) error {
	var faults []errs.Field
	spans := map[string][]span{}
	for i := range rates {
		row, path := &rates[i], "rates."+rates[i].Code
		faults = append(faults, row.faults(path)...)
		spans[path] = append(spans[path], span{row.ValidFrom, row.ValidTo})
	}
	for i := range laws {
		law := &laws[i]
		faults = append(faults, law.faults("taxability."+law.Rule)...)
		path := "taxability." + law.Country + law.State + "." + string(law.Category)
		spans[path] = append(spans[path], span{law.ValidFrom, law.ValidTo})
	}
	for _, path := range slices.Sorted(maps.Keys(spans)) {
		if overlap(spans[path]) {
			faults = append(faults, errs.Field{Path: path + ".valid_from", Reason: "TAX_ROWS_OVERLAP",
				Message: "two rows cover the same day; end the earlier one on the day before"})
		}
	}
	return errs.InvalidFields("TAX_ROWS", faults)
}

// span is the days that a row covers.
type span struct{ from, to string }

func overlap(spans []span) bool {
	slices.SortFunc(spans, func(x, y span) int { return strings.Compare(x.from, y.from) })
	for i := 1; i < len(spans); i++ {
		if last := spans[i-1].to; last == "" || spans[i].from <= last {
			return true
		}
	}
	return false
}

// territory finds a country or a state, and makes it when there is none yet.
func (b Book) territory(country, state string) *territory {
	t := b.countries[country]
	if t == nil {
		t = &territory{code: country, states: map[string]*territory{}}
		b.countries[country] = t
	}
	if state == "" {
		return t
	}
	s := t.states[state]
	if s == nil {
		s = &territory{code: country + "-" + state, locals: map[string][]*RateRow{}}
		t.states[state] = s
	}
	return s
}

// localLevels counts the levels beneath a state.
const localLevels = 3

// local numbers those levels; -1 for the others.
func (l Level) local() int {
	switch l {
	case County:
		return 0
	case City:
		return 1
	case District:
		return 2
	}
	return -1
}

func (b Book) addRate(row *RateRow) {
	t := b.territory(row.Country, row.State)
	level := row.Level.local()
	if level < 0 {
		t.base = append(t.base, row)
		return
	}
	t.locals[row.Code] = append(t.locals[row.Code], row)
	if t.byName[level] == nil {
		t.byName[level] = map[string]string{}
	}
	for _, name := range localNames(row) {
		t.byName[level][name] = row.Code
	}
}

func (b Book) addLaw(law *Taxability) {
	t := b.territory(law.Country, law.State)
	i := law.Category.index()
	t.laws[i] = append(t.laws[i], law)
}

// localNames are the texts by which a place may name the row: its name with and without the word
// for its kind, as printed and folded, its code, the code's last part, and the state's number
// before that.
func localNames(row *RateRow) []string {
	tail := row.Code[strings.LastIndexByte(row.Code, '-')+1:]
	names := []string{row.Name, fold(row.Name), fold(row.Code), fold(tail)}
	for _, kind := range []string{" County", " Parish", " Borough", " District", " district"} {
		if short, ok := strings.CutSuffix(row.Name, kind); ok {
			names = append(names, short, fold(short))
		}
	}
	if number, ok := stateNumbers[row.State]; ok && row.Country == "US" {
		names = append(names, number+fold(tail))
	}
	return names
}

// fold writes a name in small letters with single spaces between its words.
func fold(text string) string { return string(appendFolded(nil, text)) }

func appendFolded(to []byte, text string) []byte {
	for i := range len(text) {
		switch c := text[i]; {
		case c == ' ' || c == '\t':
			if n := len(to); n > 0 && to[n-1] != ' ' {
				to = append(to, ' ')
			}
		case 'A' <= c && c <= 'Z':
			to = append(to, c+'a'-'A')
		default:
			to = append(to, c)
		}
	}
	return bytes.TrimSuffix(to, []byte(" "))
}

func rowOn(rows []*RateRow, on string) *RateRow {
	for _, row := range rows {
		if covers(row.ValidFrom, row.ValidTo, on) {
			return row
		}
	}
	return nil
}

// law finds the row for a category on a day: its own, else the one for all; nil when neither is
// on file.
func (t *territory) law(category Category, on string) *Taxability {
	for _, i := range [2]int{category.index(), 0} {
		for _, law := range t.laws[i] {
			if covers(law.ValidFrom, law.ValidTo, on) {
				return law
			}
		}
	}
	return nil
}

// Rates lists the rate rows of a region ("US-OH", "CA", "" for all), those to prefer first
// within a code; none is an empty list. The rows are copies.
func (b Book) Rates(region string) []RateRow {
	var found []RateRow
	for _, row := range b.rates {
		if within(row.Code, region) {
			row.Includes, row.Also, row.Asks = slices.Clone(row.Includes), slices.Clone(row.Also), slices.Clone(row.Asks)
			found = append(found, row)
		}
	}
	slices.SortStableFunc(found, func(x, y RateRow) int { return strings.Compare(x.Code, y.Code) })
	return found
}

// Taxabilities lists the taxability rows of a region as Rates does.
func (b Book) Taxabilities(region string) []Taxability {
	var found []Taxability
	for _, law := range b.laws {
		code := law.Country
		if law.State != "" {
			code += "-" + law.State
		}
		if within(code, region) {
			found = append(found, law)
		}
	}
	slices.SortStableFunc(found, func(x, y Taxability) int {
		return strings.Compare(x.Country+x.State, y.Country+y.State)
	})
	return found
}

// Countries lists the country codes on file, sorted.
func (b Book) Countries() []string {
	return slices.Sorted(maps.Keys(b.countries))
}

// within tells whether a jurisdiction's code is the region or lies in it.
func within(code, region string) bool {
	rest, ok := strings.CutPrefix(code, region)
	return ok && (region == "" || rest == "" || rest[0] == '-')
}

// stateNumbers are the FIPS 5-2 numbers of the states, from memory; the rate files of the
// Streamlined Sales Tax agreement and five-digit county codes begin with them.
var stateNumbers = map[string]string{
	"AL": "01", "AK": "02", "AZ": "04", "AR": "05", "CA": "06", "CO": "08", "CT": "09", "DE": "10", "DC": "11",
	"FL": "12", "GA": "13", "HI": "15", "ID": "16", "IL": "17", "IN": "18", "IA": "19", "KS": "20", "KY": "21",
	"LA": "22", "ME": "23", "MD": "24", "MA": "25", "MI": "26", "MN": "27", "MS": "28", "MO": "29", "MT": "30",
	"NE": "31", "NV": "32", "NH": "33", "NJ": "34", "NM": "35", "NY": "36", "NC": "37", "ND": "38", "OH": "39",
	"OK": "40", "OR": "41", "PA": "42", "RI": "44", "SC": "45", "SD": "46", "TN": "47", "TX": "48", "UT": "49",
	"VT": "50", "VA": "51", "WA": "53", "WV": "54", "WI": "55", "WY": "56",
}
