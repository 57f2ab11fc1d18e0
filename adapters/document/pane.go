package document

import (
	"fmt"
	"strings"

	"cullet/services/jobs"
	"cullet/services/repairability"
)

// paneWidth bounds the drawing of the glass, in millimetres of paper.
const paneWidth = 84.0

// pane draws the glass to scale as the driver sees it, with the number of each damage at its place.
// Without the glass's own measures there is no drawing.
func (s *sheet) pane(r *jobs.Record) {
	width, height := r.Glass.Width, r.Glass.Height
	if width == nil || height == nil || *width <= 0 || *height <= 0 || !hasPlace(r) {
		return
	}
	scale := paneWidth / float64(*width)
	tall := float64(*height) * scale
	if tall > paneWidth {
		scale *= paneWidth / tall
		tall = paneWidth
	}
	wide := float64(*width) * scale
	s.need(tall + 8)
	top := s.y + 1
	s.pdf.SetDrawColor(ink.r, ink.g, ink.b)
	s.pdf.SetLineWidth(0.35)
	s.pdf.RoundedRect(s.left, top, wide, tall, 4, "1234", "D")
	for n := range r.Damages {
		p := r.Damages[n].Place
		if p == nil {
			continue
		}
		x := float64(p.FromDriverEdge) * scale
		if r.Glass.DriverSide == repairability.Right {
			x = wide - x
		}
		y := tall - float64(p.FromLowerEdge)*scale
		// The ring stays on the paper whatever was measured.
		s.disc(s.left+min(max(x, 0), wide), top+min(max(y, 0), tall), n+1, r.Damages[n].Outcome)
	}
	side := "the driver sits on the left"
	if r.Glass.DriverSide == repairability.Right {
		side = "the driver sits on the right"
	}
	x, y := s.left+wide+5, top+4
	for _, text := range []string{
		fmt.Sprintf("The windshield as seen from inside, drawn to scale: %s mm wide, %s mm high; %s.", *width, *height, side),
		"A full disc is a damage that was repaired, a ring one that was not.",
	} {
		y = s.paragraph(x, y, s.right-x, 3.6, smallStyle, text) + 1
	}
	s.y = max(top+tall, y) + 2
}

func hasPlace(r *jobs.Record) bool {
	for n := range r.Damages {
		if r.Damages[n].Place != nil {
			return true
		}
	}
	return false
}

// copyCautions are the usual ones, those of this glass first: common practice, no source. They defer to
// the maker, the standard and the law.
func copyCautions(job jobs.Job) []string {
	var inView, beyond []string
	for n, a := range job.Assessments {
		if n >= len(job.Record.Damages) || job.Record.Damages[n].Outcome != repairability.Repaired {
			continue
		}
		if a.InViewingArea == repairability.Yes {
			inView = append(inView, fmt.Sprint(n+1))
		}
		if a.Verdict == repairability.NotRepairable {
			beyond = append(beyond, fmt.Sprint(n+1))
		}
	}
	var all []string
	if len(inView) > 0 {
		all = append(all, "Where the driver looks through the glass: damage "+strings.Join(inView, ", ")+". If a mark that remains "+
			"disturbs your view, by night above all, tell the shop before you go on using the vehicle.")
	}
	if len(beyond) > 0 {
		a := job.Assessments[0] // all are by one standard
		all = append(all, "Repaired outside the limits of "+clean(a.Standard+" "+a.Edition)+": damage "+strings.Join(beyond, ", ")+
			". Ask the shop why it was repaired all the same.")
	}
	switch job.Record.Glass.DriverAssistance {
	case repairability.Yes:
		all = append(all, "A camera or sensor looks through this glass. Whether it must be calibrated, and whether the glass may be "+
			"repaired in front of it, is for the vehicle maker's instructions; heed any warning that the vehicle shows.")
	case repairability.Unknown, "":
		all = append(all, "Whether a camera or sensor looks through this glass was not recorded. If one does, the vehicle maker's "+
			"instructions say what it needs.")
	}
	return append(all,
		"Look at the repaired place now and then. If a line grows out of it, or your view is disturbed, have the glass judged before "+
			"you drive on; do not wait for an inspection to find it.",
		"A windshield is a safety part. The printed repair standard, the vehicle maker's instructions and local law come before "+
			"whatever stands on this page.")
}
