package claims

import (
	"time"

	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/jobs"
	"cullet/services/payers"
)

// Case is everything that is known about one claim when it is translated and checked.
type Case struct {
	Shop     access.Shop
	Job      jobs.Job
	Payer    payers.Payer
	Coverage payers.Coverage
	// Photos holds what is known of the record's photos, by hash; a photo that was not uploaded
	// is missing here.
	Photos map[jobs.PhotoHash]jobs.Photo
	// Earlier lists claims that were opened before this one for the same vehicle, with one of its
	// photos, or under the same authorization number.
	Earlier []EarlierClaim
	// Alike lists photos of claims that were opened before this one and that look nearly like one of
	// its own; none of a VIN plate, because plates look alike.
	Alike []AlikePhoto
	// Unfit is what the payer's format could not carry of the translation, by its place in the payload.
	Unfit []errs.Field
	// Overruled is what a person took the responsibility for on this claim.
	Overruled []Overruling
	// The numbers are empty while the claim has none yet.
	ClaimNumber   string
	InvoiceNumber string
	// InvoiceDate is a civil date; empty before release.
	InvoiceDate string
	Now         time.Time
}

// EarlierClaim is what duplicate checks need of another claim.
type EarlierClaim struct {
	ID         ident.Claim
	Number     string
	Job        ident.Job
	Payer      ident.Payer
	State      State
	VIN        string
	RepairDate string
	// AuthorizationNumber of its coverage.
	AuthorizationNumber string
	// Damages of its job, to tell the same damage from another one.
	Damages []jobs.Damage
	// PhotoHashes of its job.
	PhotoHashes []jobs.PhotoHash
}

// AlikePhoto is a photo of another claim that looks nearly like one of the case.
type AlikePhoto struct {
	// Own is the photo of the case, Other the one that it looks like, the Number-th of its record.
	Own, Other  jobs.PhotoHash
	Number      int
	ClaimNumber string
	// Bits is in how many of 64 the perceptual hashes differ.
	Bits int
}

// LikeBits is up to how many of 64 bits two perceptual hashes may differ and still be called nearly
// the same picture.
const LikeBits = 4

// Translation is a completed repair as a claim: priced, taxed and in the generic form.
type Translation struct {
	Lines  []Line
	Totals Totals
	// Payload is the generic claim payload as canonical JSON, after the published schema.
	Payload []byte
	// Findings are those of pricing and taxing; with a stop among them the lines may be missing.
	Findings []finding.Finding
}

// Translator turns a completed repair into a claim. It is pure: the same case gives the same
// translation, byte for byte, and nothing is stored or sent.
type Translator interface {
	Translate(Case) (Translation, error)
}
