package jobs

import (
	"fmt"
	"strings"
	"time"

	"cullet/services/finding"
	"cullet/services/repairability"
	"cullet/services/vin"
)

// UsualStandard is the repair standard of a shop that has chosen none.
const UsualStandard = "ROLAGS"

// Standard gives the repair standard of a key on a day; an empty key is UsualStandard. It gives
// false when there is none such.
func Standard(key string, day time.Time) (repairability.Standard, bool) {
	if key == "" {
		key = UsualStandard
	}
	return repairability.Find(key, day)
}

// Assess judges a record by the shop's repair standard and lists what was found: about the
// vehicle's number, about the glass, about the readings of each process, which it holds against what
// is usual in the shop. A standard that is not
// known leaves every damage unjudged. Paths are those of a job: "record.damages[0].spread_mm". It
// is pure and may be repeated.
func Assess(r *Record, standardKey string, usual repairability.Ranges) ([]repairability.Assessment, []finding.Finding) {
	day := r.RepairDay()
	_, found := vin.Check(r.Vehicle.VIN, r.Vehicle.Said(day))
	standard, _ := Standard(standardKey, day)
	assessments, about := repairability.Assess(standard, r.Glass, r.RepairabilityDamages(), day)
	found = append(found, about...)
	for i := range found {
		found[i].Path = "record." + found[i].Path
	}
	for i := range r.Damages {
		if r.Damages[i].Process == nil {
			continue
		}
		for _, f := range repairability.CheckProcess(usual, *r.Damages[i].Process) {
			f.Path = fmt.Sprintf("record.damages[%d].%s", i, f.Path)
			found = append(found, f)
		}
	}
	return assessments, found
}

// VehicleSource tells which table VehicleDescription reads, and what that table knows.
const VehicleSource = vin.MakerTable + "; it knows maker, kind, country and model of vehicles with a windshield " +
	"made for sale in the United States"

// VehicleDescription tells maker, kind, model and model year as the vehicle's number has them; empty when
// it has nothing of them. It is for reading only.
func (r Record) VehicleDescription() string {
	number := vin.Number(r.Vehicle.VIN)
	if len(number) != vin.Length {
		return ""
	}
	var parts []string
	if maker, ok := number.Maker(); ok {
		parts = append(parts, strings.Join(maker.Makes, " or "), string(maker.Vehicle))
	}
	// More than a few models are no description.
	if models := number.Models(r.Vehicle.Said(r.RepairDay())); len(models) > 0 && len(models) <= 3 {
		parts = append(parts, strings.Join(models, " or "))
	}
	if year := number.ModelYear(r.Vehicle.Said(r.RepairDay())); year.Year != 0 {
		text := fmt.Sprintf("model year %d", year.Year)
		for _, other := range year.Others {
			text += fmt.Sprintf(" or %d", other)
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, ", ")
}
