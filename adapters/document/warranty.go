package document

import "cullet/services/invoices"

// warranty prints what the shop promises. A credit note promises nothing.
func (s *sheet) warranty() {
	text := clean(s.invoice.Seller.WarrantyText)
	if text == "" || s.invoice.Kind == invoices.KindCreditNote {
		return
	}
	s.y += 2
	s.need(16)
	s.heading("Warranty")
	s.note(bodyStyle, lead, text)
}
