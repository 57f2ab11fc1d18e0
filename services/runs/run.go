// Package runs is what leaves the house in a night and what comes back: runs, batches with
// their very bytes and control numbers, receipts, and the inbox of raw answers.
//
// It refuses to forget: what will be sent is stored before it is sent, and what arrives is
// stored before it is understood.
package runs

import (
	"time"

	"cullet/services/ident"
	"cullet/services/money"
)

// RunState is where a run stands.
type RunState string

// The states of a run.
const (
	Running    RunState = "RUNNING"
	Finished   RunState = "FINISHED"
	Incomplete RunState = "INCOMPLETE"
)

// Run is one nightly run of one shop.
type Run struct {
	ID           ident.Run
	Shop         ident.Shop
	BusinessDate string
	State        RunState
	StartTime    time.Time
	FinishTime   *time.Time
	// Fence grows with every runner that takes the run over; a runner with an older one is refused.
	Fence         int64
	ReleasedCount int
	SentCount     int
	SentTotal     money.Amount
	HeldReasons   []string
}

// BatchState is where a batch stands.
type BatchState string

// The states of a batch.
const (
	// Built: stored with its bytes, not known to have arrived.
	Built BatchState = "BUILT"
	// Sent: the payer has it; the receipt is stored.
	Sent BatchState = "SENT"
	// Failed: refused by the payer or misaddressed; a person must look.
	Failed BatchState = "FAILED"
)

// Batch is one document for one payer.
type Batch struct {
	ID            ident.Batch
	Shop          ident.Shop
	Run           ident.Run
	Payer         ident.Payer
	PayerName     string
	ControlNumber int64
	State         BatchState
	ClaimCount    int
	Total         money.Amount
	Format        string
	Channel       string
	FileName      string
	MediaType     string
	// Hash is the SHA-256 of the document in hex.
	Hash         string
	SizeBytes    int64
	AttemptCount int
	LastAnswer   string
	BuildTime    time.Time
	SendTime     *time.Time
	NextAttempt  *time.Time
}

// MessageState is what came of an inbound message.
type MessageState string

// The states of a message.
const (
	Received     MessageState = "RECEIVED"
	Posted       MessageState = "POSTED"
	UnknownClaim MessageState = "UNKNOWN_CLAIM"
	Refused      MessageState = "REFUSED"
)

// Message is what a payer sent, raw.
type Message struct {
	ID        ident.Message
	Shop      ident.Shop
	Payer     ident.Payer
	PayerName string
	// ExternalID is the sender's own number of the message; the same one is stored once.
	ExternalID string
	// Via is "webhook" or the channel that fetched it.
	Via         string
	State       MessageState
	ReceiveTime time.Time
	Sentence    string
	Body        []byte
}
