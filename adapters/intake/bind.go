package intake

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/jobs"
)

// maxNumber is the largest number of a damage or photo in the name of a column; maxUnused bounds the
// list of columns that nobody reads, maxNamed the characters of one name, and of names in a sentence.
const (
	maxNumber = 20
	maxUnused = 100
	maxNamed  = 300
)

// bound is one column of the mapping tied to one of the sheet.
type bound struct {
	jobs.Column
	field jobs.IntakeField
	// member is the path within the record, or within its damage or photo.
	member string
	// column is an index of the sheet's; -1 when only the mapping's value stands.
	column int
	words  map[string]string
}

// part is one damage or photo of a row: of the first, second ... set of columns.
type part struct {
	number  int
	members []*bound
}

// plan is a mapping tied to a sheet.
type plan struct {
	jobs.Mapping
	zone   *time.Location
	sheet  *Sheet
	record []*bound
	// parts are the damages and the photos of a row, by the name of their list.
	parts map[string][]*part
}

// lists are the lists of a record.
var lists = []string{"damages", "photos"}

// bind ties a mapping to a sheet, or gives one error with every column that is missing or there
// twice.
func bind(s *Sheet, m jobs.Mapping) (*plan, []string, error) {
	zone := access.Zone(m.TimeZone)
	b := binder{plan: &plan{Mapping: m, zone: zone, sheet: s, parts: map[string][]*part{}}, byName: map[string][]int{}, used: map[int]bool{}}
	for i, name := range s.Columns {
		key := jobs.FoldWord(name)
		b.byName[key] = append(b.byName[key], i)
	}
	var values []*bound // without a column; they follow the columns, which make the parts
	for _, c := range m.Bindings() {
		x := newBound(c)
		if c.Name == "" {
			values = append(values, x)
			continue
		}
		b.columns(x)
	}
	if err := refuse(b.faults...); err != nil {
		return nil, nil, err
	}
	for _, x := range values {
		b.value(x)
	}
	for _, list := range lists {
		slices.SortFunc(b.parts[list], func(x, y *part) int { return x.number - y.number })
	}
	return b.plan, b.unused(), nil
}

func newBound(c jobs.Column) *bound {
	field, _, _ := jobs.ParseField(c.Field)
	x := &bound{Column: c, field: field, member: field.Path, column: -1, words: map[string]string{}}
	for _, w := range c.Words {
		x.words[jobs.FoldWord(w.Given)] = w.Meaning
	}
	return x
}

type binder struct {
	*plan
	byName map[string][]int
	used   map[int]bool
	faults []errs.Field
}

// columns ties a binding to its column, or to as many as its name has numbers.
func (b *binder) columns(x *bound) {
	_, number, _ := jobs.ParseField(x.Field)
	found := false
	if !strings.Contains(x.Name, jobs.Number) {
		found = b.tie(x, x.Name, max(number, 1))
	} else {
		for n := 1; n <= maxNumber; n++ {
			found = b.tie(x, strings.Replace(x.Name, jobs.Number, strconv.Itoa(n), 1), n) || found
		}
	}
	if !found && !x.IsOptional {
		b.faults = append(b.faults, fault("COLUMN_MISSING", "the file has no column %q, which the mapping names for the field %s; it has %s. "+
			"Mend the name in the mapping, or mark it as optional there", x.Name, x.Field, named(b.sheet.Columns)))
	}
}

// tie ties one column; false when there is none of the name.
func (b *binder) tie(x *bound, name string, number int) bool {
	at := b.byName[jobs.FoldWord(name)]
	switch {
	case len(at) == 0:
		return false
	case len(at) > 1:
		b.faults = append(b.faults, fault("COLUMN_TWICE", "columns %d and %d of the file are both named %q, and the mapping reads one for the "+
			"field %s; give them different names", at[0]+1, at[1]+1, b.sheet.Columns[at[0]], x.Field))
	}
	b.used[at[0]] = true
	tied := *x
	tied.column = at[0]
	list, ok := tied.list()
	if !ok {
		b.record = append(b.record, &tied)
		return true
	}
	p := b.part(list, number)
	if p == nil {
		p = &part{number: number}
		b.parts[list] = append(b.parts[list], p)
	}
	p.members = append(p.members, &tied)
	return true
}

// value puts a value that stands without a column where columns made a place for it.
func (b *binder) value(x *bound) {
	list, ok := x.list()
	if !ok {
		b.record = append(b.record, x)
		return
	}
	_, number, _ := jobs.ParseField(x.Field)
	for _, p := range b.parts[list] {
		if number == 0 || number == p.number {
			p.members = append(p.members, x)
		}
	}
}

// list tells whose member a binding is, and leaves only the member's own path; ok is false for a
// field of the record itself.
func (x *bound) list() (list string, ok bool) {
	list, member, ok := strings.Cut(x.field.Path, "."+jobs.Number+".")
	if ok {
		x.member = member
	}
	return list, ok
}

func (p *plan) part(list string, number int) *part {
	for _, one := range p.parts[list] {
		if one.number == number {
			return one
		}
	}
	return nil
}

func (b *binder) unused() (all []string) {
	for i, name := range b.sheet.Columns {
		if !b.used[i] && name != "" && len(all) < maxUnused {
			all = append(all, fmt.Sprintf("%.*s", maxNamed, name))
		}
	}
	return all
}

// named lists columns for a sentence.
func named(columns []string) string {
	if len(columns) == 0 {
		return "none"
	}
	var b strings.Builder
	for i, name := range columns {
		if b.Len()+len(name) > maxNamed {
			fmt.Fprintf(&b, " and %d more", len(columns)-i)
			break
		}
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(strconv.Quote(name))
	}
	return b.String()
}
