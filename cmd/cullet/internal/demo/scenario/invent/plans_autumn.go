package invent

import (
	"cullet/cmd/cullet/internal/demo/scenario"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
)

// The visits of the first weeks, in the order of their days.
var augustAndSeptember = []plan{
	{"bullseye-at-the-shop", "The plainest case: one bullseye, everything there.", lantern, spot{},
		[]hurt{bullseye(14)}, nil},
	{"half-moon-motorist-pays", "A motorist who pays himself: a job without a claim.", "", spot{},
		[]hurt{halfMoon(13).saying("Asked for cash price, no insurance.")}, nil},
	{"star-break-fleet-yard", "A fleet's van, mobile at its yard, with unit number and purchase order.", tannery, groveCity,
		[]hurt{star(34, 4)}, nil},
	{"star-break-mobile", "Mobile in the shop's own county.", quarry, gahanna, []hurt{star(41, 5)}, nil},
	{"combination-break-three-cycles", "A combination break within the limit although its legs reach far: the body counts.", lantern, spot{},
		[]hurt{combination(22, 61, 6).saying("Body 22, the legs run far out. Three cycles, longest leg last.")}, nil},
	{"authorization-two-days-later", "The desk was closed at the kerb; the number comes two days later.", lantern, hilliard,
		[]hurt{star(29, 4)}, []func(*draft){unknownUntil(2, "called back by the glass desk", withoutAuthorization), stops("AUTH-MISSING")}},
	{"surface-pit-parks-truck", "An exempt government buyer.", parks, spot{}, []hurt{pit(4.5, 0.9)}, nil},
	{"vin-plate-photo-missing", "The payer demands a photo of the VIN plate and the record has none.", quarry, spot{},
		[]hurt{bullseye(17)}, []func(*draft){without(vinPlate), stops("PHOTO-MISSING")}},
	{"two-breaks-fleet", "Two breaks on one glass: the second costs less.", tannery, spot{},
		[]hurt{star(26, 3), bullseye(11)}, nil},
	{"crack-from-the-edge", "A crack that touches one edge, within the length limit.", lantern, spot{},
		[]hurt{crack(112, 1).saying("Came in from the passenger's edge after the first frost.")}, nil},
	{"bullseye-slow-payer", "For the payer that takes its time.", oldMill, spot{}, []hurt{bullseye(19)}, nil},
	{"vin-of-sixteen-characters", "One character of the VIN is missing: refused.", lantern, spot{}, []hurt{bullseye(15)},
		[]func(*draft){misread(func(n string) string { return n[:11] + n[12:] }), refused("record.vehicle.vin")}},
	{"filed-too-late", "Recorded months after the repair; the payer takes claims for thirty days.", fernway, spot{},
		[]hurt{halfMoon(16)}, []func(*draft){stops("DATES-FILING-LIMIT")}},
	{"star-break-mobile-kentucky", "Mobile in another state, with its tax and its law.", lantern, covington,
		[]hurt{star(38, 5)}, nil},
	{"half-moon-mobile-cincinnati", "Mobile in a county with another rate.", quarry, cincinnati, []hurt{halfMoon(18)}, nil},
	{"vin-letter-o-for-zero", "The letter O was typed for a zero in the VIN: refused, with what it could be.", lantern, spot{}, []hurt{bullseye(12)},
		[]func(*draft){withZero, misread(letterO), refused("record.vehicle.vin")}},
	{"two-pits-motorist-pays", "A motorist who pays himself for two small ones.", "", circleville,
		[]hurt{pit(3.5, 0.6), pit(4, 0.7)}, nil},
	{"half-moon-no-unit-number", "The fleet's own number of the vehicle was not read.", tannery, dayton, []hurt{halfMoon(14)},
		[]func(*draft){record(func(r *jobsv1.RepairRecord) { r.Vehicle.UnitNumber = "" }), cautions("VEHICLE-UNIT-NUMBER")}},
	{"loss-after-repair", "The day of loss lies after the day of repair.", quarry, spot{}, []hurt{star(33, 4)},
		[]func(*draft){func(d *draft) { d.set().DateOfLoss = d.day(3) }, stops("DATES-LOSS-AFTER-REPAIR")}},
	{"three-breaks-one-glass", "Three breaks on one glass, of three kinds.", lantern, spot{},
		[]hurt{bullseye(13), star(31, 4), pit(3.8, 0.5)}, nil},
	{"combination-break-mobile-springfield", "Mobile for the slow payer.", oldMill, springfield, []hurt{combination(15, 47, 5)}, nil},
	{"damage-of-minus-three", "A size below zero: refused.", quarry, spot{}, []hurt{star(30, 4)},
		[]func(*draft){record(func(r *jobsv1.RepairRecord) { *r.Damages[0].SpreadMm, r.Damages[0].PitDiameterMm = -3, nil }), refused("record.damages[0].spread_mm")}},
	{"after-photo-missing", "The photo after the repair is missing.", lantern, spot{}, []hurt{combination(14, 39, 5)},
		[]func(*draft){without(after), stops("PHOTO-MISSING")}},
	{"crack-declined-bullseye-repaired", "One break repaired, one declined: only the first is billed.", quarry, spot{},
		[]hurt{bullseye(16), crack(410, 2).declined("Runs from edge to edge, glass has to be replaced. Customer told.")}, nil},
	{"bullseye-beyond-the-limit", "Repaired although it is larger than the standard allows.", lantern, spot{},
		[]hurt{bullseye(31).saying("Large, but the customer wanted to try.")}, []func(*draft){stops("DAMAGE-NOT-REPAIRABLE")}},
	{"half-moon-parks-truck", "An exempt government buyer, second visit.", parks, spot{}, []hurt{halfMoon(15)}, nil},
	{"star-break-no-purchase-order", "The fleet pays only with a purchase order.", tannery, groveCity, []hurt{star(28, 3)},
		[]func(*draft){cover(func(c *payersv1.Coverage) { c.PurchaseOrder = "" }), stops("COVERAGE-MISSING")}},
	{"spread-beside-a-repair", "One break spread while it was repaired, the other is good.", lantern, spot{},
		[]hurt{bullseye(15), star(44, 6).spreads("Lower leg ran out under pressure, stopped and released. Replacement advised.")}, nil},
	{"star-break-drilled", "Drilled, with the reason.", quarry, london, []hurt{star(36, 5)},
		[]func(*draft){reading(func(p *jobsv1.Process) {
			drilled, depth := true, 1.1
			p.IsDrilled, p.DrillDepthMm, p.DrillReason = &drilled, &depth, "two legs would not open to the vacuum"
		})}},
}

// withZero makes sure that the serial of the vehicle holds a zero.
func withZero(d *draft) {
	d.Record.Vehicle.Vin = withSerial(d.Record.Vehicle.Vin, "990317")
}

var october = []plan{
	{"star-break-mobile-dayton", "Recorded by the technician on the road.", lantern, dayton, []hurt{star(40, 5)}, nil},
	{"entered-twice", "The same visit entered again by the office under another reference.", lantern, spot{}, []hurt{star(40, 5)},
		[]func(*draft){again("star-break-mobile-dayton"),
			stops("DUPLICATE-CLAIM", "PHOTO-ON-OTHER-CLAIM", "PHOTO-ON-OTHER-CLAIM", "AUTH-USED"), cautions("DUPLICATE-VEHICLE-DAY")}},
	{"spread-motorist-pays", "Spread while it was repaired, for a motorist who pays himself.", "", spot{},
		[]hurt{star(52, 5).spreads("Was fine until the second pull, then one leg went. No charge, offered replacement.")}, nil},
	{"policy-of-another-payer", "The policy number is one of another insurer.", lantern, columbus, []hurt{halfMoon(12)},
		[]func(*draft){cover(func(c *payersv1.Coverage) { c.PolicyNumber = "QC48812077" }), stops("COVERAGE-POLICY-PATTERN")}},
	{"star-break-slow-payer", "For the payer that takes its time.", oldMill, spot{}, []hurt{star(35, 4)}, nil},
	{"date-in-the-future", "The year was typed wrong: the repair would be next year. Refused.", lantern, spot{}, []hurt{bullseye(14)},
		[]func(*draft){record(nextYear), refused("record.start_time", "record.finish_time")}},
	{"combination-break-fleet-kentucky", "A fleet's van in the other state.", tannery, florence, []hurt{combination(17, 50, 5)}, nil},
	{"bullseye-in-the-viewing-area", "In front of the driver, small enough for the stricter limits there.", lantern, spot{},
		[]hurt{bullseye(18).inSight().saying("In front of the driver. Told about the faint mark that stays, agreed.")}, nil},
	{"european-number", "A number from outside of North America, where position 9 is no check digit.", quarry, spot{},
		[]hurt{bullseye(15)}, []func(*draft){european, cautions("VIN-CHECK")}},
	{"county-missing", "Mobile in Ohio, where the county decides the rate, and none is given.", lantern, hilliard, []hurt{star(27, 4)},
		[]func(*draft){record(func(r *jobsv1.RepairRecord) { r.PlaceOfRepair.Address.County = "" }), stops("TAX-LOCAL-UNKNOWN")}},
	{"authorization-expired", "The authorization held until the week before.", lantern, spot{}, []hurt{bullseye(13)},
		[]func(*draft){func(d *draft) { d.set().Authorization.ValidTo = d.day(-6) }, stops("AUTH-EXPIRED")}},
	{"loss-number-days-later", "The payer's number of the loss comes four days later.", quarry, spot{}, []hurt{star(32, 5)},
		[]func(*draft){unknownUntil(4, "letter from the payer", func(c *payersv1.Coverage) { c.LossReference = "" }), stops("COVERAGE-MISSING")}},
	{"crack-fleet-truck", "A floating crack on a truck.", tannery, spot{}, []hurt{crack(84, 0)}, nil},
	{"two-breaks-parks", "Two breaks for the exempt buyer.", parks, groveCity, []hurt{star(25, 3), bullseye(12)}, nil},
	{"photo-of-another-claim", "One photo is the very same file as one of an earlier claim.", lantern, spot{}, []hurt{bullseye(14)},
		[]func(*draft){sameBytes(1, "three-breaks-one-glass", 1), stops("PHOTO-ON-OTHER-CLAIM")}},
	{"payer-unknown", "The code of the payer is misspelt: refused.", lantern, spot{}, []hurt{star(30, 4)},
		[]func(*draft){cover(func(c *payersv1.Coverage) { c.PayerCode = "lantern-mutal" }), refused("record.coverage.payer_code")}},
	{"bullseye-second-technician", "An ordinary repair.", quarry, spot{}, []hurt{bullseye(18)}, nil},
	{"more-repairs-than-authorized", "Two repaired, one authorized.", lantern, spot{}, []hurt{bullseye(12), star(24, 4)},
		[]func(*draft){cover(func(c *payersv1.Coverage) { c.Authorization.RepairsAllowed = 1 }), stops("AUTH-MORE-REPAIRS")}},
	{"authorization-never-came", "No authorization number, and nobody has called.", oldMill, columbus, []hurt{halfMoon(17)},
		[]func(*draft){cover(withoutAuthorization), stops("AUTH-MISSING")}},
	{"crack-motorist-pays", "A crack, paid by card at the kerb.", "", chillicothe, []hurt{crack(96, 0)}, nil},
	{"glass-too-cold", "Repaired on a cold morning, without a reason given.", lantern, spot{}, []hurt{star(30, 4)},
		[]func(*draft){reading(func(p *jobsv1.Process) { *p.GlassTemperatureC = 6.5 }), cautions("PROCESS-UNUSUAL")}},
	{"glass-too-hot-with-reason", "The glass was hot; the technician says what he did.", quarry, spot{}, []hurt{star(37, 4)},
		[]func(*draft){reading(func(p *jobsv1.Process) {
			*p.GlassTemperatureC, p.TemperatureNote = 38, "stood in the sun, moved into the bay and waited"
			p.Reason = "started at 38 C, cooled to 29 C in the shade before the first vacuum"
		}), cautions("PROCESS-UNUSUAL")}},
	{"authorization-misheard", "The number that was written down has a digit too few.", lantern, spot{}, []hurt{halfMoon(15)},
		[]func(*draft){cover(func(c *payersv1.Coverage) { c.Authorization.Number = c.Authorization.Number[:7] }), stops("AUTH-PATTERN")}},
	{"photo-is-a-text-file", "A note was attached in the place of a photo: refused at upload.", lantern, spot{}, []hurt{bullseye(16)},
		[]func(*draft){instead(1, scenario.InsteadText), refused(), uploadRefused("PHOTO_NOT_AN_IMAGE")}},
	{"before-and-after-swapped", "The photo before was taken after the photo after.", lantern, spot{}, []hurt{star(33, 5)},
		[]func(*draft){swapTimes(1, 2), stops("PHOTO-ORDER")}},
	{"half-moon-fleet", "An ordinary fleet job.", tannery, london, []hurt{halfMoon(13)}, nil},
	{"two-digits-swapped", "Two characters of the VIN changed places; the plate on the photo shows it.", quarry, spot{}, []hurt{bullseye(14)},
		[]func(*draft){misread(swapped), stops("VIN-CHECK")}},
}
