package scenario

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/access"
)

// The first and the last day of the quarter as it is written: a Monday and a Sunday.
const (
	FirstDay = "2026-08-24"
	LastDay  = "2026-11-22"
)

// ShiftTo moves the whole quarter by weeks so that its last day is the latest Sunday before today:
// a filing limit then runs as it did when the records were invented, and weekdays stay. Clocks on
// the wall stay too, whatever daylight saving does. Nothing given is changed.
func ShiftTo(visits []Visit, today time.Time) ([]Visit, error) {
	last, err := time.Parse(time.DateOnly, LastDay)
	if err != nil {
		return nil, err
	}
	day := time.Date(today.Year(), today.Month(), today.Day(), 0, 0, 0, 0, time.UTC)
	weeks := floorDivide(int(day.Sub(last).Hours()/24)-1, 7)
	moved := make([]Visit, len(visits))
	for i, v := range visits {
		if moved[i], err = v.shifted(7 * weeks); err != nil {
			return nil, fmt.Errorf("move %s by %d weeks: %w", v.Name, weeks, err)
		}
	}
	return moved, nil
}

func floorDivide(a, b int) int {
	if a < 0 {
		return -((-a + b - 1) / b)
	}
	return a / b
}

func (v Visit) shifted(days int) (Visit, error) {
	zone, err := time.LoadLocation(v.Record.GetTimeZone())
	if err != nil { // One of the records has no zone that exists.
		zone = access.Zone("America/New_York")
	}
	m := mover{days: days, zone: zone}
	v.Record = proto.CloneOf(v.Record)
	m.record(v.Record)
	photos := make([]Photo, len(v.Photos))
	for i, p := range v.Photos {
		if !p.TakeTime.IsZero() {
			p.TakeTime = m.moved(p.TakeTime)
		}
		photos[i] = p
	}
	v.Photos = photos
	if v.Later != nil {
		later := *v.Later
		later.Coverage = proto.CloneOf(later.Coverage)
		m.coverage(later.Coverage)
		v.Later = &later
	}
	return v, m.err
}

// mover moves days and times; it keeps its first error.
type mover struct {
	days int
	zone *time.Location
	err  error
}

func (m *mover) moved(t time.Time) time.Time { return t.In(m.zone).AddDate(0, 0, m.days) }

func (m *mover) stamp(t *timestamppb.Timestamp) {
	if t != nil {
		t.Seconds = m.moved(t.AsTime()).Unix()
	}
}

func (m *mover) day(text *string) {
	if *text == "" {
		return
	}
	day, err := time.Parse(time.DateOnly, *text)
	if err != nil {
		m.err = err
		return
	}
	*text = day.AddDate(0, 0, m.days).Format(time.DateOnly)
}

func (m *mover) record(r *jobsv1.RepairRecord) {
	m.stamp(r.GetStartTime())
	m.stamp(r.GetFinishTime())
	m.stamp(r.GetWorkAuthorization().GetSignTime())
	m.stamp(r.GetPaymentAuthorization().GetSignTime())
	for _, d := range r.GetDamages() {
		p := d.GetProcess()
		m.stamp(p.GetStartTime())
		m.stamp(p.GetInjectionEndTime())
		m.stamp(p.GetCureStartTime())
		m.stamp(p.GetEndTime())
	}
	if r.GetCoverage() != nil {
		m.coverage(r.GetCoverage())
	}
}

func (m *mover) coverage(c *payersv1.Coverage) {
	m.day(&c.DateOfLoss)
	if c.Authorization != nil {
		m.day(&c.Authorization.ValidTo)
		m.stamp(c.Authorization.GetGiveTime())
	}
}
