package pg

import (
	"context"
	"sync/atomic"
)

// Counter counts the statements that calls under its context send. Tests use it to hold a call
// to its number of round trips.
type Counter struct{ statements atomic.Int64 }

// Statements is how many statements were sent so far, over all attempts, the setting of the
// tenant included; BEGIN and COMMIT are not counted.
func (c *Counter) Statements() int { return int(c.statements.Load()) }

func (c *Counter) add() {
	if c != nil {
		c.statements.Add(1)
	}
}

type counterKey struct{}

// WithCounter gives a context whose transactions are counted.
func WithCounter(ctx context.Context) (context.Context, *Counter) {
	c := &Counter{}
	return context.WithValue(ctx, counterKey{}, c), c
}

func counterOf(ctx context.Context) *Counter {
	c, _ := ctx.Value(counterKey{}).(*Counter)
	return c
}
