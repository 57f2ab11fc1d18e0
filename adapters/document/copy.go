package document

import (
	"fmt"
	"strings"

	"cullet/services/invoices"
	"cullet/services/jobs"
	"cullet/services/repairability"
)

var _ jobs.CopyPrinter = Printer{}

// DriversCopy prints the driver's copy of a repair on "LETTER" or "A4": one page for up to four
// damages. It fails with errs.Invalid on any other paper; equal input gives equal bytes.
func (Printer) DriversCopy(c jobs.Copy, paper string) ([]byte, error) {
	size, err := sizeOf(paper)
	if err != nil {
		return nil, err
	}
	record := &c.Job.Record
	s := newSheet(size, about{shop: clean(c.Shop.Name), name: clean("Driver's copy " + record.ExternalReference),
		subject: "Repair of the windshield, vehicle " + clean(record.Vehicle.VIN), at: c.Job.RecordTime})
	s.letterhead(invoices.SellerOf(c.Shop), "Driver’s copy", copyFacts(record))
	s.y += 3
	s.note(face(saysStyle, ""), 6, copySays(record))
	s.pane(record)
	s.y += 1.5
	s.heading("What was done, and what remains")
	for n := range record.Damages {
		s.damage(n+1, &record.Damages[n], assessmentOf(c.Job, n))
	}
	if text := clean(c.Shop.WarrantyText); text != "" {
		s.y += 2
		s.need(16)
		s.heading("Warranty")
		s.note(bodyStyle, lead, text)
	}
	s.y += 2
	s.need(16)
	s.heading("Please look out for this")
	for _, caution := range copyCautions(c.Job) {
		s.note(cautionStyle, 3.8, caution)
	}
	return s.output()
}

func assessmentOf(job jobs.Job, n int) repairability.Assessment {
	if n < len(job.Assessments) {
		return job.Assessments[n]
	}
	return repairability.Assessment{}
}

func copyFacts(r *jobs.Record) [][2]string {
	facts := [][2]string{{"Repaired on", shortDay(r.RepairDate())}, {"Reference", clean(r.ExternalReference)},
		{"VIN", clean(r.Vehicle.VIN)}}
	for _, fact := range [][2]string{{"Plate", r.Vehicle.Plate}, {"Unit", r.Vehicle.UnitNumber}, {"Technician", r.Technician}} {
		if text := clean(fact[1]); text != "" {
			facts = append(facts, [2]string{fact[0], text})
		}
	}
	return facts
}

// copySays tells in a sentence how the visit went.
func copySays(r *jobs.Record) string {
	repaired, spread := 0, 0
	for _, d := range r.Damages {
		switch d.Outcome {
		case repairability.Repaired:
			repaired++
		case repairability.SpreadDuringRepair:
			spread++
		}
	}
	day := longDay(r.RepairDate())
	of := fmt.Sprintf("%d of %d damages in your windshield were", repaired, len(r.Damages))
	switch {
	case len(r.Damages) == 1 && repaired == 1:
		of = "The damage in your windshield was"
	case repaired == len(r.Damages):
		of = fmt.Sprintf("All %d damages in your windshield were", repaired)
	case repaired == 1:
		of = fmt.Sprintf("One of %d damages in your windshield was", len(r.Damages))
	case repaired == 0:
		of = "Nothing in your windshield was"
	}
	text := of + " repaired on " + day + "."
	switch {
	case spread == 1:
		text += " One spread while it was being repaired."
	case spread > 1:
		text += fmt.Sprintf(" %d spread while they were being repaired.", spread)
	}
	return text
}

// damage prints one damage: what it was, what was done, what remains.
func (s *sheet) damage(number int, d *jobs.Damage, a repairability.Assessment) {
	left, width := s.left+8, s.right-s.left-8
	what := s.wrap(boldStyle, damageName(d)+placeOf(d), width)
	done := s.wrap(bodyStyle, strings.Join([]string{doneTo(d, a), remainsOf(d)}, " "), width)
	s.need(3 + lead*float64(len(what)+len(done)))
	y := s.y + 4
	s.disc(s.left+2.4, y-1.2, number, d.Outcome)
	for _, text := range what {
		s.text(left, y, boldStyle, text)
		y += lead
	}
	for _, text := range done {
		s.text(left, y, bodyStyle, text)
		y += lead
	}
	s.y = y - lead + 2
	s.rule(s.left, s.right, s.y, 0.12, hair)
}

// disc prints a damage's number in a ring, filled when it was repaired.
func (s *sheet) disc(x, y float64, number int, outcome repairability.Outcome) {
	st := style{"data", "B", 7.5, edge}
	mode := "D"
	if outcome == repairability.Repaired {
		st.colour, mode = colour{255, 255, 255}, "DF"
	}
	s.pdf.SetDrawColor(edge.r, edge.g, edge.b)
	s.pdf.SetFillColor(edge.r, edge.g, edge.b)
	s.pdf.SetLineWidth(0.3)
	s.pdf.Circle(x, y, 2.1, mode)
	s.use(st)
	text := fmt.Sprint(number)
	s.text(x-s.pdf.GetStringWidth(text)/2, y+0.95, st, text)
}

var kindNames = map[repairability.Kind]string{
	repairability.Bullseye: "Bullseye", repairability.HalfMoon: "Half-moon", repairability.StarBreak: "Star break",
	repairability.CombinationBreak: "Combination break", repairability.SurfacePit: "Surface pit", repairability.Crack: "Crack",
}

// damageName is the kind with its largest size: "Star break, 38.25 mm across".
func damageName(d *jobs.Damage) string {
	name := kindNames[d.Kind]
	if d.Kind == repairability.Crack && d.CrackLength != nil {
		return name + ", " + d.CrackLength.String() + " mm long"
	}
	var across *repairability.Length
	for _, length := range []*repairability.Length{d.BodyDiameter, d.Spread, d.PitDiameter} {
		if length != nil && (across == nil || *length > *across) {
			across = length
		}
	}
	if across == nil {
		return name
	}
	return name + ", " + across.String() + " mm across"
}

func placeOf(d *jobs.Damage) string {
	if d.Place == nil {
		return ""
	}
	return fmt.Sprintf("; %s mm from the driver’s edge, %s mm above the lower edge", d.Place.FromDriverEdge, d.Place.FromLowerEdge)
}

// doneTo says what was done, of which only what was read is told.
func doneTo(d *jobs.Damage, a repairability.Assessment) string {
	switch d.Outcome {
	case repairability.Declined:
		return "Not repaired." + whyDeclined(a)
	case repairability.SpreadDuringRepair:
		return "It spread while it was being repaired."
	case "":
		return "Not repaired yet."
	}
	said := []string{"Repaired."}
	if p := d.Process; p != nil {
		if p.Drilled != nil && *p.Drilled {
			said = append(said, "The pit was opened with a drill.")
		}
		said = append(said, cycles("Air was drawn out", p.VacuumCycles), cycles("Resin was pressed in", p.PressureCycles))
		if cured := seconds(p.CureOutsideSeconds) + seconds(p.CureInsideSeconds); cured > 0 {
			said = append(said, fmt.Sprintf("It was cured under ultraviolet light for %d s.", cured))
		}
		if p.PitFilled != nil && *p.PitFilled {
			said = append(said, "The pit was filled and finished.")
		}
	}
	return strings.Join(strings.Fields(strings.Join(said, " ")), " ")
}

func cycles(what string, each []int) string {
	total := 0
	for _, n := range each {
		total += n
	}
	switch {
	case total <= 0:
		return ""
	case len(each) == 1:
		return fmt.Sprintf("%s for %d s.", what, total)
	}
	return fmt.Sprintf("%s in %d cycles, %d s in all.", what, len(each), total)
}

func seconds(n *int) int {
	if n == nil {
		return 0
	}
	return *n
}

// whyDeclined gives the rule that decided, in the standard's name.
func whyDeclined(a repairability.Assessment) string {
	for _, reason := range a.Reasons {
		if reason.Result == repairability.Over {
			return " " + clean(reason.Sentence)
		}
	}
	return ""
}

// remainsOf says what the driver will still see: that a mark can remain is common practice, no source.
func remainsOf(d *jobs.Damage) string {
	switch d.Outcome {
	case repairability.Repaired:
		if d.FinishedPit != nil && *d.FinishedPit > 0 {
			return "A faint mark and the filled pit, " + d.FinishedPit.String() + " mm across, can remain visible."
		}
		return "A faint mark can remain visible."
	case repairability.SpreadDuringRepair:
		return "The damage remains, larger than before. Ask the shop about replacing the glass before you drive on."
	}
	return "The damage remains as it is."
}
