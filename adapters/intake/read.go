package intake

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/jobs"
)

// Read makes records of a sheet as the mapping says, in the order of the file. It refuses, with one
// error, a sheet that lacks columns of the mapping or has them twice, and one without rows.
func Read(s *Sheet, m jobs.Mapping) (jobs.Intake, error) {
	if len(s.Rows) == 0 {
		return jobs.Intake{}, Refuse("FILE_EMPTY", "the file has no row of data; was it exported whole?")
	}
	p, unused, err := bind(s, m)
	if err != nil {
		return jobs.Intake{}, err
	}
	file := jobs.Intake{UnusedColumns: unused}
	for _, rows := range p.together() {
		record, err := p.read(rows)
		if err != nil {
			return jobs.Intake{}, err
		}
		file.Records = append(file.Records, record)
	}
	return file, nil
}

// together gives the rows of each record, as indexes. Rows that are a damage each are one record when
// they have the same reference, wherever they stand; one without a reference stands alone.
func (p *plan) together() [][]int {
	var all [][]int
	place := map[string]int{}
	for i := range p.sheet.Rows {
		key := ""
		if row := &p.sheet.Rows[i]; p.IsRowPerDamage && row.Fault == nil {
			key = p.reference(row)
		}
		at, isKnown := place[key]
		if key == "" || !isKnown {
			if key != "" {
				place[key] = len(all)
			}
			all = append(all, []int{i})
			continue
		}
		all[at] = append(all[at], i)
	}
	return all
}

func (p *plan) reference(row *Row) string {
	for _, x := range p.record {
		if x.member == "external_reference" {
			return row.cell(x.column).Text
		}
	}
	return ""
}

// origin is where a damage or photo of a record comes from.
type origin struct {
	row  *Row
	part *part
}

// builder makes one record.
type builder struct {
	*plan
	rows   []*Row
	faults []errs.Field
	// origins are those of the damages and photos, by the name of their list.
	origins map[string][]origin
	// zone and day are those of the record's times; day is empty when no column tells it, and isDayBad
	// tells that one does and cannot be read.
	zone     *time.Location
	day      string
	isDayBad bool
}

// read makes the record of some rows.
func (p *plan) read(rows []int) (jobs.IntakeRecord, error) {
	b := &builder{plan: p, origins: map[string][]origin{}, zone: p.zone}
	r := jobs.IntakeRecord{Locate: b.locate}
	for _, i := range rows {
		b.rows = append(b.rows, &p.sheet.Rows[i])
		r.Rows = append(r.Rows, i+1)
	}
	r.Line = b.rows[0].Line
	tree := map[string]any{}
	if bad := b.rows[0].Fault; bad != nil {
		b.faults = append(b.faults, *bad)
	} else {
		tree = b.tree()
	}
	r.Reference, _ = tree["external_reference"].(string)
	r.Faults = b.faults
	var err error
	if r.Text, err = json.Marshal(tree); err != nil {
		return r, fmt.Errorf("write the record of line %d as JSON: %w", r.Line, err)
	}
	return r, nil
}

// tree makes the record as the contract writes it in JSON. The vehicle and the place are there in any
// case, so that what is missing of them is told by its own field.
func (b *builder) tree() map[string]any {
	tree := map[string]any{"vehicle": map[string]any{}, "place_of_repair": map[string]any{}, "time_zone": b.TimeZone}
	b.times(tree)
	for _, x := range b.record {
		if x.member == jobs.RepairDate || x.member == "time_zone" {
			continue
		}
		if v := b.own(x); v != nil {
			put(tree, x.member, v)
		}
	}
	for _, list := range lists {
		if all := b.list(list); len(all) > 0 {
			tree[list] = all
		}
	}
	return tree
}

// times reads first what all times of the record depend on.
func (b *builder) times(tree map[string]any) {
	for _, x := range b.record {
		switch x.member {
		case "time_zone":
			if name, ok := b.own(x).(string); ok {
				tree["time_zone"] = name
				if zone, ok := access.ParseZone(name); ok {
					b.zone = zone
				}
			}
		case jobs.RepairDate:
			before := len(b.faults)
			b.day, _ = b.own(x).(string)
			b.isDayBad = len(b.faults) > before
		}
	}
}

// own reads a field of the record itself: from the first of its rows in which something stands. All
// others must say the same or nothing.
func (b *builder) own(x *bound) any {
	from := b.rows[0]
	for _, row := range b.rows {
		text := row.cell(x.column).Text
		first := from.cell(x.column).Text
		switch {
		case text == "" || text == first:
		case first == "":
			from = row
		default:
			b.fault(x.member, "ROWS_DIFFER", "%.60q stands on line %d and %.60q on line %d, and both rows have the same reference: give the "+
				"same in both, or leave one empty, or give another visit a reference of its own", text, row.Line, first, from.Line)
			return nil
		}
	}
	return b.value(x, from, x.member)
}

// value reads one cell; nil when nothing stands there or it is faulty.
func (b *builder) value(x *bound, row *Row, path string) any {
	cell := row.cell(x.column)
	if cell.Text == "" {
		cell = Cell{Text: x.Value}
	}
	if meaning, ok := x.words[jobs.FoldWord(cell.Text)]; ok {
		cell = Cell{Text: meaning}
	}
	if cell.Text == "" {
		return nil
	}
	v, bad := b.parse(x.field, cell)
	if bad != nil {
		b.fault(path, bad.reason, "%s", bad.message)
		return nil
	}
	return v
}

func (b *builder) fault(path, reason, message string, args ...any) {
	b.faults = append(b.faults, errs.Field{Path: "record." + path, Reason: reason, Message: fmt.Sprintf(message, args...)})
}

// list reads the damages or photos of all rows; one without anything in its columns is not there.
func (b *builder) list(name string) (all []map[string]any) {
	for _, row := range b.rows {
		for _, p := range b.parts[name] {
			if !p.stands(row) {
				continue
			}
			one := map[string]any{}
			if n := b.damageOf(row); name == "photos" && n > 0 {
				one["damage_number"] = n
			}
			for _, x := range p.members {
				if v := b.value(x, row, fmt.Sprintf("%s[%d].%s", name, len(all), x.member)); v != nil {
					put(one, x.member, v)
				}
			}
			b.origins[name] = append(b.origins[name], origin{row, p})
			all = append(all, one)
		}
	}
	return all
}

// damageOf gives the number of the damage that a row is, from 1; 0 where rows are not a damage each,
// or this one is none or several.
func (b *builder) damageOf(row *Row) (number int) {
	if !b.IsRowPerDamage {
		return 0
	}
	for i, from := range b.origins["damages"] {
		switch {
		case from.row != row:
		case number > 0:
			return 0
		default:
			number = i + 1
		}
	}
	return number
}

// stands tells whether anything stands in the columns of a part.
func (p *part) stands(row *Row) bool {
	return slices.ContainsFunc(p.members, func(x *bound) bool { return row.cell(x.column).Text != "" })
}

// put sets a value at a path of a tree.
func put(tree map[string]any, path string, v any) {
	for {
		name, rest, isDeeper := strings.Cut(path, ".")
		if !isDeeper {
			tree[name] = v
			return
		}
		inner, ok := tree[name].(map[string]any)
		if !ok {
			inner = map[string]any{}
			tree[name] = inner
		}
		tree, path = inner, rest
	}
}

// locate finds the cell that stands for a path of the record.
func (b *builder) locate(path string) (jobs.Cell, bool) {
	list, number, member := split(path)
	row, members := b.rows[0], b.record
	if list != "" {
		if number >= len(b.origins[list]) {
			return jobs.Cell{}, false
		}
		from := b.origins[list][number]
		row, members = from.row, from.part.members
	}
	for _, x := range members {
		if x.member == member && x.column >= 0 {
			return b.cell(x, row, list == ""), true
		}
	}
	for _, p := range b.parts[path] { // a list that is empty: the first column that could fill it
		return b.cell(p.members[0], b.rows[0], false), true
	}
	return jobs.Cell{}, false
}

// cell gives the cell of a binding; for a field of the record itself the first of its rows that says
// something.
func (b *builder) cell(x *bound, row *Row, isOwn bool) jobs.Cell {
	if isOwn {
		for _, other := range b.rows {
			if other.cell(x.column).Text != "" {
				row = other
				break
			}
		}
	}
	return jobs.Cell{Column: b.sheet.Columns[x.column], Line: row.Line, Text: row.cell(x.column).Text}
}

// split takes "damages[1].spread_mm" apart; the list is empty for a field of the record itself.
func split(path string) (list string, number int, member string) {
	list, rest, isItem := strings.Cut(path, "[")
	digits, member, isMember := strings.Cut(rest, "].")
	number, err := strconv.Atoi(digits)
	if !isItem || !isMember || err != nil || number < 0 || !slices.Contains(lists, list) {
		return "", 0, path
	}
	return list, number, member
}
