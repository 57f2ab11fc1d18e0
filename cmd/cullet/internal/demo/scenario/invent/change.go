package invent

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"cullet/cmd/cullet/internal/demo/scenario"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/vin"
)

// Changes make a visit unusual. Those of this file say what is to become of it.

// stops expects a claim in draft with the codes.
func stops(codes ...string) func(*draft) {
	return func(d *draft) {
		d.Expect.Claim = "DRAFT"
		d.Expect.Stops = append(d.Expect.Stops, codes...)
	}
}

// cautions expects the codes among the cautions.
func cautions(codes ...string) func(*draft) {
	return func(d *draft) { d.Expect.Cautions = append(d.Expect.Cautions, codes...) }
}

// refused expects the record to be refused for the fields.
func refused(fields ...string) func(*draft) {
	return func(d *draft) { d.Expect = scenario.Expect{Errors: fields} }
}

// record changes the record by hand.
func record(change func(*jobsv1.RepairRecord)) func(*draft) {
	return func(d *draft) { change(d.Record) }
}

// coverage changes the coverage by hand.
func cover(change func(*payersv1.Coverage)) func(*draft) {
	return func(d *draft) { change(d.Record.Coverage) }
}

// reading changes the readings of the first repair.
func reading(change func(*jobsv1.Process)) func(*draft) {
	return func(d *draft) { change(d.Record.Damages[0].Process) }
}

// unknownUntil takes what change takes away, and gives it back some days later.
func unknownUntil(days int, because string, change func(*payersv1.Coverage)) func(*draft) {
	return func(d *draft) {
		whole := proto.CloneOf(d.Record.Coverage)
		if whole.Authorization != nil {
			whole.Authorization.GiveTime = stamp(d.start.AddDate(0, 0, days))
		}
		d.Later = &scenario.Later{AfterDays: days, Because: because, Coverage: whole}
		change(d.Record.Coverage)
	}
}

func withoutAuthorization(c *payersv1.Coverage) { c.Authorization = nil }

// without leaves out the photos of a kind.
func without(kind string) func(*draft) {
	return func(d *draft) {
		var kept []scenario.Photo
		for _, p := range d.Photos {
			if p.Kind != kind {
				kept = append(kept, p)
			}
		}
		d.Photos = kept
	}
}

// sameBytes sends a photo of another visit in the place of one of this, both counted from 1.
func sameBytes(number int, slug string, other int) func(*draft) {
	return func(d *draft) {
		p := &d.Photos[number-1]
		*p = scenario.Photo{Kind: p.Kind, DamageNumber: p.DamageNumber, SameAs: d.nameOf(slug, other)}
	}
}

// nameOf names a photo of an earlier visit, or of this one when the slug is its own.
func (d *draft) nameOf(slug string, number int) string {
	if slug == d.slug {
		return fmt.Sprintf("%s/%d", d.Name, number)
	}
	of := d.made[slug]
	if number > len(of.Photos) {
		panic("no photo " + slug) // A mistake of the plans.
	}
	return fmt.Sprintf("%s/%d", of.Name, number)
}

// showsAgain makes a photo show once more what another of the visit does, both counted from 1. Its
// time differs, so its bytes do.
func showsAgain(number, other int) func(*draft) {
	return func(d *draft) {
		p, shown := &d.Photos[number-1], d.Photos[other-1]
		p.Shows, p.Seed, p.Shape, p.Orientation = shown.Kind, shown.Seed, shown.Shape, shown.Orientation
	}
}

// instead sends something else in the place of a photo, counted from 1.
func instead(number int, what string) func(*draft) {
	return func(d *draft) { d.Photos[number-1].Instead = what }
}

// cameraClock sets the clock of the camera off.
func cameraClock(off time.Duration) func(*draft) {
	return func(d *draft) {
		for i := range d.Photos {
			d.Photos[i].TakeTime = d.Photos[i].TakeTime.Add(off)
		}
	}
}

// swapTimes takes two photos at each other's time, counted from 1.
func swapTimes(a, b int) func(*draft) {
	return func(d *draft) {
		p, q := &d.Photos[a-1], &d.Photos[b-1]
		p.TakeTime, q.TakeTime = q.TakeTime, p.TakeTime
	}
}

// misread changes the recorded number while the plate keeps showing the right one.
func misread(change func(number string) string) func(*draft) {
	return func(d *draft) {
		right := d.Record.Vehicle.Vin
		d.Record.Vehicle.Vin = change(right)
		for i := range d.Photos {
			if d.Photos[i].Kind == vinPlate {
				d.Photos[i].PlateReads = right
			}
		}
	}
}

// letterO writes the letter for the last zero, as people do who type from a photo.
func letterO(number string) string {
	at := strings.LastIndexByte(number, '0')
	if at < 0 {
		panic("no zero in " + number) // The number of this visit is invented with one.
	}
	return number[:at] + "O" + number[at+1:]
}

// swapped exchanges the first two neighbours of the serial by which the check digit no longer fits.
func swapped(number string) string {
	for i := 13; i+1 < len(number); i++ {
		other := number[:i] + number[i+1:i+2] + number[i:i+1] + number[i+2:]
		if !vin.Passes(other) {
			return other
		}
	}
	panic("no swap shows in " + number)
}

// european gives the vehicle a number from a maker outside of North America, whose ninth
// character is no check digit.
func european(d *draft) {
	number := "WBA" + d.Record.Vehicle.Vin[3:]
	digit, _ := vin.CheckDigit(number)
	other := byte('0' + (digit-'0'+3)%9)
	if digit == 'X' {
		other = '4'
	}
	d.Record.Vehicle.Vin = number[:8] + string(other) + number[9:]
}

// again makes the visit a second record of an earlier one, with a reference of its own.
func again(slug string) func(*draft) {
	return func(d *draft) {
		reference, first := d.Record.ExternalReference, d.made[slug]
		d.Record = proto.CloneOf(first.Record)
		d.Record.ExternalReference = reference
		d.Photos = nil
		for i, p := range first.Photos {
			d.Photos = append(d.Photos, scenario.Photo{Kind: p.Kind, DamageNumber: p.DamageNumber, SameAs: d.nameOf(slug, i+1)})
		}
	}
}

// underItsReference sends an earlier visit once more under the reference that it has, changed or
// word for word. The file follows that of the visit.
func underItsReference(slug string) func(*draft) {
	return func(d *draft) {
		again(slug)(d)
		first := d.made[slug]
		d.Record.ExternalReference = first.Record.ExternalReference
		d.Name = first.Name + "-" + d.slug
	}
}
