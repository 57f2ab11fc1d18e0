package intake

import (
	"strings"
	"testing"

	"cullet/services/access"
	"cullet/services/jobs"
)

func reader(m jobs.Mapping, zone, day string) *builder {
	return &builder{plan: &plan{Mapping: m}, zone: access.Zone(zone), day: day}
}

// Clocks in the United States go forward on the second Sunday of March and back on the first of
// November at 2 a.m. (15 U.S.C. 260a; from memory): on 8 March and 1 November in 2026.
func TestInstant(t *testing.T) {
	t.Parallel()
	const ohio, day = "America/New_York", "2026-10-05"
	for _, test := range []struct {
		text, want string
		order      jobs.DateOrder
		zone, day  string
	}{
		{"2026-10-20 14:05", `"2026-10-20T18:05:00Z"`, "", ohio, ""}, {"2026-10-20T14:05:09", `"2026-10-20T18:05:09Z"`, jobs.MonthDayYear, ohio, ""},
		{"10/20/2026 2:05 PM", `"2026-10-20T18:05:00Z"`, jobs.MonthDayYear, ohio, ""}, {"10/20/26, 2:05pm", `"2026-10-20T18:05:00Z"`, jobs.MonthDayYear, ohio, ""},
		{"20.10.2026 14:05", `"2026-10-20T12:05:00Z"`, jobs.DayMonthYear, "Europe/Berlin", ""}, {"5.1.2026 14:05", `"2026-01-05T13:05:00Z"`, jobs.DayMonthYear, "Europe/Berlin", ""},
		{"14:05", `"2026-10-05T18:05:00Z"`, "", ohio, day}, {"12:00 AM", `"2026-10-05T04:00:00Z"`, "", ohio, day}, {"12:30 p.m.", `"2026-10-05T16:30:00Z"`, "", ohio, day},
		{"9:10\u202fAM", `"2026-10-05T13:10:00Z"`, "", ohio, day}, {"2026-10-20T14:05:00Z", `"2026-10-20T14:05:00Z"`, "", ohio, ""},
		{"2026-10-20 14:05 +0200", `"2026-10-20T12:05:00Z"`, "", ohio, ""}, {"2026-10-20T14:05:00.25-04:00", `"2026-10-20T18:05:00.25Z"`, "", ohio, ""},
		{"2026-03-08 01:59", `"2026-03-08T06:59:00Z"`, "", ohio, ""}, {"2026-03-08 03:00", `"2026-03-08T07:00:00Z"`, "", ohio, ""},
		{"2026-11-01 00:59", `"2026-11-01T04:59:00Z"`, "", ohio, ""}, {"2026-11-01 02:00", `"2026-11-01T07:00:00Z"`, "", ohio, ""},
		{"2026-11-01 01:30 -05:00", `"2026-11-01T06:30:00Z"`, "", ohio, ""},

		{"2026-03-08 02:30", "NOT_A_TIME", "", ohio, ""}, {"2026-11-01 01:00", "TIME_TWICE", "", ohio, ""}, {"2026-11-01 01:59", "TIME_TWICE", "", ohio, ""},
		{"14:05", "NOT_A_TIME", "", ohio, ""}, {"2026-10-20", "NOT_A_TIME", "", ohio, ""}, {"24:00", "NOT_A_TIME", "", ohio, day}, {"0:30 PM", "NOT_A_TIME", "", ohio, day},
		{"13:05 PM", "NOT_A_TIME", "", ohio, day}, {"14:60", "NOT_A_TIME", "", ohio, day}, {"2:05 XM", "NOT_A_TIME", "", ohio, day}, {"1792590300", "NOT_A_TIME", "", ohio, day},
		{"20/10/2026 14:05", "NOT_A_DAY", jobs.MonthDayYear, ohio, ""}, {"10-20/2026 14:05", "NOT_A_DAY", jobs.MonthDayYear, ohio, ""},
		{"26-10-20 14:05", "NOT_A_DAY", "", ohio, ""}, {"2026-10-20 14:05+0299", "NOT_A_TIME", "", ohio, ""},
	} {
		b := reader(jobs.Mapping{DateOrder: test.order}, test.zone, test.day)
		if got := said(b.instant(test.text)); got != test.want {
			t.Errorf("%q, order %q, in %s, day %q: %s, want %s", test.text, test.order, test.zone, test.day, got, test.want)
		}
	}
}

func TestDay(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		text, want string
		order      jobs.DateOrder
	}{
		{"2026-10-20", `"2026-10-20"`, ""}, {"2026/1/5", `"2026-01-05"`, jobs.DayMonthYear}, {"20.10.2026", `"2026-10-20"`, jobs.DayMonthYear},
		{"10/20/26", `"2026-10-20"`, jobs.MonthDayYear}, {"29.02.2028", `"2028-02-29"`, jobs.DayMonthYear}, {"10/20/2026 2:05 PM", `"2026-10-20"`, jobs.MonthDayYear},
		{"29.02.2026", "NOT_A_DAY", jobs.DayMonthYear}, {"31.09.2026", "NOT_A_DAY", jobs.DayMonthYear}, {"13/10/2026", "NOT_A_DAY", jobs.MonthDayYear},
		{"20 Oct 2026", "NOT_A_DAY", jobs.DayMonthYear}, {"20.10.", "NOT_A_DAY", jobs.DayMonthYear}, {"46315", "NOT_A_DAY", ""}, {"0000-00-00", "NOT_A_DAY", ""}, {"14:05", "NOT_A_DAY", ""},
	} {
		if got := said(reader(jobs.Mapping{DateOrder: test.order}, "", "").civilDay(test.text)); got != test.want {
			t.Errorf("%q, order %q: %s, want %s", test.text, test.order, got, test.want)
		}
	}
}

func TestOtherKinds(t *testing.T) {
	t.Parallel()
	for _, test := range []struct{ field, text, want string }{
		{"damages.#.kind", "half moon", `"DAMAGE_KIND_HALF_MOON"`}, {"damages.#.kind", "DAMAGE_KIND_CRACK", `"DAMAGE_KIND_CRACK"`}, {"damages.#.kind", "spider", "UNKNOWN_VALUE"},
		{"vehicle.is_commercial", "X", "true"}, {"vehicle.is_commercial", "No", "false"}, {"vehicle.is_commercial", "unknown", "UNKNOWN_VALUE"},
		{"glass.has_driver_assistance", "y", `"KNOWN_YES"`}, {"glass.has_driver_assistance", "Unknown", "null"}, {"glass.has_driver_assistance", "perhaps", "UNKNOWN_VALUE"},
		{"vehicle.odometer_km", "048210", "48210"}, {"vehicle.odometer_km", "48,210", "THOUSANDS"}, {"vehicle.odometer_km", "4.5", "NOT_A_NUMBER"}, {"vehicle.odometer_km", "2147483648", "OUT_OF_RANGE"},
		{"damages.#.process.vacuum_seconds", "120 60", "[120,60]"}, {"damages.#.process.vacuum_seconds", "120, 60;30/15+5", "[120,60,30,15,5]"},
		{"damages.#.process.vacuum_seconds", "2 x 60", "NOT_A_NUMBER"}, {"damages.#.process.vacuum_seconds", ";", "NOT_A_NUMBER"},
		{"place_of_repair.latitude_degrees", "-84.512", "-84.512"}, {"place_of_repair.latitude_degrees", "39° 6' N", "NOT_A_NUMBER"},
		{"coverage.deductible", "$250.00", `{"currency_code":"USD","minor_units":25000}`}, {"coverage.deductible", "USD 250", `{"currency_code":"USD","minor_units":25000}`},
		{"coverage.deductible", "250.005", "AMOUNT"}, {"coverage.deductible", "1,000.00", "THOUSANDS"}, {"coverage.deductible", "€250", "NOT_A_NUMBER"}, {"coverage.deductible", "-5", `{"currency_code":"USD","minor_units":-500}`},
		{"technician", "=1+1", `"=1+1"`},
	} {
		field, _, ok := jobs.ParseField(test.field)
		if !ok {
			t.Fatalf("there is no field %s", test.field)
		}
		got := said(reader(jobs.Mapping{Currency: "USD"}, "", "").parse(field, Cell{Text: test.text}))
		if got != test.want {
			t.Errorf("%s %q: %s, want %s", test.field, test.text, got, test.want)
		}
	}
	field, _, _ := jobs.ParseField("damages.#.spread_mm")
	got := said(reader(jobs.Mapping{DecimalMark: jobs.DecimalComma}, "", "").parse(field, Cell{Text: "12.5", IsNumber: true}))
	if got != "12.5" {
		t.Errorf("a number of JSON under a decimal comma: %s", got)
	}
}

func TestText(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name, content string
		as            jobs.Encoding
		want          string
	}{
		{"UTF-8", "Größe\n", "", "Größe\n"}, {"with a mark", "\ufeffGröße", "", "Größe"}, {"a mark counts more", "\ufeffGröße", jobs.Windows1252, "Größe"},
		{"UTF-16 LE", "\xff\xfeG\x00r\x00\xf6\x00", jobs.UTF16, "Grö"}, {"UTF-16 BE, not said", "\xfe\xff\x00G\x00r\x00\xf6", "", "Grö"},
		// 0x80 and 0x96 are the euro sign and the en dash in windows-1252, and controls in ISO 8859-1
		// (WHATWG Encoding, index windows-1252; ISO/IEC 8859-1; both from memory).
		{"windows-1252", "\x80 \x96 \xe9\xbd", jobs.Windows1252, "€ – é½"}, {"Latin 1", "\xe9 \xbd\x85", jobs.Latin1, "é ½\u0085"},
		{"line ends", "a\r\nb\r\n", "", "a\nb\n"}, {"line ends of old Macs", "a\rb\r", "", "a\nb\n"},

		{"no UTF-8", "a\nGr\xf6\xdfe", "", "FILE_ENCODING line 2 is not UTF-8"}, {"UTF-8 that is called otherwise", "a\nGröße", jobs.Windows1252, "FILE_ENCODING the mapping says another"},
		{"UTF-16 without a mark", "G\x00r\x00", jobs.UTF16, "FILE_ENCODING the mapping says UTF-16"}, {"UTF-16 that nobody said", "G\x00r\x00", "", "FILE_BINARY a NUL stands on line 1"},
		{"half a character of UTF-16", "\xff\xfeG\x00r", "", "FILE_ENCODING line 1 is not UTF-16"}, {"a lone surrogate", "\xff\xfe\x00\xd8a\x00", "", "FILE_ENCODING line 1 is not UTF-16"},
		{"NUL", "a\nb\x00", "", "FILE_BINARY a NUL stands on line 2"}, {"a workbook", "PK\x03\x04....", "", "FILE_BINARY the file is a ZIP archive"},
		{"an old workbook", "\xd0\xcf\x11\xe0....", "", "FILE_BINARY the file is an old workbook"}, {"a PDF", "%PDF-1.7", "", "FILE_BINARY the file is a PDF"},
		{"gzip", "\x1f\x8b\x08", "", "FILE_BINARY the file is packed"}, {"nothing", " \n\ufeff"[:2], "", "FILE_EMPTY"}, {"too much", strings.Repeat("x", jobs.MaxIntakeBytes+1), "", "FILE_SIZE"},
	} {
		got, err := Text([]byte(test.content), test.as)
		if err != nil {
			got = reasonAndMessage(t, err)
		}
		if got != test.want && (err == nil || !strings.HasPrefix(got, test.want)) {
			t.Errorf("%s: %q, want %q", test.name, got, test.want)
		}
	}
}
