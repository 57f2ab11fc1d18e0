package repairability

import "slices"

// longCrack is where a crack, and a leg, begins to be called long: 6 in, printed 150 mm (read in
// a secondary source).
const longCrack = 150 * Millimetre

// tooManyLongLegs is the number of long legs from which a break is not repaired.
const tooManyLongLegs = 3

// exclusionRule is how one exclusion is seen in a damage.
type exclusionRule struct {
	// field is the reading that tells.
	field string
	// holds is Yes when the damage is excluded, Unknown when the reading was not taken.
	holds func(Glass, Damage) Answer
	// sentence says what was found.
	sentence string
	// silent exclusions say nothing when the reading was not taken.
	silent bool
}

var exclusionRules = map[ExclusionCode]exclusionRule{
	ExcludesInnerLayer: {
		field: "layer", holds: layerIs(InnerLayer),
		sentence: "The inner ply is broken.",
	},
	ExcludesBothLayers: {
		field: "layer", holds: layerIs(BothLayers),
		sentence: "Both plies are broken.",
	},
	ExcludesInterlayer: {
		field: "layer", holds: layerIs(Interlayer),
		sentence: "The interlayer is damaged.",
	},
	ExcludesLongLegs: {
		field: "long_leg_count", holds: hasLongLegs,
		sentence: "Three or more legs run on as long cracks.",
	},
	ExcludesSeveralEdges: {
		field: "edges_touched", holds: touchesSeveralEdges,
		sentence: "The crack meets the edge of the glass more than once.",
	},
	ExcludesDirt: {
		field: "contamination", holds: contaminationIs(Dirt),
		sentence: "Dirt in the break could not be removed.",
	},
	ExcludesEarlierResin: {
		field: "contamination", holds: contaminationIs(EarlierResin),
		sentence: "The break holds cured resin of an earlier repair.",
	},
	ExcludesMoisture: {
		field: "contamination", holds: contaminationIs(Moisture),
		sentence: "There is moisture in the break; dry it before the vacuum.",
	},
	ExcludesStress: {
		field: "cause", holds: isStress,
		sentence: "A stress crack has no point of impact.",
	},
	ExcludesFeature: {
		field: "is_over_feature", holds: isOverFeature, silent: true,
		sentence: "The damage lies over heater wires, an antenna or a display.",
	},
	ExcludesCamera: {
		field: "is_in_camera_area", holds: isInCameraArea,
		sentence: "The damage lies where a camera or sensor looks through the glass.",
	},
	ExcludesCrackInSight: {
		field: "kind", holds: always,
		sentence: "The crack lies in the driver's viewing area.",
	},
	ExcludesCrossedCracks: {
		field: "leg_count", holds: isCrossed, silent: true,
		sentence: "Another crack crosses this one.",
	},
}

func layerIs(layer Layer) func(Glass, Damage) Answer {
	return func(_ Glass, d Damage) Answer {
		return known(d.Layer == layer, d.Layer == "" || d.Layer == LayerUnknown)
	}
}

func contaminationIs(c Contamination) func(Glass, Damage) Answer {
	return func(_ Glass, d Damage) Answer {
		return known(d.Contamination == c, d.Contamination == "" || d.Contamination == ContaminationUnknown)
	}
}

// known gives Yes or No, or Unknown when the reading was not taken.
func known(holds, missing bool) Answer {
	switch {
	case missing:
		return Unknown
	case holds:
		return Yes
	}
	return No
}

// hasLongLegs needs no count where the whole break is too small for a long leg, or has too few.
func hasLongLegs(_ Glass, d Damage) Answer {
	if d.LongLegs != nil {
		return known(*d.LongLegs >= tooManyLongLegs, false)
	}
	few := d.LegCount != nil && *d.LegCount < tooManyLongLegs
	small := d.Spread != nil && spread(d).high <= longCrack
	return known(false, !few && !small)
}

func touchesSeveralEdges(_ Glass, d Damage) Answer {
	return known(d.EdgesTouched != nil && *d.EdgesTouched > 1, d.EdgesTouched == nil)
}

// isStress is asked of cracks only when nobody said: every other kind shows its point of impact.
func isStress(_ Glass, d Damage) Answer {
	return known(d.Cause == Stress, d.Kind == Crack && (d.Cause == "" || d.Cause == CauseUnknown))
}

func isOverFeature(_ Glass, d Damage) Answer {
	return known(d.OverFeature == Yes, d.OverFeature != Yes && d.OverFeature != No)
}

// isInCameraArea is No on a glass without any camera or sensor.
func isInCameraArea(g Glass, d Damage) Answer {
	if d.InCameraArea == Yes || d.InCameraArea == No {
		return d.InCameraArea
	}
	return known(false, g.DriverAssistance != No)
}

func isCrossed(_ Glass, d Damage) Answer {
	return known(d.LegCount != nil && *d.LegCount > 1, d.LegCount == nil)
}

func always(Glass, Damage) Answer { return Yes }

// reason applies the exclusion; it gives false when it has nothing to say.
func (e Exclusion) reason(g Glass, d Damage) (Reason, bool) {
	rule := exclusionRules[e.Code]
	r := Reason{Code: string(e.Code), Result: e.Result, Clause: e.Clause, Field: rule.field,
		Value: valueOf(rule.field, d), Sentence: rule.sentence, Source: e.Source}
	switch rule.holds(g, d) {
	case Yes:
		return r, true
	case No:
		return Reason{}, false
	}
	// A camera that nobody spoke of is asked for once, about the glass.
	unspoken := e.Code == ExcludesCamera && e.Result == Advice && g.DriverAssistance != Yes
	if rule.silent || unspoken {
		return Reason{}, false
	}
	if e.Result == Over {
		r.Result = Missing
	}
	r.Sentence = "Not recorded: " + readingWords[rule.field] + "."
	return r, true
}

// readingWords are how a sentence asks for a reading.
var readingWords = map[string]string{
	"layer":             "which layer of the glass is broken",
	"long_leg_count":    "how many legs run on as long cracks",
	"edges_touched":     "how many ends of the crack reach an edge of the glass",
	"contamination":     "whether dirt, moisture or old resin is in the break",
	"cause":             "whether the crack starts from an impact",
	"is_in_camera_area": "whether the damage lies where a camera or sensor looks through the glass",
}

// valueOf is the reading of an exclusion as recorded, for whoever checks it.
func valueOf(field string, d Damage) string {
	switch field {
	case "layer":
		return string(d.Layer)
	case "contamination":
		return string(d.Contamination)
	case "cause":
		return string(d.Cause)
	case "kind":
		return string(d.Kind)
	case "is_over_feature":
		return string(d.OverFeature)
	case "is_in_camera_area":
		return string(d.InCameraArea)
	case "long_leg_count":
		return count(d.LongLegs)
	case "leg_count":
		return count(d.LegCount)
	case "edges_touched":
		return count(d.EdgesTouched)
	}
	return ""
}

// applies tells whether a rule made for kinds and zones speaks of this kind in this zone.
func applies(kinds []Kind, zones []string, kind Kind, zone string) bool {
	return (len(kinds) == 0 || slices.Contains(kinds, kind)) && (len(zones) == 0 || slices.Contains(zones, zone))
}
