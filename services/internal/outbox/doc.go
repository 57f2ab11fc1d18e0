// Package outbox writes what others must learn or do into the transaction of the change itself:
// events (the timeline and the source of webhooks), audit entries, and work for later. A Worker
// takes the work from there.
//
// It refuses to tell anything that was not committed, to lose anything that was, and to order
// work by a sequence: values of a sequence become visible out of order, so rows are claimed by
// their own state with FOR UPDATE SKIP LOCKED. Work is done at least once, so handlers must bear
// repetition; the work table has no row-level security and takes no personal data.
package outbox
