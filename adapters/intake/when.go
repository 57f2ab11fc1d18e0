package intake

import (
	"regexp"
	"strconv"
	"strings"
	"time"

	"cullet/services/jobs"
)

// moment is a date in digits, a time of day, and an offset from UTC, each of which may be missing.
var moment = regexp.MustCompile(`^(?:(\d{1,4})([-/.])(\d{1,2})([-/.])(\d{1,4})\.?)?` +
	`(?:(?:^|[T ,]\s*)(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?\s*([AP]\.?M\.?)?)?\s*(Z|[+-]\d{2}:?\d{2})?$`)

// The groups of moment.
const (
	first, second, third           = 1, 3, 5
	hours, minutes, secs, decimal6 = 6, 7, 8, 9
	half, offset                   = 10, 11
)

// orders says how dates are written, for sentences.
var orders = map[jobs.DateOrder]string{"": "year-month-day, 2026-10-20", jobs.YearMonthDay: "year-month-day, 2026-10-20",
	jobs.DayMonthYear: "day.month.year, 20.10.2026", jobs.MonthDayYear: "month/day/year, 10/20/2026"}

// spaces are what some systems write between a time and its half of the day.
var spaces = strings.NewReplacer("\u00a0", " ", "\u202f", " ")

// takeApart gives the groups of moment; nil when the text is none.
func takeApart(text string) []string {
	return moment.FindStringSubmatch(strings.ToUpper(spaces.Replace(text)))
}

// civilDay reads a day as the contract writes it, "2026-10-20".
func (b *builder) civilDay(text string) (any, *bad) {
	parts := takeApart(text)
	if parts == nil || parts[first] == "" {
		return nil, b.noDay(text)
	}
	day, bad := b.date(text, parts)
	if bad != nil {
		return nil, bad
	}
	return day, nil
}

func (b *builder) noDay(text string) *bad {
	return badf("NOT_A_DAY", "%.60q was given; give a day that exists, as %s", text, orders[b.DateOrder])
}

// date gives the day of a moment in year-month-day. A year of two digits is one of this century,
// where it does not come first.
func (b *builder) date(text string, parts []string) (string, *bad) {
	year, month, day := parts[first], parts[second], parts[third]
	if parts[2] != parts[4] {
		return "", b.noDay(text)
	}
	if len(year) < 4 {
		switch b.DateOrder {
		case jobs.DayMonthYear:
			year, month, day = parts[third], parts[second], parts[first]
		case jobs.MonthDayYear:
			year, month, day = parts[third], parts[first], parts[second]
		default:
			return "", b.noDay(text)
		}
		if len(year) == 2 {
			year = "20" + year
		}
	}
	if len(year) != 4 || len(month) > 2 || len(day) > 2 {
		return "", b.noDay(text)
	}
	written := year + "-" + pad(month) + "-" + pad(day)
	if _, err := time.Parse(time.DateOnly, written); err != nil {
		return "", b.noDay(text)
	}
	return written, nil
}

func pad(digits string) string { return strings.Repeat("0", max(2-len(digits), 0)) + digits }

// instant reads a day with a time of day as the contract writes it, in UTC. A time without a day is
// of the record's repair_date; one without an offset is in the record's zone.
func (b *builder) instant(text string) (any, *bad) {
	parts := takeApart(text)
	if parts == nil || parts[hours] == "" {
		return nil, badf("NOT_A_TIME", "%.60q was given; give a day with a time of day, \"14:05\" or \"2:05 PM\", and the day as %s", text, orders[b.DateOrder])
	}
	day := b.day
	if parts[first] != "" {
		var bad *bad
		if day, bad = b.date(text, parts); bad != nil {
			return nil, bad
		}
	}
	switch {
	case day == "" && b.isDayBad:
		return nil, badf("NOT_A_TIME", "%.60q was given, a time of a day that cannot be read; mend the field %s", text, jobs.RepairDate)
	case day == "":
		return nil, badf("NOT_A_TIME", "%.60q was given, a time without a day; give the day too, or name in the mapping the column of the "+
			"field %s", text, jobs.RepairDate)
	}
	clock, ok := clockOf(parts)
	if !ok {
		return nil, badf("NOT_A_TIME", "%.60q was given; give a time of day that exists, \"14:05\" or \"2:05 PM\"", text)
	}
	if parts[offset] != "" {
		return b.withOffset(text, day, clock, parts[offset])
	}
	return inZone(text, day, clock, b.zone)
}

// clockOf gives the time of day as hours, minutes and seconds after midnight.
func clockOf(parts []string) (time.Duration, bool) {
	number := func(group int) int {
		n, _ := strconv.Atoi("0" + parts[group]) // digits, by the pattern
		return n
	}
	h := number(hours)
	if parts[half] != "" {
		if h < 1 || h > 12 {
			return 0, false
		}
		h %= 12
		if parts[half][0] == 'P' {
			h += 12
		}
	}
	if h > 23 || number(minutes) > 59 || number(secs) > 59 {
		return 0, false
	}
	micros, _ := strconv.Atoi((parts[decimal6] + "000000")[:6]) // digits, by the pattern
	return time.Duration(h)*time.Hour + time.Duration(number(minutes))*time.Minute + time.Duration(number(secs))*time.Second +
		time.Duration(micros)*time.Microsecond, true
}

func (b *builder) withOffset(text, day string, clock time.Duration, offset string) (any, *bad) {
	layout := time.DateOnly + "Z0700"
	if strings.Contains(offset, ":") {
		layout = time.DateOnly + "Z07:00"
	}
	midnight, err := time.Parse(layout, day+offset)
	if err != nil {
		return nil, badf("NOT_A_TIME", "%.60q was given; give an offset from UTC such as -05:00 or Z, or none", text)
	}
	return midnight.Add(clock).UTC().Format(time.RFC3339Nano), nil
}

// inZone gives the instant at which clocks of the zone show a time. One that they skip in spring is
// none, and one that they show twice in autumn is not guessed.
func inZone(text, day string, clock time.Duration, zone *time.Location) (any, *bad) {
	midnight, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return nil, badf("NOT_A_DAY", "%.60q was given, and %.20q is no day", text, day)
	}
	wall := midnight.Add(clock) // as if the zone were UTC
	var found []time.Time
	for _, around := range []time.Time{wall.Add(-24 * time.Hour), wall.Add(24 * time.Hour)} {
		_, seconds := around.In(zone).Zone()
		at := wall.Add(-time.Duration(seconds) * time.Second)
		_, is := at.In(zone).Zone()
		if is == seconds && (len(found) == 0 || !found[0].Equal(at)) {
			found = append(found, at)
		}
	}
	switch len(found) {
	case 0:
		return nil, badf("NOT_A_TIME", "%.60q was given, a time that clocks in %s skip on that day; give one that they show", text, zone)
	case 2:
		return nil, badf("TIME_TWICE", "%.60q was given, a time that clocks in %s show twice on that day; give it with its offset, such as "+
			"%s for the first", text, zone, found[0].In(zone).Format("15:04-07:00"))
	}
	return found[0].Format(time.RFC3339Nano), nil
}
