// Package repairability holds the published repair standards for laminated automotive glass as
// dated facts, and assesses one damage of one glass against one of them.
//
// Everything here is a pure function of its arguments: nothing is stored, nothing is asked of
// the clock. A standard is a row of data (edition, clauses, printed values with their unit, how
// well each is known, from which day to which); the code only compares. What was not measured is
// never guessed in favour of a repair: the assessment then says that it cannot be said, and which
// reading is missing.
//
// The package refuses to decide. A windshield is a safety part: see Caution, which every screen
// and every answer that shows a verdict carries beside it.
package repairability

// Caution is the sentence that stands wherever a verdict is shown: on screens, in the API's
// answers and on printed papers.
const Caution = "A windshield is a safety part. This assessment supports the decision of a trained" +
	" technician and does not replace it: the printed repair standard, the vehicle maker's" +
	" instructions (driver-assistance cameras above all), local law and licensed practice come first."
