package repairability

import "cullet/services/finding"

const (
	zoneA, zoneB, zoneC, zoneD = "A", "B", "C", "D"
	swept                      = "rest of the swept area"
)

var (
	uk242b    = secondary("UK repairer's public article on BS AU 242b:2022")
	uk242a    = secondary("UK motoring page on the zones of BS AU 242a:1998")
	uk242aOld = remembered("BS AU 242a:1998, zones B to D")
	ukMOT     = secondary("copy of the MOT inspection manual, section 8.3")
	// ukGeneral marks what every trained technician refuses although no clause of the British text
	// was read for it.
	ukGeneral = practice("not repaired in any school of the trade; no clause of BS AU 242 was read for it")
)

// british lists BS AU 242 in its editions, and the limits of the roadworthiness test.
func british() []Standard {
	return []Standard{
		{Key: "BS-AU-242A-1998", Family: "BS-AU-242", Name: "BS AU 242a", Edition: "1998", Purpose: ForRepair,
			From: day(1998, 1, 1), To: day(2023, 3, 31),
			Note:   "Withdrawn in March 2023, for old repairs only; its first day is not known. Zones are taken as rectangles.",
			Source: secondary("UK trade page on the withdrawal"),
			Zones: []Zone{
				{Name: zoneA, Band: CentredOnDriver, Width: 290 * Millimetre, HeavyWidth: 350 * Millimetre, UpToWiper: true},
				{Name: zoneB, Band: DriverHalf, UpToWiper: true},
				{Name: zoneC, Band: WholeWidth, UpToWiper: true},
				{Name: zoneD},
			},
			Limits: []Limit{
				sizeLimit("ZONE-A-SIZE", "table B.1, zone A", zoneA, 10, uk242a),
				sizeLimit("ZONE-B-SIZE", "table B.1, zone B", zoneB, 15, uk242aOld),
				sizeLimit("ZONE-C-SIZE", "table B.1, zone C", zoneC, 25, uk242aOld),
				sizeLimit("ZONE-D-SIZE", "table B.1, zone D", zoneD, 40, uk242aOld),
			},
			Exclusions: append(britishExclusions(), Exclusion{Code: ExcludesCamera, Result: Advice, Source: uk242b,
				Clause: "not in the 1998 text; the vehicle maker's instructions decide"})},
		{Key: "BS-AU-242B-2022", Family: "BS-AU-242", Name: "BS AU 242b", Edition: "2022", Purpose: ForRepair,
			From:   day(2022, 3, 1),
			Note:   "Announced in March 2022; the day is not known. Zone sizes from one secondary page.",
			Source: primary("standards body's product page: scope of BS AU 242b:2022"),
			Zones: []Zone{
				{Name: zoneA, Band: CentredOnDriver, Width: 400 * Millimetre, HeavyWidth: 500 * Millimetre, UpToWiper: true},
				{Name: zoneB},
			},
			Limits: []Limit{
				sizeLimit("ZONE-A-SIZE", "zone A (clause number not read)", zoneA, 20, uk242b),
				sizeLimit("ZONE-B-SIZE", "zone B (clause number not read)", zoneB, 40, uk242b),
			},
			Exclusions: append(britishExclusions(), Exclusion{Code: ExcludesCamera, Result: Over, Source: uk242b,
				Clause: "no repair in a camera or sensor area (clause number not read)"})},
		{Key: "UK-MOT", Family: "UK-MOT", Name: "UK MOT inspection manual", Edition: "section 3.1 with 8.3, as read",
			Purpose: ForUse,
			Note:    "A vehicle fails only if the driver's view is significantly affected.",
			Source:  primary("gov.uk inspection manual, section 3.1"),
			Zones: []Zone{
				{Name: zoneA, Band: CentredOnDriver, Width: 290 * Millimetre, UpToWiper: true},
				{Name: swept, Band: WholeWidth, UpToWiper: true},
				{Name: elsewhere},
			},
			Limits: []Limit{
				sizeLimit("ZONE-A-SIZE", "8.3, zone A", zoneA, 10, ukMOT),
				sizeLimit("SWEPT-SIZE", "8.3, rest of the swept area", swept, 40, ukMOT),
			}},
	}
}

// sizeLimit is a circle that has to cover the damage, printed in whole millimetres.
func sizeLimit(code, clause, zone string, mm int, source finding.Source) Limit {
	value := Length(mm) * Millimetre
	return Limit{Code: code, Clause: clause, Zones: []string{zone}, Measure: SizeMeasure, Sense: AtMost,
		Printed: value.String() + " mm", Value: value, Exact: value, Source: source}
}

// britishExclusions refuse what lies deeper than the outer ply and ask for care with the rest.
func britishExclusions() []Exclusion {
	const clause = "no clause read"
	return []Exclusion{
		{Code: ExcludesBothLayers, Clause: clause, Result: Over, Source: ukGeneral},
		{Code: ExcludesInnerLayer, Clause: clause, Result: Over, Source: ukGeneral},
		{Code: ExcludesInterlayer, Clause: clause, Result: Over, Source: ukGeneral},
		{Code: ExcludesEarlierResin, Clause: "a cured break is not repaired again", Result: Over, Source: technicians},
		{Code: ExcludesDirt, Clause: clause, Result: Advice, Source: ukGeneral},
		{Code: ExcludesMoisture, Clause: "dry the break first", Result: Advice, Source: technicians},
		{Code: ExcludesStress, Clause: clause, Kinds: []Kind{Crack}, Result: Advice, Source: ukGeneral},
		{Code: ExcludesSeveralEdges, Clause: clause, Kinds: []Kind{Crack}, Result: Advice, Source: ukGeneral},
	}
}
