package jobsrpc_test

import (
	"fmt"
	"strings"

	jobsv1 "cullet/proto/cullet/jobs/v1"
)

// spelling is one wrong way to write a text.
type spelling struct{ name, text string }

// misspelt makes a fault of each spelling.
func misspelt(path, reason string, at func(*jobsv1.RepairRecord) *string, all ...spelling) (faults []fault) {
	for _, s := range all {
		faults = append(faults, broken(nameOf(path)+"-"+s.name, path, reason, func(m *jobsv1.RepairRecord) { *at(m) = s.text }))
	}
	return faults
}

func vinFaults() []fault {
	const path = "vehicle.vin"
	at := func(m *jobsv1.RepairRecord) *string { return &m.Vehicle.Vin }
	faults := misspelt(path, "VIN_LENGTH", at, spelling{"of-16-characters", "1HGCM82633A00435"}, spelling{"of-18-characters", "1HGCM82633A0043522"},
		spelling{"of-one-character", "1"}, spelling{"of-spaces-alone", "   "}, spelling{"of-hyphens-alone", "---"},
		spelling{"of-41-characters", strings.Repeat("1", 41)}, spelling{"of-65-characters", strings.Repeat("1", 65)})
	faults = append(faults, misspelt(path, "VIN_ALPHABET", at, spelling{"with-letter-i", "1HGCM82633A0O4352"}, spelling{"with-letter-o", "1HGCM826I3A004352"},
		spelling{"with-letter-q", "1HGCM82633AQ04352"}, spelling{"with-a-star", "1HGCM82633A*04352"}, spelling{"with-a-dot", "1HGCM82633A.04352"},
		spelling{"with-an-umlaut", "1HGCM82633AÄ04352"}, spelling{"with-arabic-digits", "1HGCM82633A٠04352"})...)
	faults = append(faults, misspelt(path, "VIN_HYGIENE", at, spelling{"with-a-cyrillic-letter", "1HGСM82633A004352"},
		spelling{"with-a-greek-letter", "1ΗGCM82633A004352"}, spelling{"with-a-wide-digit", "１HGCM82633A004352"},
		spelling{"with-a-space-of-no-width", "1HGCM\u200b82633A004352"}, spelling{"with-a-soft-hyphen", "1HGCM\u00ad82633A004352"},
		spelling{"with-a-combining-mark", "1HGCM\u030182633A004352"}, spelling{"with-a-mark-of-direction", "1HGCM\u200f82633A004352"})...)
	return append(faults, broken("vehicle-vin-short-and-with-letter-o", path, "VIN_LENGTH",
		func(m *jobsv1.RepairRecord) { m.Vehicle.Vin = "1HGCM82633AO435" }).and(path, "VIN_ALPHABET"),
		broken("vehicle-vin-short-and-with-a-space-of-no-width", path, "VIN_HYGIENE",
			func(m *jobsv1.RepairRecord) { m.Vehicle.Vin = "1HGCM\u200b82633A00435" }).and(path, "VIN_LENGTH"))
}

// formFaults are texts that have a form of their own.
func formFaults() (all []fault) {
	for path, at := range map[string]func(*jobsv1.RepairRecord) *string{
		"coverage.policy_date":            func(m *jobsv1.RepairRecord) *string { return &m.Coverage.PolicyDate },
		"coverage.written_statement_date": func(m *jobsv1.RepairRecord) *string { return &m.Coverage.WrittenStatementDate },
		"coverage.date_of_loss":           func(m *jobsv1.RepairRecord) *string { return &m.Coverage.DateOfLoss },
		"coverage.authorization.valid_to": func(m *jobsv1.RepairRecord) *string { return &m.Coverage.Authorization.ValidTo },
	} {
		all = append(all, misspelt(path, "NOT_A_DAY", at, spelling{"of-30-february", "2026-02-30"}, spelling{"of-29-february-in-a-common-year", "2026-02-29"},
			spelling{"of-31-april", "2026-04-31"}, spelling{"of-month-13", "2026-13-01"}, spelling{"of-day-0", "2026-10-00"}, spelling{"in-american-order", "10/18/2026"},
			spelling{"of-two-digits-of-year", "26-10-18"}, spelling{"with-a-time", "2026-10-18T00:00:00Z"}, spelling{"without-zeros", "2026-1-8"},
			spelling{"in-words", "yesterday"}, spelling{"in-wide-digits", "２０２６-１０-１８"}, spelling{"with-a-space", "2026-10-18 "})...)
	}
	for path, at := range map[string]func(*jobsv1.RepairRecord) *string{
		"motorist.customer_id": func(m *jobsv1.RepairRecord) *string { return &m.Motorist.CustomerId },
		"warranty_of_job_id":   func(m *jobsv1.RepairRecord) *string { return &m.WarrantyOfJobId },
	} {
		all = append(all, misspelt(path, "FORM", at, spelling{"of-one-digit", "7"}, spelling{"without-hyphens", "01980f3e6a1c7c3e9b1a3f1d2c4b5a69"},
			spelling{"in-braces", "{01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69}"}, spelling{"with-a-letter-g", "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a6g"},
			spelling{"one-digit-short", "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a6"}, spelling{"with-a-hyphen-moved", "01980f3-e6a1c-7c3e-9b1a-3f1d2c4b5a69"},
			spelling{"with-a-wide-digit", "０1980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69"})...)
	}
	for path, of := range addresses() {
		all = append(all, misspelt(path+".country_code", "FORM", func(m *jobsv1.RepairRecord) *string { return &of(m).CountryCode },
			spelling{"of-three-letters", "USA"}, spelling{"in-small-letters", "us"}, spelling{"that-is-no-country", "XX"}, spelling{"in-words", "Ohio"},
			spelling{"of-digits", "840"}, spelling{"in-wide-letters", "ＵＳ"}, spelling{"with-a-space", "US "})...)
	}
	all = append(all, misspelt("motorist.email", "FORM", func(m *jobsv1.RepairRecord) *string { return &m.Motorist.Email },
		spelling{"without-at", "jordan.motorist.example"}, spelling{"without-name", "@motorist.example"}, spelling{"without-host", "jordan@"},
		spelling{"with-two-ats", "jordan@one@motorist.example"}, spelling{"with-a-space", "jor dan@motorist.example"}, spelling{"with-a-wide-at", "jordan＠motorist.example"},
		spelling{"with-a-name-around", "Jordan <jordan@motorist.example>"}, spelling{"with-two-dots", "jordan@motorist..example"},
		spelling{"of-two-addresses", "a@motorist.example, b@motorist.example"})...)
	all = append(all, broken("motorist-email-one-character-too-long", "motorist.email", "TOO_LARGE", func(m *jobsv1.RepairRecord) {
		m.Motorist.Email = "j@" + strings.Repeat(strings.Repeat("a", 47)+".", 4) + "example"
	}))
	all = append(all, misspelt("time_zone", "TIME_ZONE", func(m *jobsv1.RepairRecord) *string { return &m.TimeZone },
		spelling{"of-a-state", "Ohio"}, spelling{"of-a-city-that-is-none", "America/Atlantis"}, spelling{"of-nowhere", "Local"}, spelling{"as-an-offset", "-05:00"},
		spelling{"that-is-a-path", "../../etc/passwd"}, spelling{"with-a-space", "America/New York"}, spelling{"in-wide-letters", "ＵＴＣ"},
		spelling{"of-61-characters", strings.Repeat("z", 61)})...)
	all = append(all, misspelt("coverage.payment_document", "UNKNOWN_VALUE", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.PaymentDocument },
		spelling{"that-nobody-defined", "PROMISE"}, spelling{"in-small-letters", "assignment"})...)
	all = append(all, misspelt("coverage.cause_of_loss", "UNKNOWN_VALUE", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.CauseOfLoss },
		spelling{"that-nobody-defined", "BIRD"}, spelling{"in-small-letters", "weather"}, spelling{"with-a-space", "ROAD DEBRIS"}, spelling{"of-two-words", "WEATHER VANDALISM"})...)
	all = append(all, misspelt("coverage.deductible.currency_code", "CURRENCY", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.Deductible.CurrencyCode },
		spelling{"that-is-none", "ZZZ"}, spelling{"in-small-letters", "usd"}, spelling{"of-another-country-than-the-books", "EUR"},
		spelling{"as-a-sign", "$"}, spelling{"in-wide-letters", "ＵＳＤ"}, spelling{"as-a-number", "840"}, spelling{"of-61-characters", strings.Repeat("U", 61)})...)
	return append(append(all, misspelt("external_reference", "SPACES", func(m *jobsv1.RepairRecord) *string { return &m.ExternalReference },
		spelling{"with-a-space-before", " V-1"}, spelling{"with-a-space-behind", "V-1 "}, spelling{"of-spaces-alone", "   "}, spelling{"with-a-wide-space-behind", "V-1\u3000"})...),
		misspelt("technician", "SPACES", func(m *jobsv1.RepairRecord) *string { return &m.Technician },
			spelling{"with-a-space-before", " T."}, spelling{"with-a-space-behind", "T. "}, spelling{"of-spaces-alone", "   "}, spelling{"with-a-wide-space-behind", "T.\u3000"})...)
}

// referenceFaults name what does not exist, or name it wrongly.
func referenceFaults() []fault {
	const id = "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69"
	all := misspelt("coverage.payer_code", "PAYER_UNKNOWN", func(m *jobsv1.RepairRecord) *string { return &m.Coverage.PayerCode },
		spelling{"of-nobody", "nobody"}, spelling{"in-capitals", "LANTERN-MUTUAL"}, spelling{"with-a-space", "lantern-mutual "}, spelling{"with-a-wide-letter", "ｌantern-mutual"})
	all = append(all, misspelt("photos[0].photo_hash", "PHOTO_HASH", func(m *jobsv1.RepairRecord) *string { return &m.Photos[0].PhotoHash },
		spelling{"in-capitals", hash("A")}, spelling{"of-63-digits", hash("a")[1:]}, spelling{"of-65-digits", hash("a") + "a"}, spelling{"with-a-letter-g", hash("a")[1:] + "g"},
		spelling{"with-a-wide-digit", hash("a")[1:] + "１"}, spelling{"in-base64", "ypeBEsobvcr6wjGzmiPcTaeG7/gUfE5yuYB3ha/uSLs="})...)
	for i := range 2 {
		path := fmt.Sprintf("photos[%d].", i)
		all = append(all, broken(fmt.Sprintf("photo-%d-not-uploaded", i), path+"photo_hash", "PHOTO_NOT_UPLOADED",
			func(m *jobsv1.RepairRecord) { m.Photos[i].PhotoHash = hash(fmt.Sprint(i)) }),
			broken(fmt.Sprintf("photo-%d-of-a-damage-that-is-not-there", i), path+"damage_number", "DAMAGE_NUMBER",
				func(m *jobsv1.RepairRecord) { m.Photos[i].DamageNumber = 3 }))
	}
	return append(all,
		broken("photo-twice", "photos[1].photo_hash", "REPEATED", func(m *jobsv1.RepairRecord) { m.Photos[1].PhotoHash = m.GetPhotos()[0].GetPhotoHash() }, "photos[0].photo_hash"),
		broken("customer-unknown", "motorist.customer_id", "CUSTOMER_UNKNOWN", func(m *jobsv1.RepairRecord) { m.Motorist.CustomerId = id }),
		broken("customer-of-zeros", "motorist.customer_id", "CUSTOMER_UNKNOWN", func(m *jobsv1.RepairRecord) { m.Motorist.CustomerId = "00000000-0000-0000-0000-000000000000" }),
		broken("job-of-the-warranty-unknown", "warranty_of_job_id", "JOB_UNKNOWN", func(m *jobsv1.RepairRecord) { m.WarrantyOfJobId = id }))
}
