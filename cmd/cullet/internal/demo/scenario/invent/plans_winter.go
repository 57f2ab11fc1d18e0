package invent

import (
	"time"

	"cullet/cmd/cullet/internal/demo/scenario"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
)

var november = []plan{
	{"half-moon-kentucky-slow-payer", "The slow payer, in the other state.", oldMill, newport, []hurt{halfMoon(16)}, nil},
	{"declined-only", "Nothing was repaired: there is nothing to bill.", lantern, spot{},
		[]hurt{crack(380, 1).declined("Longer than we go. Advised replacement, no charge for looking.")},
		[]func(*draft){stops("DAMAGE-NOTHING-TO-BILL", "PRICE-NOTHING")}},
	{"finished-before-it-began", "The two times are swapped: refused.", quarry, spot{}, []hurt{star(30, 4)},
		[]func(*draft){record(func(r *jobsv1.RepairRecord) { r.StartTime, r.FinishTime = r.FinishTime, r.StartTime }),
			refused("record.finish_time")}},
	{"surface-pit", "A surface pit.", lantern, spot{}, []hurt{pit(4.2, 0.8)}, nil},
	{"combination-break-at-the-shop", "An ordinary repair.", quarry, spot{}, []hurt{combination(19, 55, 6)}, nil},
	{"two-stars-fleet", "Two breaks on a fleet's glass.", tannery, groveCity, []hurt{star(29, 4), star(22, 3)}, nil},
	{"several-faults", "No technician, no zone that exists, a photo of a damage that is not there: all told at once.", lantern, spot{},
		[]hurt{bullseye(15)}, []func(*draft){severalFaults,
			refused("record.technician", "record.time_zone", "record.photos[0].damage_number", "record.damages[0].kind")}},
	{"authorization-used-twice", "The authorization number is that of another visit.", lantern, spot{}, []hurt{star(31, 4)},
		[]func(*draft){cover(func(c *payersv1.Coverage) { c.Authorization.Number = lanternNumber("star-break-mobile-kentucky") }),
			stops("AUTH-USED")}},
	{"nobody-signed", "Nobody signed for the work.", lantern, gahanna, []hurt{bullseye(13)},
		[]func(*draft){record(func(r *jobsv1.RepairRecord) { r.WorkAuthorization = nil }), cautions("AUTH-WORK-UNSIGNED")}},
	{"authorization-next-morning", "The number is given the next morning.", oldMill, spot{}, []hurt{star(34, 5)},
		[]func(*draft){unknownUntil(1, "called at eight", withoutAuthorization), stops("AUTH-MISSING")}},
	{"bullseye-folder", "For the payer that is served by files in a folder.", fernway, spot{}, []hurt{bullseye(17)}, nil},
	{"kentucky-without-a-number", "In Kentucky, with neither a claim number nor a referral.", fernway, covington, []hurt{star(30, 4)},
		[]func(*draft){cover(func(c *payersv1.Coverage) { c.LossReference = "" }), stops("LAW-KY-NUMBER-FIRST")}},
	{"before-photo-taken-twice", "The photo after shows the break as it was before: taken twice, and the wrong one named.", quarry, spot{},
		[]hurt{star(35, 4)}, []func(*draft){showsAgain(3, 2), cautions("PHOTO-LIKE-ANOTHER")}},
	{"one-photo-named-twice", "The same file was named as before and as after: refused.", quarry, spot{}, []hurt{bullseye(13)},
		[]func(*draft){sameBytes(3, "one-photo-named-twice", 2), refused("record.photos[2].photo_hash")}},
	{"half-moon-at-the-shop", "An ordinary repair.", lantern, spot{}, []hurt{halfMoon(14)}, nil},
	{"star-break-chillicothe", "Mobile, by folder.", fernway, chillicothe, []hurt{star(39, 5)}, nil},
	{"star-break-parks", "The exempt buyer, mobile.", parks, gahanna, []hurt{star(30, 4)}, nil},
	{"half-moon-short-vacuum", "One reading is unusual and has its reason.", fernway, spot{}, []hurt{halfMoon(17)},
		[]func(*draft){reading(func(p *jobsv1.Process) {
			p.VacuumSeconds[0], p.Reason = 20, "shallow break, bubbles were gone after twenty seconds"
		}), cautions("PROCESS-UNUSUAL")}},
	{"damage-beside-the-glass", "The place of the break lies beside the glass: refused.", lantern, spot{}, []hurt{halfMoon(12)},
		[]func(*draft){record(func(r *jobsv1.RepairRecord) { *r.Damages[0].Place.FromDriverEdgeMm = 2140 }),
			refused("record.damages[0].place.from_driver_edge_mm")}},
	{"everything-at-once", "An evening's worst: five mistakes on one claim.", lantern, spot{}, []hurt{star(34, 5)},
		[]func(*draft){misread(swapped), without(before), cover(withoutAuthorization),
			func(d *draft) { d.set().PolicyNumber, d.set().DateOfLoss = "LM26-44120", d.day(2) },
			stops("VIN-CHECK", "PHOTO-MISSING", "AUTH-MISSING", "COVERAGE-POLICY-PATTERN", "DATES-LOSS-AFTER-REPAIR")}},
	{"star-break-motorist-pays", "A motorist who pays himself, mobile in the rain.", "", columbus,
		[]hurt{star(28, 4).saying("Under the awning. Dried twice, then fine.")}, nil},
	{"camera-clock-wrong", "The camera's clock is a year behind.", quarry, circleville, []hurt{star(38, 4)},
		[]func(*draft){cameraClock(-365 * 24 * time.Hour), cautions("PHOTO-TIME")}},
	{"bullseye-fleet-camera", "A camera looks through the glass.", tannery, spot{}, []hurt{bullseye(13)},
		[]func(*draft){record(func(r *jobsv1.RepairRecord) { r.Glass.HasDriverAssistance = jobsv1.Known_KNOWN_YES }), cautions("GLASS-CAMERA")}},
	{"combination-break-kentucky-folder", "In Kentucky with the payer's number, by folder.", fernway, covington,
		[]hurt{combination(14, 42, 5)}, nil},
	{"authorization-the-evening-after", "The number arrives on the evening after.", lantern, spot{}, []hurt{bullseye(16), pit(3.6, 0.5)},
		[]func(*draft){unknownUntil(1, "read from the payer's mail", withoutAuthorization), stops("AUTH-MISSING")}},
	{"star-break-folder", "The last of the quarter, by folder.", fernway, spot{}, []hurt{star(33, 4)}, nil},
	{"sent-again", "The very same record sent again: the first answer comes back.", lantern, spot{}, []hurt{halfMoon(14)},
		[]func(*draft){underItsReference("half-moon-at-the-shop"), func(d *draft) {
			first := d.made["half-moon-at-the-shop"]
			d.Expect = scenario.Expect{IsRecorded: true, IsRepeat: true, Claim: first.Expect.Claim}
		}}},
	{"sent-again-otherwise", "Another size under the same reference: a conflict that names the field.", quarry, spot{}, []hurt{bullseye(18)},
		[]func(*draft){underItsReference("bullseye-second-technician"),
			record(func(r *jobsv1.RepairRecord) { *r.Damages[0].BodyDiameterMm = 13 }),
			refused("record.damages[0].body_diameter_mm"), func(d *draft) { d.Expect.IsConflict = true }}},
}

// uploadRefused expects a photo to be refused before there is a record.
func uploadRefused(reason string) func(*draft) {
	return func(d *draft) { d.Expect.UploadReason = reason }
}

func nextYear(r *jobsv1.RepairRecord) {
	r.StartTime = stamp(r.StartTime.AsTime().AddDate(1, 0, 0))
	r.FinishTime = stamp(r.FinishTime.AsTime().AddDate(1, 0, 0))
}

func severalFaults(d *draft) {
	d.Record.Technician, d.Record.TimeZone = "", "America/Columbus"
	d.Photos[0].DamageNumber = 3
	d.Record.Damages[0].Kind = jobsv1.DamageKind_DAMAGE_KIND_UNSPECIFIED
}
