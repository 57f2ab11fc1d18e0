package x12

import (
	"time"

	"cullet/services/claims"
)

// advices are what OTI01 says of a set (T) or an item (I): from memory.
var advices = map[string]claims.State{
	"TA": claims.Accepted, "TE": claims.Accepted, "TR": claims.Rejected,
	"IA": claims.Accepted, "IE": claims.Accepted, "IR": claims.Rejected,
}

// ignored are the segments of an 824 that say nothing about a claim's state.
var ignored = map[string]bool{"N1": true, "N2": true, "N3": true, "N4": true, "PER": true, "DTM": true, "AMT": true, "QTY": true}

// advice reads an 824: what the payer decided about single claims.
func (a *answers) advice(t *interchange) error {
	if err := t.expect("BGN"); err != nil {
		return err
	}
	at := t.groupTime
	if len(t.get(3)) > 0 {
		var err error
		if at, err = t.moment(3, 4); err != nil {
			return err
		}
	}
	var present *claims.Answer
	for {
		if err := t.next(); err != nil {
			return err
		}
		switch {
		case t.is("OTI"), t.is("SE"):
			if err := a.closeAdvice(t, present, at); err != nil {
				return err
			}
			if t.is("SE") {
				return nil
			}
			answer, err := decision(t)
			if err != nil {
				return err
			}
			present = &answer
		case present == nil && (t.is("REF") || ignored[string(t.get(0))]):
		case present == nil:
			return t.refuse(0, "X12_ORDER", "OTI belongs here")
		default:
			if err := explain(t, present); err != nil {
				return err
			}
		}
	}
}

func (a *answers) closeAdvice(t *interchange, present *claims.Answer, at time.Time) error {
	if present == nil {
		if t.is("SE") {
			return t.refuse(0, "X12_INCOMPLETE", "the 824 has no OTI, so it decides nothing")
		}
		return nil
	}
	if present.State == claims.Rejected && len(present.Reasons) == 0 {
		present.Reasons = []claims.AnswerReason{{Code: "824", Text: "rejected without a reason"}}
	}
	return a.add(t, "824", *present, at)
}

// decision reads OTI: which claim, and what became of it.
func decision(t *interchange) (claims.Answer, error) {
	var answer claims.Answer
	state, ok := advices[string(t.get(1))]
	if !ok {
		return answer, t.refuse(1, "X12_CODE", "%.10q is no decision about a claim; TA, TE, TR, IA, IE and IR are", t.get(1))
	}
	answer.State = state
	switch string(t.get(2)) {
	case refClaim:
		answer.ClaimNumber = plain(t.get(3))
	case "IV":
		answer.InvoiceNumber = plain(t.get(3))
	}
	if len(t.get(8)) > 0 {
		number, err := t.whole(8)
		if err != nil {
			return answer, err
		}
		answer.ControlNumber = number
	}
	if len(t.get(9)) > 0 && answer.ControlNumber > 0 {
		place, err := t.whole(9)
		if err != nil {
			return answer, err
		}
		if place <= 0 || place > maxSets {
			return answer, t.refuse(9, "X12_CONTROL_NUMBER", "%d is the place of no claim in a batch", place)
		}
		answer.Position = int(place)
	}
	if answer.ClaimNumber == "" && answer.InvoiceNumber == "" && answer.Position == 0 {
		return answer, t.refuse(3, "ANSWER_ABOUT_NOTHING", "it names no claim: neither an invoice (IV), nor our number (%s), nor group and set", refClaim)
	}
	return answer, nil
}

// explain reads a segment that follows a decision.
func explain(t *interchange, present *claims.Answer) error {
	switch name := string(t.get(0)); name {
	case "TED":
		place, element := plain(t.get(3)), plain(t.get(5))
		reason := claims.AnswerReason{Code: plain(t.get(1)), Text: plain(t.get(2)), Path: pathOf(place, element)}
		if given := plain(t.get(7)); given != "" {
			reason.Text += " (it was “" + given + "”)"
		}
		if reason.Code == "" && reason.Text == "" {
			return t.refuse(1, "REASON_EMPTY", "the reason has neither a code nor a text")
		}
		present.Reasons = append(present.Reasons, reason)
	case "NTE":
		if text := plain(t.get(2)); text != "" {
			present.Reasons = append(present.Reasons, claims.AnswerReason{Code: plain(t.get(1)), Text: text})
		}
	case "REF":
		if string(t.get(1)) == refLoss {
			present.PayerReference = plain(t.get(2))
		}
	default:
		if !ignored[name] {
			return t.refuse(0, "X12_UNKNOWN", "the segment is not known in an 824")
		}
	}
	return nil
}
