package book

import (
	"errors"
	"fmt"

	"cullet/cmd/payersim/internal/payer"
)

// ErrTaken: the control number is taken by other bytes.
var ErrTaken = errors.New("the control number is taken by other bytes")

// Take keeps a document, with every claim decided, and returns when it is on the disk. The same
// bytes under the same number are known and not kept again; the document as it was taken first is
// given back. Other bytes under the number fail with ErrTaken, and the first document comes with the error.
func (b *Book) Take(d Document) (taken Document, isKnown bool, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	s, ok := b.shelf[d.PayerCode]
	if !ok {
		return Document{}, false, fmt.Errorf("there is no payer %q", d.PayerCode)
	}
	if at, isThere := s.byNumber[d.ControlNumber]; isThere {
		earlier := s.documents[at]
		if earlier.Hash != d.Hash {
			return earlier, false, ErrTaken
		}
		return earlier, true, nil
	}
	d.Acknowledgement = s.payer.AcknowledgementOf(d.ControlNumber)
	for i := range d.Claims {
		s.decide(&d.Claims[i])
	}
	if err := b.write(record{Document: &d}); err != nil {
		return Document{}, false, err
	}
	return d, false, nil
}

// decide decides a claim. One that comes again after a rejection or a question was corrected; one
// that comes again without either should not have come.
func (s *shelf) decide(c *Claim) {
	earlier, isThere := s.latest[c.ClaimNumber]
	c.IsAgain = isThere && (earlier == payer.Reject || earlier == payer.Ask)
	c.IsDouble = isThere && !c.IsAgain
	decision := payer.Double()
	if !c.IsDouble {
		decision = s.payer.Decide(c.ClaimNumber, c.IsAgain)
	}
	c.Outcome, c.Reasons = decision.Outcome, decision.Reasons
	c.PayableMinorUnits = s.payer.Pays(c.Outcome, c.MinorUnits)
}
