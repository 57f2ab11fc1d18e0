package jobs

import (
	"fmt"
	"strings"
	"time"

	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/repairability"
	"cullet/services/vin"
)

// Ahead is how far before the server's clock another clock may be; further on is the future.
const Ahead = 5 * time.Minute

// MaxPhotoBytes is the largest photo that is taken: 10 MiB.
const MaxPhotoBytes = 10 << 20

// The caps that no tag says: a tag that refuses a list looks at nothing in it.
const (
	// maxDamages is also what a tag of PhotoReference says.
	maxDamages = 20
	maxPhotos  = 40
	// maxCycles is more vacuum or pressure cycles than any repair has.
	maxCycles = 50
	// maxProcessText is the longest note among the readings of a process.
	maxProcessText = 1000
)

// oldest is before any record that a shop could still bill; a time that was never set reads 1970.
var oldest = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// Check gives every fault for which a record is refused, apart from those that its validate tags
// say and those that only a database can tell: a number that is no vehicle's, sizes that cannot
// be, times of the future, a zone that is none, photos that show nothing of the record, mobile
// work without a place. Paths begin with "record.". It is pure and may be repeated.
func Check(r *Record, now time.Time) []errs.Field {
	c := checker{record: r, latest: now.Add(Ahead)}
	c.lists()
	c.line("external_reference", r.ExternalReference)
	c.vehicle()
	c.damages()
	c.place()
	c.times()
	c.line("technician", r.Technician)
	c.photos()
	c.permissions()
	return c.faults
}

// checker collects the faults of one record.
type checker struct {
	record *Record
	latest time.Time
	faults []errs.Field
}

func (c *checker) fault(path, reason, message string, args ...any) {
	c.faults = append(c.faults, errs.Field{Path: "record." + path, Reason: reason, Message: fmt.Sprintf(message, args...)})
}

// found makes a fault of a finding; its code becomes the reason.
func (c *checker) found(f finding.Finding) {
	message := f.Sentence + " " + f.Fix
	if f.Suggestion != "" && !strings.Contains(message, f.Suggestion) {
		message += fmt.Sprintf(" It could be %q.", f.Suggestion)
	}
	c.fault(f.Path, ReasonOf(f.Code), "%s", message)
}

// ReasonOf writes the code of a finding as the reason of a fault: VIN-LENGTH is VIN_LENGTH.
func ReasonOf(code string) string { return strings.ReplaceAll(code, "-", "_") }

// line refuses spaces around a text that is compared or printed, and a text of spaces alone; an
// empty one is refused by its tag.
func (c *checker) line(path, text string) {
	if strings.TrimSpace(text) != text {
		c.fault(path, "SPACES", "%.60q was given, with spaces before or behind it; leave them out", text)
	}
}

// lists refuses too many of what a visit has few of.
func (c *checker) lists() {
	for _, list := range []struct {
		path    string
		n, most int
	}{{"damages", len(c.record.Damages), maxDamages}, {"photos", len(c.record.Photos), maxPhotos}} {
		if list.n > list.most {
			c.fault(list.path, "TOO_LARGE", "%d %s were given and at most %d are allowed; leave some out, or record them as another visit",
				list.n, list.path, list.most)
		}
	}
}

// refusedForVIN are the findings for which nothing can be done with a number; with all others the
// record is stored and its claim waits.
var refusedForVIN = map[string]bool{vin.CodeLength: true, vin.CodeAlphabet: true, vin.CodeHygiene: true}

func (c *checker) vehicle() {
	if c.record.Vehicle.VIN == "" {
		return
	}
	_, found := vin.Check(c.record.Vehicle.VIN, c.record.Vehicle.Said(c.record.RepairDay()))
	for _, f := range found {
		if refusedForVIN[f.Code] {
			c.found(f)
		}
	}
}

func (c *checker) damages() {
	for _, f := range repairability.Check(c.record.Glass, c.record.RepairabilityDamages()) {
		c.found(f)
	}
	for i := range c.record.Damages {
		d := &c.record.Damages[i]
		if d.Outcome == "" {
			c.fault(fmt.Sprintf("damages[%d].outcome", i), "REQUIRED",
				"nothing was given; say what came of the damage: OUTCOME_REPAIRED, OUTCOME_DECLINED or OUTCOME_SPREAD_DURING_REPAIR")
		}
		if d.Process != nil {
			c.process(i, d.Process)
		}
	}
}

// process refuses only what cannot be kept; what is unusual is a caution of CheckProcess.
func (c *checker) process(i int, p *repairability.Process) {
	for _, text := range []struct{ name, text string }{{"temperature_note", p.Warming},
		{"drill_reason", p.DrillReason}, {"result_note", p.Result}, {"reason", p.Reason}} {
		if n := len(text.text); n > maxProcessText && len([]rune(text.text)) > maxProcessText {
			c.fault(processPath(i, text.name), "TOO_LARGE", "%d characters were given and at most %d are allowed; shorten the text",
				len([]rune(text.text)), maxProcessText)
		}
	}
	c.cycles(i, "vacuum_seconds", p.VacuumCycles)
	c.cycles(i, "pressure_seconds", p.PressureCycles)
	for _, step := range []struct {
		name string
		at   *time.Time
	}{{"start_time", p.StartTime}, {"injection_end_time", p.InjectionEndTime},
		{"cure_start_time", p.CureStartTime}, {"end_time", p.EndTime}} {
		if step.at != nil {
			c.past(processPath(i, step.name), *step.at)
		}
	}
}

func processPath(i int, name string) string { return fmt.Sprintf("damages[%d].process.%s", i, name) }

func (c *checker) cycles(i int, name string, seconds []int) {
	if len(seconds) > maxCycles {
		c.fault(processPath(i, name), "TOO_LARGE", "%d cycles were given and at most %d are allowed; leave some out", len(seconds), maxCycles)
	}
}

// statesTax are the countries whose sales tax depends on the state or province, so that a place
// without it cannot be taxed. From memory.
var statesTax = map[string]bool{"US": true, "CA": true}

// place asks for the address of mobile work: tax is due where the repair was done.
func (c *checker) place() {
	place := c.record.Place
	if !place.IsMobile {
		return
	}
	const path = "place_of_repair.address"
	a := place.Address
	if a.IsZero() {
		c.fault(path, "REQUIRED", "nothing was given and the work was mobile; give the address where the vehicle stood, "+
			"country and state at least")
		return
	}
	if a.CountryCode == "" {
		c.fault(path+".country_code", "REQUIRED", "nothing was given and the work was mobile; give the two letters of the country, \"US\"")
	}
	if a.State == "" && (a.CountryCode == "" || statesTax[a.CountryCode]) {
		c.fault(path+".state", "REQUIRED", "nothing was given and the work was mobile; give the state or province, \"OH\"")
	}
}

func (c *checker) times() {
	r := c.record
	if _, ok := access.ParseZone(r.TimeZone); !ok && r.TimeZone != "" {
		c.fault("time_zone", "TIME_ZONE", "%.60q was given; give the name of a time zone from the IANA list, \"America/New_York\"", r.TimeZone)
	}
	isStart, isFinish := c.past("start_time", r.StartTime), c.past("finish_time", r.FinishTime)
	if isStart && isFinish && r.FinishTime.Before(r.StartTime) {
		c.fault("finish_time", "ORDER", "%s was given and the work began at %s; give the same time or a later one",
			r.FinishTime.Format(time.RFC3339), r.StartTime.Format(time.RFC3339))
	}
}

// past refuses what lies ahead and what lies before any record; a time that is not set is refused
// by its tag, or may be missing. Ok is true of one that others may be held against.
func (c *checker) past(path string, at time.Time) (ok bool) {
	switch {
	case at.IsZero():
	case at.After(c.latest):
		c.future(path, at)
	case at.Before(oldest):
		c.fault(path, "TOO_OLD", "%s was given; allowed are times from %s on; give the time, which may never have been set",
			at.Format(time.RFC3339), oldest.Format(time.DateOnly))
	default:
		return true
	}
	return false
}

func (c *checker) future(path string, at time.Time) {
	c.fault(path, "FUTURE", "%s was given, which is yet to come: it is %s; a record tells what was done, so send it "+
		"afterwards, or set the clock right", at.Format(time.RFC3339), c.latest.Add(-Ahead).Format(time.RFC3339))
}

// photos looks at the references; whether the photos were uploaded only storage knows.
func (c *checker) photos() {
	all := c.record.Photos[:min(maxPhotos, len(c.record.Photos))]
	for i, p := range all {
		switch {
		case p.Hash == "":
			c.fault(photoPath(i, "photo_hash"), "REQUIRED", "nothing was given; give the photo_hash that UploadPhoto answered")
		case p.Hash.Bytes() == nil:
			c.fault(photoPath(i, "photo_hash"), "PHOTO_HASH", "%.70q was given; give the photo_hash that UploadPhoto answered: "+
				"64 hexadecimal digits in lower case", p.Hash)
		default:
			c.once(all, i)
		}
		// Without any damage it is the damages that are missing.
		if n := len(c.record.Damages); n > 0 && p.DamageNumber > n && p.DamageNumber <= maxDamages {
			c.fault(photoPath(i, "damage_number"), "DAMAGE_NUMBER", "%d was given and there are %d damages; give 1 to %d, or "+
				"0 for the whole glass or the plate", p.DamageNumber, n, n)
		}
		if p.PlateVIN != "" && p.Kind != VINPlate {
			c.fault(photoPath(i, "plate_vin"), "NOT_A_PLATE", "%.40q was given and the photo is not of the VIN plate; leave it out, "+
				"or say that the photo shows the plate", p.PlateVIN)
		}
	}
}

func photoPath(i int, name string) string { return fmt.Sprintf("photos[%d].%s", i, name) }

// once refuses a photo that an earlier reference names.
func (c *checker) once(all []PhotoReference, i int) {
	for j := range i {
		if all[j].Hash == all[i].Hash {
			c.fault(photoPath(i, "photo_hash"), "REPEATED", "this photo stands at photos[%d] already; name each photo once", j)
			return
		}
	}
}

// permissions looks at who signed, and at when an authorization was given.
func (c *checker) permissions() {
	for _, s := range []struct {
		path string
		Signature
	}{{"work_authorization", c.record.WorkAuthorization}, {"payment_authorization", c.record.PaymentAuthorization}} {
		c.past(s.path+".sign_time", s.SignTime)
		if s.SignedBy == "" && !s.SignTime.IsZero() {
			c.fault(s.path+".signed_by", "REQUIRED", "nothing was given and a time of signing was; give the name of who signed, "+
				"or leave both out")
		}
	}
	if at := c.record.Coverage.Authorization.GiveTime; at != nil {
		c.past("coverage.authorization.give_time", *at)
	}
}
