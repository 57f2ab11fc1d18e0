package repairability

import (
	"fmt"
	"time"

	"cullet/services/finding"
)

// The codes of findings about the glass as a whole, stable for ever.
const (
	CodeStandardDate  = "STANDARD-NOT-IN-FORCE"
	CodeCamera        = "GLASS-CAMERA"
	CodeCameraUnknown = "GLASS-CAMERA-UNKNOWN"
	CodeNotSold       = "GLASS-NOT-SOLD"
	CodeManyRepairs   = "GLASS-MANY-REPAIRS"
	CodeOverlap       = "GLASS-OVERLAP"
	CodeSpacing       = "GLASS-SPACING"
	CodeInUse         = "GLASS-IN-USE"
)

// usualRepairs is the number of repairs on one glass beyond which a caution is given, and
// usualSpacing the gap that ROLAGS asks for in the viewing area and that is looked at everywhere.
const (
	usualRepairs = 3
	usualSpacing = 100 * Millimetre
)

var (
	customerNotice = primary("Fla. Stat. 559.920 (bill SB 1002 of 2023) and A.R.S. 20-463.02 (bill SB 1410 of 2022)")
	firstSale      = primary("NHTSA interpretation letters on FMVSS 205: 1983-2.12, 86-3.34, aiam4376, 8033")
	ownRule        = finding.Source{Citation: "plausibility of a repair record", Known: finding.Own}
)

// checkGlass looks at what no single damage tells.
func checkGlass(s Standard, g Glass, damages []Damage, on time.Time) []finding.Finding {
	var found []finding.Finding
	if s.Key != "" && !s.stoodOn(on) {
		found = append(found, caution(CodeStandardDate, "standard_key", s.Source,
			fmt.Sprintf("%s %s did not stand on %s.", s.Name, s.Edition, on.Format(time.DateOnly)),
			"Choose the edition that stood on the day of the repair, unless the payer demands this one."))
	}
	found = append(found, checkCamera(g, damages)...)
	if g.SoldAlready == No {
		found = append(found, caution(CodeNotSold, "glass.is_sold_already", firstSale,
			"The vehicle has not been sold yet. A repair before the first sale touches the maker's certification of the glass.",
			"Have the dealer or carrier agree in writing, or replace the glass."))
	}
	found = append(found, checkNumber(g, damages)...)
	found = append(found, checkSpacing(damages)...)
	if g.Commercial && s.Key != CommercialKey {
		found = append(found, checkInUse(g, damages)...)
	}
	return found
}

func caution(code, path string, source finding.Source, sentence, fix string) finding.Finding {
	return finding.Finding{Code: code, Severity: finding.Caution, Path: path, Sentence: sentence, Fix: fix, Source: source}
}

// checkCamera defers to the vehicle maker on a glass with a camera, and asks where nobody said.
func checkCamera(g Glass, damages []Damage) []finding.Finding {
	inArea := false
	for _, d := range damages {
		inArea = inArea || d.InCameraArea == Yes
	}
	switch {
	case g.DriverAssistance == Yes || inArea:
		return []finding.Finding{caution(CodeCamera, "glass.has_driver_assistance", customerNotice,
			"A camera or sensor looks through this glass. No public text gives the size of its area: the vehicle maker's"+
				" instructions decide whether a repair is allowed and whether it has to be calibrated.",
			"Look the vehicle up in the maker's instructions, and tell the customer in writing whether calibration is needed.")}
	case g.DriverAssistance == No:
		return nil
	}
	return []finding.Finding{{Code: CodeCameraUnknown, Severity: finding.Note, Path: "glass.has_driver_assistance",
		Source: ownRule, Sentence: "It was not recorded whether a camera or sensor looks through this glass.",
		Fix: "Record it: look behind the inner mirror."}}
}

// checkNumber counts the repairs that the glass bears after this visit.
func checkNumber(g Glass, damages []Damage) []finding.Finding {
	n := 0
	if g.EarlierRepairs != nil {
		n = *g.EarlierRepairs
	}
	for _, d := range damages {
		if d.Outcome == Repaired || d.Outcome == "" {
			n++
		}
	}
	if n <= usualRepairs {
		return nil
	}
	return []finding.Finding{caution(CodeManyRepairs, "damages", practice("number of repairs on one glass"),
		fmt.Sprintf("The glass would bear %d repairs; more than %d on one windshield is unusual.", n, usualRepairs),
		"Consider whether the glass should be replaced, and ask the payer.")}
}

// checkSpacing looks at each pair of damages that was placed.
func checkSpacing(damages []Damage) []finding.Finding {
	var found []finding.Finding
	for i := range damages {
		for j := i + 1; j < len(damages); j++ {
			gap := distance(damages[i], damages[j])
			if !gap.known() || gap.low > usualSpacing {
				continue
			}
			found = append(found, closePair(i, j, gap.low))
		}
	}
	return found
}

func closePair(i, j int, gap Length) finding.Finding {
	path := fmt.Sprintf("damages[%d].place", j)
	if gap == 0 {
		return caution(CodeOverlap, path, ownRule,
			fmt.Sprintf("Damages %d and %d overlap on the glass; together they may be one combination break.", i+1, j+1),
			"Measure their places again, or record them as one damage.")
	}
	return finding.Finding{Code: CodeSpacing, Severity: finding.Note, Path: path, Source: rolagsSight,
		Sentence: fmt.Sprintf("Damages %d and %d are %s mm apart; in the driver's viewing area two repairs need more than"+
			" 4 in (100 mm) between them.", i+1, j+1, gap),
		Fix: "Nothing outside of the viewing area; inside it the assessment decides."}
}

// checkInUse holds a commercial vehicle's glass against the federal rule, whatever standard the
// repair follows.
func checkInUse(g Glass, damages []Damage) []finding.Finding {
	var found []finding.Finding
	federal, _ := Find(CommercialKey, time.Time{})
	for i := range damages {
		a := assess(federal, g, damages, i)
		for _, r := range a.Reasons {
			if r.Result == Over {
				found = append(found, caution(CodeInUse, fmt.Sprintf("damages[%d]", i), r.Source, r.Sentence,
					"Do not send the vehicle on the road before the damage is repaired or the glass replaced."))
			}
		}
	}
	return found
}
