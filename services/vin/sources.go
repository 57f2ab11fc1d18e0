package vin

import "cullet/services/finding"

// The sources of the rules. The federal text was read in a copy dated 20 June 2026.
var (
	sourceAlphabet = finding.Source{Citation: "49 CFR part 565; ISO 3779",
		Known: finding.Read, ReadOn: "2026-11-25"}
	sourceCheckDigit = finding.Source{Citation: "49 CFR 565.15(c)", Known: finding.Read, ReadOn: "2026-11-25"}
	sourceNoDigit    = finding.Source{Citation: "ISO 3779: check digit not required outside of North America",
		Known: finding.ReadSecondary, ReadOn: "2026-11-25"}
	sourceYearCode = finding.Source{Citation: "49 CFR part 565, table of year codes (U, Z and 0 are not used)",
		Known: finding.ReadSecondary, ReadOn: "2026-11-25"}
	sourcePosition7 = finding.Source{Citation: "73 FR 23379: position 7 tells the thirty-year cycle of light vehicles",
		Known: finding.Read, ReadOn: "2026-11-25"}
	sourceISO3780  = finding.Source{Citation: "ISO 3780, world manufacturer identifier", Known: finding.FromMemory}
	sourceBefore81 = finding.Source{Citation: "numbers before model year 1981 have no common form",
		Known: finding.FromMemory}
	sourceOwn = finding.Source{Citation: "text hygiene and plausibility", Known: finding.Own}
)
