package pg

import (
	"context"
	"database/sql"
	"slices"
	"sync"
	"time"
)

// wakeEvery is how often listeners are woken at most; what falls in between is merged.
const wakeEvery = 10 * time.Millisecond

// waker notifies channels beside the transactions that asked for it. A transaction that notifies
// holds a lock of the whole server while it commits, so with a NOTIFY inside them a hundred callers
// would commit one after the other, each waiting for the disk. A wake-up that is lost, with the
// program or with the connection, costs a listener one poll.
//
// It has a connection of its own, so that nobody waits for a busy pool to be woken.
type waker struct {
	own    *sql.DB
	signal chan struct{}
	cancel context.CancelFunc
	ended  chan struct{}

	mu     sync.Mutex
	wanted []string
}

func (db *DB) newWaker(o Options) (*waker, error) {
	o.Bouncer = o.Bouncer && o.ListenDSN == ""
	connector, err := newConnector(db.listenDSN, o)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(context.Background())
	w := &waker{own: sql.OpenDB(connector), signal: make(chan struct{}, 1), cancel: cancel, ended: make(chan struct{})}
	w.own.SetMaxOpenConns(1)
	w.own.SetConnMaxIdleTime(5 * time.Minute)
	go w.run(ctx)
	return w, nil
}

// ask merges: a channel that waits to be woken is not doubled.
func (w *waker) ask(channels []string) {
	if len(channels) == 0 {
		return
	}
	w.mu.Lock()
	for _, channel := range channels {
		if !slices.Contains(w.wanted, channel) {
			w.wanted = append(w.wanted, channel)
		}
	}
	w.mu.Unlock()
	select {
	case w.signal <- struct{}{}:
	default:
	}
}

func (w *waker) take() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	wanted := w.wanted
	w.wanted = nil
	return wanted
}

func (w *waker) run(ctx context.Context) {
	defer close(w.ended)
	pause := time.NewTicker(wakeEvery)
	defer pause.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-w.signal:
		}
		for _, channel := range w.take() {
			w.notify(ctx, channel)
		}
		select {
		case <-ctx.Done():
			return
		case <-pause.C:
		}
	}
}

func (w *waker) end() error {
	w.cancel()
	<-w.ended
	return w.own.Close()
}

// notify is one statement by itself; whether it is run once or twice is all the same.
func (w *waker) notify(ctx context.Context, channel string) {
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	// Nobody can be told of an error but by the poll that makes up for it.
	_, _ = w.own.ExecContext(ctx, `SELECT pg_notify($1, '')`, channel)
}

// Wake asks that whoever listens on the channel (see Listen) is woken once the transaction is
// committed. It may be repeated.
func (tx *Tx) Wake(channel string) {
	if !slices.Contains(tx.wakes, channel) {
		tx.wakes = append(tx.wakes, channel)
	}
}
