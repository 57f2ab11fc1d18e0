package main

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// modelQuery takes the patterns that tell a model (element 28), for the identifiers of makers.tsv.
const modelQuery = `SELECT w.Wmi, s.YearFrom, coalesce(s.YearTo, 9999), p.Keys, m.Name
FROM Wmi w JOIN VehicleType v ON v.Id = w.VehicleTypeId
JOIN Wmi_VinSchema s ON s.WmiId = w.Id JOIN Pattern p ON p.VinSchemaId = s.VinSchemaId AND p.ElementId = 28
JOIN Model m ON m.Id = p.AttributeId
WHERE v.Name IN ` + vehicles + `;`

// noEnd is the last year of what is still made.
const noEnd = 9999

// pattern is one pattern of one maker that tells one model.
type pattern struct{ wmi, model, keys string }

// span is from one model year to another.
type span struct{ from, to int }

// models writes the table of models: each line one maker's identifier, the model years, the model and
// the patterns that tell it, the lines of a maker together.
func models(rows []byte) ([]byte, error) {
	years := map[pattern][]span{}
	for line := range bytes.Lines(rows) {
		f := strings.Split(strings.TrimSuffix(string(line), "\n"), "\t")
		if len(f) != 5 {
			return nil, fmt.Errorf("%d columns in %q, want 5", len(f), line)
		}
		from, err1 := strconv.Atoi(f[1])
		to, err2 := strconv.Atoi(f[2])
		if err := cmp.Or(err1, err2); err != nil {
			return nil, err
		}
		p := pattern{wmi: f[0], model: f[4], keys: f[3]}
		years[p] = append(years[p], span{from, to})
	}
	// Patterns of the same years and model stand in one line.
	lines := map[string][]string{}
	for p, spans := range years {
		key := p.wmi + "\t" + written(joined(spans)) + "\t" + p.model
		lines[key] = append(lines[key], p.keys)
	}
	var out bytes.Buffer
	for _, key := range slices.Sorted(maps.Keys(lines)) {
		slices.Sort(lines[key])
		fmt.Fprintf(&out, "%s\t%s\n", key, strings.Join(lines[key], " "))
	}
	return out.Bytes(), nil
}

// joined makes one span of those that touch.
func joined(spans []span) []span {
	slices.SortFunc(spans, func(a, b span) int { return cmp.Compare(a.from, b.from) })
	kept := spans[:1]
	for _, s := range spans[1:] {
		if last := &kept[len(kept)-1]; s.from <= last.to+1 {
			last.to = max(last.to, s.to)
		} else {
			kept = append(kept, s)
		}
	}
	return kept
}

func written(spans []span) string {
	all := make([]string, len(spans))
	for i, s := range spans {
		switch {
		case s.to == noEnd:
			all[i] = fmt.Sprintf("%d-", s.from)
		case s.to == s.from:
			all[i] = strconv.Itoa(s.from)
		default:
			all[i] = fmt.Sprintf("%d-%d", s.from, s.to)
		}
	}
	return strings.Join(all, ",")
}
