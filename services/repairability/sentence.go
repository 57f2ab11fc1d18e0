package repairability

import "fmt"

// senseWords are how a sentence names what is allowed.
var senseWords = map[Sense]string{
	AtMost: "at most", Below: "less than", AtLeast: "at least", Beyond: "more than",
}

// noOther is the value of a distance to something that is not there.
const noOther = "no other"

// sentence says in words what the reason holds in fields.
func (l Limit) sentence(s Standard, zone Zone, r Reason) string {
	if r.Value == noOther {
		return "There is no other repair on the glass."
	}
	what, allowed := measureWords[l.Measure], senseWords[l.Sense]+" "+l.Printed
	if len(l.Zones) > 0 {
		what += " in zone \"" + zone.Name + "\""
	}
	switch r.Result {
	case Missing:
		if r.Value != "" {
			return what + " is " + r.Value + "; " + allowed + " is allowed, so it has to be measured."
		}
		return what + " was not measured; " + allowed + " is allowed."
	case Condition:
		return what + ": measure it after the repair; " + allowed + " is allowed."
	case AtLimit:
		return what + " is " + r.Value + ", at the limit of " + l.Printed + ": between the printed value and its exact" +
			" conversion (" + l.Value.String() + " and " + l.Exact.String() + " mm). The technician confirms."
	case Over:
		if s.Purpose == ForUse {
			return what + " is " + r.Value + "; a vehicle in use is allowed " + allowed +
				". After the repair no more than that may remain visible."
		}
		return what + " is " + r.Value + "; " + allowed + " is allowed."
	}
	return what + " is " + r.Value + ", within the limit: " + allowed + "."
}

// mayReach is the caution about a crack whose middle lies outside of an area that its ends may
// run into.
func mayReach(s Standard, zone string) Reason {
	return Reason{Code: "CRACK-MAY-REACH", Result: Advice, Clause: "zone " + zone, Field: "place",
		Sentence: fmt.Sprintf("The middle of the crack lies outside of zone %q, its ends may run into it."+
			" The technician confirms that they do not.", zone), Source: s.Source}
}
