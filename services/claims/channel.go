package claims

import (
	"context"
	"errors"
)

// Destination is where and how one payer takes documents.
type Destination struct {
	// Address is a URL or a folder's name, as the profile says.
	Address string
	// BearerToken is empty when the payer wants none.
	BearerToken string
	// Password and PrivateKey (PEM) are for the channels that sign in; either may be empty.
	Password   string
	PrivateKey string
	// HostKeys are the keys by which the payer's server is known, as lines of an authorized_keys file.
	HostKeys []string
}

// Document is a stored document on its way: what is sent again is sent with the same bytes,
// the same name and the same control number.
type Document struct {
	ControlNumber int64
	FileName      string
	MediaType     string
	// Hash is the SHA-256 of Content in hex.
	Hash    string
	Content []byte
}

// Receipt is what the channel answered.
type Receipt struct {
	// Sentence says it in words, for a person.
	Sentence string
	// Reference is the payer's own number of the transmission; may be empty.
	Reference string
	// WasKnown tells that the payer already had this control number with these bytes.
	WasKnown bool
}

// Errors of channels. Whatever is neither is unknown: the document may have arrived, and sending
// the same bytes under the same number again is right.
var (
	// ErrRefused: the payer has the document and refuses it as it is; the same again cannot help.
	ErrRefused = errors.New("the payer refused the document")
	// ErrMisaddressed: the address may not or cannot be delivered to; somebody must mend the profile.
	ErrMisaddressed = errors.New("the payer's address cannot be delivered to")
)

// Channel delivers stored documents to one kind of place. Implementations are safe for use by
// many goroutines and hold no transaction, no claim and no secret beyond the call.
type Channel interface {
	// Name is how profiles name it, "https".
	Name() string
	// Deliver sends the document and returns when the payer has it. It may be repeated: a payer
	// that already has this control number with these bytes is a success.
	Deliver(ctx context.Context, to Destination, d Document) (Receipt, error)
	// Collect fetches answer files that wait at the destination, each with a name that is stable;
	// done is called after a file was stored. A channel that only pushes returns none.
	Collect(ctx context.Context, from Destination, store func(name string, content []byte) error) error
}
