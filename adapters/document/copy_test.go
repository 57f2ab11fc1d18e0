package document_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"cullet/adapters/document"
	"cullet/services/errs"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

// visit is an invented visit: a star break repaired, a bullseye declined, a crack that spread.
func visit(t testing.TB) jobs.Copy {
	t.Helper()
	record := jobs.Record{
		ExternalReference: "V-2026-1041", TimeZone: "America/New_York", Technician: "T. Example (invented)",
		Vehicle:   jobs.Vehicle{VIN: "1HGCM82633A004352", Plate: "ABC 1234"},
		StartTime: time.Date(2026, 10, 20, 18, 5, 0, 0, time.UTC), FinishTime: time.Date(2026, 10, 21, 1, 42, 0, 0, time.UTC),
		Glass: repairability.Glass{Width: repairability.MM(1480), Height: repairability.MM(820), DriverSide: repairability.Left,
			SteeringCentre: repairability.MM(380), WiperTop: repairability.MM(610), DriverAssistance: repairability.Yes},
		Damages: []jobs.Damage{
			{Damage: repairability.Damage{Kind: repairability.StarBreak, Spread: repairability.Hundredths(3825), BodyDiameter: repairability.MM(6),
				FinishedPit: repairability.Hundredths(150), Outcome: repairability.Repaired, Place: place(380, 410)},
				Note: "SECRET NOTE",
				Process: &repairability.Process{Drilled: new(true), VacuumCycles: []int{120, 90}, PressureCycles: []int{240},
					CureOutsideSeconds: new(300), CureInsideSeconds: new(120), PitFilled: new(true)}},
			{Damage: repairability.Damage{Kind: repairability.Bullseye, BodyDiameter: repairability.MM(30), Outcome: repairability.Declined,
				Place: place(1100, 700)}},
			{Damage: repairability.Damage{Kind: repairability.Crack, CrackLength: repairability.MM(140), Outcome: repairability.SpreadDuringRepair,
				Place: place(60, 90)}},
		},
	}
	record.Coverage.PolicyNumber = "SECRET POLICY"
	job := jobs.Job{ID: "01980f3e-6a1c-7c3e-9b1a-3f1d2c4b5a69", Version: 1, Record: record, RecordTime: time.Date(2026, 10, 21, 2, 0, 0, 0, time.UTC)}
	edition, ok := repairability.Find("ROLAGS", record.RepairDay())
	if !ok {
		t.Fatal("no edition is in force on the day")
	}
	job.Assessments, _ = repairability.Assess(edition, record.Glass, record.RepairabilityDamages(), record.RepairDay())
	return jobs.Copy{Shop: shop(), Job: job}
}

func place(fromDriver, fromLower int) *repairability.Place {
	return &repairability.Place{FromDriverEdge: *repairability.MM(fromDriver), FromLowerEdge: *repairability.MM(fromLower)}
}

func copied(t testing.TB, c jobs.Copy, paper string) []byte {
	t.Helper()
	content, err := document.Printer{}.DriversCopy(c, paper)
	if err != nil {
		t.Fatal(err)
	}
	return content
}

// copies are the driver's copies whose text is kept in testdata/copies.
func copies(t testing.TB) map[string]jobs.Copy {
	all := map[string]jobs.Copy{"three": visit(t)}
	one := visit(t)
	one.Job.Record.Damages, one.Job.Assessments = one.Job.Record.Damages[:1], one.Job.Assessments[:1]
	one.Job.Record.Glass.DriverSide, one.Job.Record.Glass.DriverAssistance = repairability.Right, repairability.No
	one.Shop.WarrantyText = ""
	all["one_right_hand_drive"] = one
	bare := visit(t)
	bare.Job.Record.Glass, bare.Job.Assessments = repairability.Glass{}, nil
	for n := range bare.Job.Record.Damages {
		d := &bare.Job.Record.Damages[n]
		d.Damage = repairability.Damage{Kind: d.Kind, Outcome: d.Outcome}
		d.Process = nil
	}
	all["nothing_measured"] = bare
	return all
}

func TestDriversCopy(t *testing.T) {
	t.Parallel()
	for name, c := range copies(t) {
		for _, paper := range []string{"LETTER", "A4"} {
			t.Run(name+"/"+paper, func(t *testing.T) {
				t.Parallel()
				content := copied(t, c, paper)
				if !bytes.Equal(copied(t, c, paper), content) {
					t.Error("printed twice it has other bytes")
				}
				if n := len(pages(t, content)); n != 1 {
					t.Errorf("it has %d pages, want one", n)
				}
				text := asText(t, content)
				for _, secret := range []string{"SECRET", "$", "Lantern"} {
					if strings.Contains(text, secret) {
						t.Errorf("it says %q, which is not the motorist's", secret)
					}
				}
				golden(t, "../copies/"+name+"_"+strings.ToLower(paper)+".txt", text)
			})
		}
	}
	if _, err := (document.Printer{}).DriversCopy(visit(t), "A5"); !errs.Is(err, errs.Invalid) {
		t.Errorf("on A5: %v, want an invalid-error", err)
	}
}

// TestDriversCopyFitsOnePage: four damages of a busy visit do, twenty go on to further pages, each
// of which says which it is.
func TestDriversCopyFitsOnePage(t *testing.T) {
	t.Parallel()
	for count, want := range map[int]int{4: 1, 20: 3} {
		c := visit(t)
		for len(c.Job.Record.Damages) < count {
			c.Job.Record.Damages = append(c.Job.Record.Damages, c.Job.Record.Damages[0])
		}
		for _, paper := range []string{"LETTER", "A4"} {
			all := pages(t, copied(t, c, paper))
			if len(all) != want {
				t.Errorf("%d damages on %s: %d pages, want %d", count, paper, len(all), want)
			}
		}
	}
}

// TestDriversCopySurvivesAnyText prints whatever a person can write.
func TestDriversCopySurvivesAnyText(t *testing.T) {
	t.Parallel()
	for name, text := range hostileTexts() {
		c := visit(t)
		r := &c.Job.Record
		short := string([]rune(text)[:min(100, len([]rune(text)))])
		r.ExternalReference, r.Vehicle.Plate, r.Vehicle.UnitNumber, r.Technician = short, short, short, short
		c.Shop.Name, c.Shop.WarrantyText = short, strings.Repeat(text+" ", 3)
		if content := copied(t, c, "A4"); !bytes.HasPrefix(content, []byte("%PDF-")) {
			t.Errorf("%s: not a PDF", name)
		}
	}
}
