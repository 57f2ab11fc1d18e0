package accessrpc

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/internal/rpc/wire"
)

// ownSetting is the source of a range that the shop has set.
var ownSetting = finding.Source{Citation: "the shop's own setting", Known: finding.Own}

// toRanges gives what is usual for every reading, as the shop has set it or as it ships.
func (s *Server) toRanges(set []access.ProcessRange) []*accessv1.ProcessRange {
	all := make([]*accessv1.ProcessRange, len(s.readings))
	for i, reading := range s.readings {
		usual, source := reading.Usual, reading.Source
		if n := slices.IndexFunc(set, func(r access.ProcessRange) bool { return r.Reading == usual.Reading }); n >= 0 {
			usual, source = set[n], ownSetting
		}
		all[i] = &accessv1.ProcessRange{Reading: usual.Reading, Unit: reading.Unit, Source: wire.ToSource(source),
			Low: toUnits(usual.Low, reading.Scale), High: toUnits(usual.High, reading.Scale)}
	}
	return all
}

func toUnits(steps *int, scale int) *float64 {
	if steps == nil {
		return nil
	}
	return new(float64(*steps) / float64(scale))
}

// fromRanges reads what a shop sets, with every fault. A range that is as it ships is none of its own.
func (s *Server) fromRanges(messages []*accessv1.ProcessRange) (set []access.ProcessRange, faults []errs.Field) {
	seen := map[string]int{}
	for i, m := range messages {
		f := rangeFaults{path: fmt.Sprintf("shop.process_ranges[%d].", i)}
		n := slices.IndexFunc(s.readings, func(r access.Reading) bool { return r.Usual.Reading == m.GetReading() })
		if n < 0 {
			f.add("reading", "UNKNOWN_VALUE", "%.60q was given; allowed are %s", m.GetReading(), strings.Join(s.readingNames(), ", "))
			faults = append(faults, f.all...)
			continue
		}
		if first, isRepeated := seen[m.GetReading()]; isRepeated {
			f.add("reading", "REPEATED", "%q stands in process_ranges[%d] already; give each reading once", m.GetReading(), first)
		}
		seen[m.GetReading()] = i
		reading := s.readings[n]
		r := access.ProcessRange{Reading: m.GetReading(), Low: f.end("low", m.Low, reading), High: f.end("high", m.High, reading)}
		if r.Low != nil && r.High != nil && *r.Low > *r.High {
			f.add("high", "CONTRADICTION", "%s was given and low is %s; give the same or more, or leave one of them out",
				number(m.GetHigh()), number(m.GetLow()))
		}
		if faults = append(faults, f.all...); !sameRange(r, reading.Usual) {
			set = append(set, r)
		}
	}
	return set, faults
}

func (s *Server) readingNames() []string {
	names := make([]string, len(s.readings))
	for i, r := range s.readings {
		names[i] = r.Usual.Reading
	}
	return names
}

func sameRange(a, b access.ProcessRange) bool {
	return sameEnd(a.Low, b.Low) && sameEnd(a.High, b.High)
}

func sameEnd(a, b *int) bool { return a == b || a != nil && b != nil && *a == *b }

// rangeFaults collects the faults of one range.
type rangeFaults struct {
	path string
	all  []errs.Field
}

func (f *rangeFaults) add(name, reason, message string, args ...any) {
	f.all = append(f.all, errs.Field{Path: f.path + name, Reason: reason, Message: fmt.Sprintf(message, args...)})
}

// end reads one end in steps of the reading; nil for nil and for what is faulty. It is never rounded.
func (f *rangeFaults) end(name string, value *float64, r access.Reading) *int {
	if value == nil {
		return nil
	}
	scale, v := float64(r.Scale), *value
	low, high := float64(r.PossibleLow)/scale, float64(r.PossibleHigh)/scale
	if !(v >= low && v <= high) {
		f.add(name, "OUT_OF_RANGE", "%s was given; give %s to %s %s, or leave it out for no such end", number(v), number(low),
			number(high), r.Unit)
		return nil
	}
	steps := math.Round(v * scale)
	if steps/scale != v {
		f.add(name, "TOO_PRECISE", "%s was given; give %s with at most %d decimals", number(v), r.Unit,
			len(strconv.Itoa(r.Scale))-1)
		return nil
	}
	return new(int(steps))
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
