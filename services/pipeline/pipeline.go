// Package pipeline is the life of a claim, in five files: open, release, submit, post, notify.
//
// It is the only place that may hold the storage of two rooms at once, so exactly the
// transactions that span rooms are here. It calls no service and holds no transaction across the
// network: what will be sent is stored first, and what arrived is stored before it is read.
package pipeline

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"time"

	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/seal"
	"cullet/services/jobs/jobspg"
	"cullet/services/runs"
	"cullet/services/webhooks"
)

// Topics of the work queue. A key is the identifier of what the work is about.
const (
	TopicOpen  = jobspg.TopicOpen // key: job
	TopicCheck = "claim.check"    // key: claim
	TopicRun   = "run.advance"    // key: run
	TopicSend  = "batch.send"     // key: batch
	TopicPost  = "message.post"   // key: message
)

// Config is what the pipeline works with.
type Config struct {
	DB         *pg.DB
	Sealer     *seal.Ring
	Translator claims.Translator
	Formats    []claims.Format
	Channels   []claims.Channel
	Sender     webhooks.Sender
	// Now is the clock; nil means time.Now.
	Now func() time.Time
	Log *slog.Logger
}

// Pipeline moves claims. It is safe for use by many goroutines.
type Pipeline struct {
	Config
	formats  map[string]claims.Format
	channels map[string]claims.Channel
}

// New makes a pipeline.
func New(c Config) *Pipeline {
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	p := &Pipeline{Config: c, formats: map[string]claims.Format{}, channels: map[string]claims.Channel{}}
	for _, f := range c.Formats {
		p.formats[f.Name()] = f
	}
	for _, ch := range c.Channels {
		p.channels[ch.Name()] = ch
	}
	return p
}

// now is the clock in UTC, cut to the microseconds that the database keeps.
func (p *Pipeline) now() time.Time { return p.Now().UTC().Truncate(time.Microsecond) }

// claimEvent tells a change of a claim with the state after it.
func claimEvent(kind string, c claims.Claim, actor string, at time.Time, extra map[string]any) outbox.Event {
	data := map[string]any{
		"claim_id": c.ID, "claim_number": c.Number, "job_id": c.Job, "payer_id": c.Payer, "state": c.State,
		"total": c.Totals.Total, "payer_share": c.Totals.PayerShare,
	}
	for key, value := range extra {
		data[key] = value
	}
	raw, err := json.Marshal(data)
	if err != nil { // a map of plain values always marshals
		panic(fmt.Sprintf("write event %s as JSON: %v", kind, err))
	}
	return outbox.Event{ID: ident.New[ident.Event](), Type: kind, SubjectKind: "claim", SubjectID: string(c.ID),
		SubjectVersion: c.Version, OccurTime: at, Actor: actor, Data: raw}
}

// batchEvent tells that a claim moved together with the others of its batch: little is said of
// each, because a night may move a hundred thousand.
func batchEvent(kind string, c claims.Claim, batch runs.Batch, at time.Time) outbox.Event {
	data := fmt.Appendf(nil, `{"claim_id":%q,"payer_id":%q,"state":%q,"batch_id":%q,"control_number":%d}`,
		c.ID, c.Payer, c.State, batch.ID, batch.ControlNumber)
	return outbox.Event{ID: ident.New[ident.Event](), Type: kind, SubjectKind: "claim", SubjectID: string(c.ID),
		SubjectVersion: c.Version, OccurTime: at, Actor: serverActor, Data: data}
}

// stale is what a caller gets whose etag is older than what is stored.
func stale(c claims.Claim, version int) error {
	return errs.Newf(errs.Stale, "ETAG_STALE",
		"Claim %s has changed since it was read (version %d, you have %d). Read it again and repeat the change.",
		c.Number, c.Version, version).With("stored_version", fmt.Sprint(c.Version))
}
