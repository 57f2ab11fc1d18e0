package tax

import (
	"fmt"
	"slices"
	"strings"

	"cullet/services/finding"
)

// levy is one jurisdiction's tax at a place on a day.
type levy struct {
	row *RateRow
	// law is the territory whose taxabilities decide what it taxes; set numbers it.
	law *territory
	set int
	// lead is true for the first levy of its set: its sentence names the law, the others follow.
	lead bool
	// leadName is the name of the jurisdiction that the law belongs to.
	leadName string
}

// stack is everything that is levied at a place on a day, from the widest to the narrowest.
type stack struct {
	levies   []levy
	sets     []*territory
	rounding RoundingRule
	// head is the row of the state, or of the country where states have no law of their own.
	head *RateRow
}

// resolve finds what is levied at a place. It stops when a jurisdiction that levies, or may levy,
// is not named or not on file for the day: a state's rate alone is no answer where others add
// to it.
func (b Book) resolve(p Place, on string, st *stack) []finding.Finding {
	country := b.countries[p.Country]
	if country == nil {
		return []finding.Finding{stop("TAX-PLACE-COUNTRY", "place.country",
			"Give a country on file as two capitals, or add its rates with their source.",
			sourcing, "No taxes are on file for country %q; on file are %s.", p.Country, strings.Join(b.Countries(), ", "))}
	}
	countryRow := rowOn(country.base, on)
	if countryRow == nil || countryRow.Unknown {
		return []finding.Finding{rateUnknown(country.base, p.Country, on)}
	}
	home, homeRow := country, countryRow
	if region := country.states[p.State]; region != nil {
		home, homeRow = region, rowOn(region.base, on)
	} else if countryRow.Locals == LocalsStates {
		return []finding.Finding{stop("TAX-PLACE-STATE", "place.state",
			"Give the state or province as in ISO 3166-2: \"OH\".",
			sourcing, "State %q of %s is not on file, and the state decides the tax.", p.State, countryRow.Name)}
	}
	if homeRow == nil || homeRow.Unknown {
		return []finding.Finding{rateUnknown(home.base, p.Country+"-"+p.State, on)}
	}
	st.head, st.rounding = homeRow, homeRow.Rounding
	if home != country {
		st.add(countryRow, country)
	}
	st.add(homeRow, home)
	findings := home.resolveLocals(p, on, homeRow, st)
	st.dropIncluded()
	st.name()
	return findings
}

func rateUnknown(rows []*RateRow, code, on string) finding.Finding {
	days := "none is on file"
	if len(rows) > 0 {
		var spans []string
		for _, r := range rows {
			if !r.Unknown {
				spans = append(spans, fmt.Sprintf("%s to %s", r.ValidFrom, orOpen(r.ValidTo)))
			}
		}
		if len(spans) > 0 {
			days = "on file are " + strings.Join(spans, ", ")
		}
	}
	return stop("TAX-RATE-UNKNOWN", "place", "Enter the rate of that day with its source.", sourcing,
		"The rate of %s on %s is not known; %s.", code, on, days)
}

func orOpen(day string) string {
	if day == "" {
		return "now"
	}
	return day
}

func (st *stack) add(row *RateRow, law *territory) {
	if row.Scheme == "NONE" && row.Level == Country {
		return
	}
	st.levies = append(st.levies, levy{row: row, law: law})
}

// dropIncluded removes the levies whose tax is contained in another's rate.
func (st *stack) dropIncluded() {
	for i := len(st.levies) - 1; i >= 0; i-- {
		if st.included(st.levies[i].row.Code) {
			st.levies = slices.Delete(st.levies, i, i+1)
		}
	}
}

func (st *stack) included(code string) bool {
	for i := range st.levies {
		if slices.Contains(st.levies[i].row.Includes, code) {
			return true
		}
	}
	return false
}

// name numbers the laws and marks the first levy of each.
func (st *stack) name() {
	for i := range st.levies {
		l := &st.levies[i]
		l.set = slices.Index(st.sets, l.law)
		if l.set < 0 {
			l.set, l.lead = len(st.sets), true
			st.sets = append(st.sets, l.law)
		}
		l.leadName = st.head.Name
	}
}

// resolveLocals adds the local levies that the place names.
func (t *territory) resolveLocals(p Place, on string, home *RateRow, st *stack) []finding.Finding {
	if home.Locals == LocalsNone || home.Locals == "" {
		return nil
	}
	if p.Codes != "" {
		return t.addCodes(p.Codes, on, st)
	}
	first := len(st.levies)
	var findings []finding.Finding
	for _, named := range [3]struct {
		level Level
		name  string
		path  string
	}{
		{County, p.County, "place.county"},
		{City, p.City, "place.city"},
		{District, p.District, "place.district"},
	} {
		if named.name == "" {
			continue
		}
		if code, ok := t.codeOf(named.level, named.name); ok {
			findings = append(findings, t.addLocal(code, on, named.path, st)...)
		} else if named.level == District && named.name != NoDistrict {
			findings = append(findings, stop("TAX-PLACE-DISTRICT", named.path,
				"Give a district on file, or NONE.", sourcing,
				"District %q of %s is not on file.", named.name, home.Name))
		}
	}
	if len(findings) > 0 {
		return findings
	}
	locals := st.levies[first:]
	complete := slices.ContainsFunc(locals, func(l levy) bool { return l.row.Complete })
	if home.Locals == LocalsListed {
		complete = complete || p.County != ""
	}
	if !complete {
		return []finding.Finding{t.localNeeded(p, on, home)}
	}
	if findings = contradictions(locals, home); len(findings) > 0 {
		return findings
	}
	return st.asked(p, locals)
}

// contradictions stops a place that names two counties at once, or a district that none of its
// counties and cities touches.
func contradictions(locals []levy, home *RateRow) []finding.Finding {
	var counties []string
	var findings []finding.Finding
	for i := range locals {
		row := locals[i].row
		if row.Level == County {
			counties = append(counties, row.Name)
		}
		if !row.Complete && len(row.Also) == 0 && !referred(locals, row.Code) {
			findings = append(findings, stop("TAX-PLACE-CONTRADICTS", "place.district",
				"Correct the county or the district.", sourcing,
				"%s does not reach into the county given.", row.Name))
		}
	}
	if len(counties) > 1 {
		findings = append(findings, stop("TAX-PLACE-CONTRADICTS", "place.county",
			"Correct the county or the city.", sourcing,
			"The place lies in two counties of %s at once: %s.",
			home.Name, strings.Join(counties, " and ")))
	}
	return findings
}

func referred(locals []levy, code string) bool {
	return slices.ContainsFunc(locals, func(l levy) bool {
		return slices.Contains(l.row.Asks, code) || slices.Contains(l.row.Also, code) ||
			slices.Contains(l.row.Includes, code)
	})
}

// addCodes adds the local jurisdictions that the place lists by their codes.
func (t *territory) addCodes(codes, on string, st *stack) []finding.Finding {
	var findings []finding.Finding
	for code := range strings.FieldsSeq(codes) {
		if _, ok := t.locals[code]; !ok {
			findings = append(findings, stop("TAX-PLACE-CODE", "place.codes",
				"Correct the code, or import its rates.", sourcing,
				"Jurisdiction %q is not on file in %s.", code, t.code))
			continue
		}
		findings = append(findings, t.addLocal(code, on, "place.codes", st)...)
	}
	return findings
}

// codeOf finds a local jurisdiction by what the place calls it.
func (t *territory) codeOf(level Level, name string) (code string, ok bool) {
	names := t.byName[level.local()]
	if code, ok = names[name]; ok || len(name) > 200 {
		return code, ok
	}
	var room [200]byte
	code, ok = names[string(appendFolded(room[:0], name))]
	return code, ok
}

// addLocal adds a local row of the day and whatever comes with it.
func (t *territory) addLocal(code, on, path string, st *stack) []finding.Finding {
	if slices.ContainsFunc(st.levies, func(l levy) bool { return l.row.Code == code }) {
		return nil
	}
	rows := t.locals[code]
	row := rowOn(rows, on)
	if row == nil || row.Unknown {
		f := rateUnknown(rows, code, on)
		f.Path = path
		return []finding.Finding{f}
	}
	st.levies = append(st.levies, levy{row: row, law: t})
	var findings []finding.Finding
	for _, also := range row.Also {
		findings = append(findings, t.addLocal(also, on, path, st)...)
	}
	return findings
}

func (t *territory) localNeeded(p Place, on string, home *RateRow) finding.Finding {
	path, given := "place.county", "no county and no city are given"
	switch {
	case p.County != "" && p.City != "":
		given = fmt.Sprintf("for %s and %s none is on file", p.County, p.City)
	case p.County != "":
		given = fmt.Sprintf("for %s none is on file", p.County)
	case p.City != "":
		path, given = "place.city", fmt.Sprintf("for %s none is on file, and no county is given",
			p.City)
	}
	return stop("TAX-LOCAL-UNKNOWN", path,
		"Give the county, or enter its rate of that day with its source; a postal code is not a jurisdiction.",
		sourcing, "%s has local taxes beside its own %s %%, and %s on %s.", home.Name, home.percentText, given, on)
}

// asked stops where a county lies only partly in another jurisdiction and the place does not say.
func (st *stack) asked(p Place, locals []levy) []finding.Finding {
	var findings []finding.Finding
	for i := range locals {
		row := locals[i].row
		for _, code := range row.Asks {
			path, given := "place.district", p.District
			name := code
			if rows := locals[i].law.locals[code]; len(rows) > 0 {
				name = rows[0].Name
				if rows[0].Level == City {
					path, given = "place.city", p.City
				}
			}
			if given == "" {
				findings = append(findings, stop("TAX-PLACE-PARTLY", path,
					"Give "+name+" when the vehicle stood there, else NONE.", row.Source,
					"%s lies partly in %s, which adds its own rate, and the place does not say on which side.", row.Name, name))
			}
		}
	}
	return findings
}
