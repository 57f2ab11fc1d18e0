package pg

import (
	"context"
	"time"

	"github.com/lib/pq"
)

// Listen gives a channel that wakes its reader whenever PostgreSQL notifies on the channel, and
// at least every poll, so that a lost notification or a lost connection costs at most one poll.
// Wake-ups are merged: one waiting is as good as ten. The first comes at once. The connection is
// made anew when it breaks; the returned channel is closed when ctx ends. DSN must be a direct
// connection, not a bouncer's.
func Listen(ctx context.Context, dsn, channel string, poll time.Duration) <-chan struct{} {
	wake := make(chan struct{}, 1)
	wake <- struct{}{}
	listener := pq.NewListener(dsn, 100*time.Millisecond, 5*time.Second, nil)
	go func() {
		// Listen returns only when the server took the LISTEN or the listener was closed;
		// meanwhile polling serves. Its error is the closing.
		_ = listener.Listen(channel)
	}()
	go func() {
		defer close(wake)
		defer listener.Close()
		pump(ctx, listener.Notify, wake, poll)
	}()
	return wake
}

// Listen wakes as the function Listen does, over the pool's direct connection string.
func (db *DB) Listen(ctx context.Context, channel string, poll time.Duration) <-chan struct{} {
	return Listen(ctx, db.listenDSN, channel, poll)
}

func pump(
	ctx context.Context, notified <-chan *pq.Notification, wake chan<- struct{}, poll time.Duration,
) {
	ticker := time.NewTicker(poll)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case _, open := <-notified:
			if !open {
				notified = nil
				continue
			}
		case <-ticker.C:
		}
		select {
		case wake <- struct{}{}:
		default: // a wake-up is waiting already
		}
	}
}
