// Package invent makes the records in testdata/repairs. It is run by its test with -update; the
// program itself reads the files. Every name, number, street and vehicle in them is made up here,
// from the words that tell of each visit, so that the same files come out each time.
//
// It refuses to be realistic where that could touch somebody: telephones are 555-01xx, mail goes
// to .example, and a vehicle's number has a serial that begins with 99.
package invent

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"cullet/cmd/cullet/internal/demo/scenario"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
)

// zoneName is the zone of Columbus, and of the part of Kentucky that the van goes to.
const zoneName = "America/New_York"

// plan tells of one visit what matters; the rest is invented.
type plan struct {
	// slug follows the reference in the file's name.
	slug, about string
	// payer is its code; empty when the motorist pays himself.
	payer string
	// at is where the van went; the zero place is the shop.
	at     spot
	breaks []hurt
	// changes are made to the finished visit, in order: mistakes, and what else is unusual.
	changes []func(*draft)
}

// draft is a visit in the making.
type draft struct {
	scenario.Visit
	plan
	rng *rand.Rand
	// zone and start are those of the visit.
	start time.Time
	// made holds the visits before this one, by slug.
	made map[string]scenario.Visit
}

// Visits invents the quarter. The order is that of the days.
func Visits() ([]scenario.Visit, error) {
	zone, err := time.LoadLocation(zoneName)
	if err != nil {
		return nil, fmt.Errorf("find the zone of the shop: %w", err)
	}
	plans := slices.Concat(augustAndSeptember, october, november)
	made := map[string]scenario.Visit{}
	visits := make([]scenario.Visit, len(plans))
	for i, p := range plans {
		d := &draft{plan: p, made: made, rng: random(p.slug), start: startOf(i, len(plans), zone)}
		d.Name = fmt.Sprintf("R-%04d-%s", i+1, p.slug)
		d.About = p.about
		d.invent(fmt.Sprintf("R-%04d", i+1))
		for _, change := range p.changes {
			change(d)
		}
		slices.Sort(d.Expect.Stops)
		visits[i], made[p.slug] = d.Visit, d.Visit
	}
	return visits, nil
}

// random gives the numbers of one visit; adding another visit changes none of them.
func random(slug string) *rand.Rand { return rand.New(rand.NewPCG(hashOf(slug), 0x9a55)) }

func hashOf(text string) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(text)) // It never fails.
	return h.Sum64()
}

// startOf spreads the visits over the working days, Monday to Saturday: two may fall on one day,
// one in the morning and one in the afternoon.
func startOf(index, of int, zone *time.Location) time.Time {
	const workdays = 6 * 13
	day := index * workdays / of
	rng := random(fmt.Sprint("start ", index))
	hour, minute := 8+rng.IntN(3), 5*rng.IntN(12)
	if index%2 == 1 {
		hour += 4
	}
	// The first day is a Monday.
	return time.Date(2026, time.August, 24+day/6*7+day%6, hour, minute, 0, 0, zone)
}

// invent fills in everything that the plan leaves open.
func (d *draft) invent(reference string) {
	d.Record = &jobsv1.RepairRecord{ExternalReference: reference, TimeZone: zoneName,
		Technician: technicians[d.rng.IntN(len(technicians))]}
	d.Record.Vehicle = d.vehicle()
	d.Record.Glass = d.glass()
	finish := d.damages(d.start.Add(4 * time.Minute))
	d.Record.StartTime, d.Record.FinishTime = stamp(d.start), stamp(finish.Add(6*time.Minute))
	d.Record.PlaceOfRepair = d.at.place(d.rng)
	d.Record.Motorist = d.motorist()
	d.Record.Coverage = d.coverage()
	d.sign()
	d.photos()
	d.Expect = scenario.Expect{IsRecorded: true}
	if d.payer != "" {
		d.Expect.Claim = "READY"
	}
}

func (d *draft) sign() {
	d.Record.WorkAuthorization = &jobsv1.SignedAuthorization{SignedBy: d.Record.Motorist.Name,
		SignTime: stamp(d.start.Add(-3 * time.Minute))}
	if isInsurer(d.payer) {
		d.Record.PaymentAuthorization = proto.CloneOf(d.Record.WorkAuthorization)
		d.Record.PaymentAuthorization.SignTime = stamp(d.start.Add(-2 * time.Minute))
	}
}

// day gives the civil day of the visit, moved by days.
func (d *draft) day(moved int) string { return d.start.AddDate(0, 0, moved).Format(time.DateOnly) }

func (d *draft) set() *payersv1.Coverage { return d.Record.GetCoverage() }

// pick takes one of a list.
func pick[T any](rng *rand.Rand, from []T) T { return from[rng.IntN(len(from))] }
