package jobs

import "cullet/services/access"

// Copy is what the driver's copy of a repair tells.
type Copy struct {
	Shop access.Shop
	Job  Job
}

// CopyPrinter prints the driver's copy: one page for the motorist that says what was done, what
// remains visible, what the shop promises, and what to look out for. Nothing of the payer, of prices
// or of the technician's notes stands on it. Implementations have no state; equal input gives equal
// bytes.
type CopyPrinter interface {
	// DriversCopy prints on "LETTER" or "A4".
	DriversCopy(c Copy, paper string) ([]byte, error)
}
