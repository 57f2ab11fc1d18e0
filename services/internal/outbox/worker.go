package outbox

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"math/rand/v2"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
)

// Handler does one thing for one shop. It may be called again for a thing that it has done
// already, also while an earlier call whose lease ended still runs, so its effect must be
// guarded by a key or a state. An error brings the thing back after a while, Postpone without
// counting it as a failure. The context ends when the lease was lost or the program must end.
type Handler func(ctx context.Context, shop ident.Shop, key string) error

// Postpone is what a Handler returns to be called again after d without having failed.
func Postpone(d time.Duration) error { return &postponed{wait: d} }

type postponed struct{ wait time.Duration }

func (p *postponed) Error() string { return "postponed for " + p.wait.String() }

// Options tunes a Worker. The zero value is right for short handlers.
type Options struct {
	// Concurrency is how many handlers run at once; 4 when zero.
	Concurrency int
	// Lease is after what time the work of a killed worker comes back; 15 seconds when zero. The
	// lease of a running handler is renewed, so it need not be longer than the handler.
	Lease time.Duration
	// Poll is how often to look without having been woken; 1 second when zero.
	Poll time.Duration
	// Retry is how long a thing waits after its n-th failure in a row; when nil 1 second,
	// doubling up to 1 hour, with a quarter of jitter.
	Retry func(n int) time.Duration
	// Grace is how long running handlers may go on after the context has ended; 10 seconds when
	// zero.
	Grace time.Duration
	// Log hears of failures; the default logger when nil.
	Log *slog.Logger
}

// Worker does the work of some topics. Topics share its Concurrency, so give slow ones (calls to
// others' servers) a Worker of their own.
type Worker struct {
	db       *pg.DB
	handlers map[string]Handler
	topics   []string
	options  Options
	slots    chan struct{}
}

// NewWorker makes a worker for the topics of handlers; Run starts it.
func NewWorker(db *pg.DB, o Options, handlers map[string]Handler) *Worker {
	o.Concurrency = cmp.Or(o.Concurrency, 4)
	o.Lease = cmp.Or(o.Lease, 15*time.Second)
	o.Poll = cmp.Or(o.Poll, time.Second)
	o.Grace = cmp.Or(o.Grace, 10*time.Second)
	o.Log = cmp.Or(o.Log, slog.Default())
	if o.Retry == nil {
		o.Retry = defaultRetry
	}
	slots := make(chan struct{}, o.Concurrency)
	for range o.Concurrency {
		slots <- struct{}{}
	}
	topics := slices.Sorted(maps.Keys(handlers))
	return &Worker{db: db, handlers: handlers, topics: topics, options: o, slots: slots}
}

func defaultRetry(n int) time.Duration {
	wait := time.Hour
	if n <= 12 { // 2^12 seconds are more than an hour
		wait = min(wait, time.Second<<max(n-1, 0))
	}
	return wait - time.Duration(rand.Int64N(int64(wait)/4+1))
}

// Run works until ctx ends, then waits for the handlers that run. Any number of workers may run
// in any number of processes. Trouble with the database is logged and waited out.
func (w *Worker) Run(ctx context.Context) { w.run(ctx, w.db.Listen(ctx, channel, w.options.Poll)) }

// RunTogether runs workers of one database as Run does, all woken over one connection, at the
// shortest of their polls. It returns when all have ended.
func RunTogether(ctx context.Context, workers ...*Worker) {
	if len(workers) == 0 {
		return
	}
	poll := workers[0].options.Poll
	wakes := make([]chan struct{}, len(workers))
	var running sync.WaitGroup
	for i, w := range workers {
		poll = min(poll, w.options.Poll)
		wakes[i] = make(chan struct{}, 1)
		running.Go(func() { w.run(ctx, wakes[i]) })
	}
	for range workers[0].db.Listen(ctx, channel, poll) {
		for _, wake := range wakes {
			select {
			case wake <- struct{}{}:
			default: // a wake-up is waiting already
			}
		}
	}
	for _, wake := range wakes {
		close(wake)
	}
	running.Wait()
}

func (w *Worker) run(ctx context.Context, wake <-chan struct{}) {
	working, endGrace := context.WithCancelCause(context.WithoutCancel(ctx))
	defer endGrace(nil)
	stop := context.AfterFunc(ctx, func() {
		time.AfterFunc(w.options.Grace, func() { endGrace(errors.New("the program ends")) })
	})
	defer stop()
	var running sync.WaitGroup
	defer running.Wait()
	for range wake {
		for w.round(ctx, working, &running) {
		}
	}
}

// round takes as much work as there are free slots, at least waiting for one; it tells whether
// there may be more.
func (w *Worker) round(ctx, working context.Context, running *sync.WaitGroup) (more bool) {
	free := w.takeSlots(ctx)
	if free == 0 {
		return false
	}
	claimed, err := claimDue(ctx, w.db, w.topics, w.options.Lease, free)
	if err != nil && ctx.Err() == nil {
		w.options.Log.Warn("work cannot be claimed", "error", err)
	}
	for range free - len(claimed) {
		w.slots <- struct{}{}
	}
	for _, l := range claimed {
		running.Go(func() {
			defer func() { w.slots <- struct{}{} }()
			w.work(working, l)
		})
	}
	return len(claimed) == free
}

func (w *Worker) takeSlots(ctx context.Context) (n int) {
	select {
	case <-ctx.Done():
		return 0
	case <-w.slots:
		n = 1
	}
	for n < w.options.Concurrency {
		select {
		case <-w.slots:
			n++
		default:
			return n
		}
	}
	return n
}

var errLeaseLost = errors.New("the lease was lost")

// work runs the handler under a lease that is renewed, and writes down what came of it.
func (w *Worker) work(ctx context.Context, l lease) {
	handling, cancel := context.WithCancelCause(ctx)
	var renewing sync.WaitGroup
	renewing.Go(func() { w.keep(handling, cancel, l) })
	err := w.call(handling, l)
	lost := context.Cause(handling) == errLeaseLost
	cancel(nil)
	renewing.Wait()
	if lost {
		w.options.Log.Warn("work was taken over by another worker", l.attrs()...)
		return
	}
	// What came of it is written even when the program ends: the handler has had its effect.
	ctx, done := context.WithTimeout(context.WithoutCancel(ctx), w.options.Lease)
	defer done()
	if err := w.settle(ctx, l, err); err != nil {
		w.options.Log.Warn("the end of work cannot be written, it will be done again",
			append(l.attrs(), "error", err)...)
	}
}

func (w *Worker) settle(ctx context.Context, l lease, err error) error {
	var later *postponed
	switch {
	case err == nil:
		return l.finish(ctx, w.db)
	case errors.As(err, &later):
		return l.putBack(ctx, w.db, later.wait, nil)
	}
	w.options.Log.Warn("work failed", append(l.attrs(), "attempts", l.Attempts+1, "error", err)...)
	reason := reasonOf(err)
	return l.putBack(ctx, w.db, w.options.Retry(l.Attempts+1), &reason)
}

// call runs the handler; a panic of one thing must not stop the others.
func (w *Worker) call(ctx context.Context, l lease) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	return w.handlers[l.Topic](ctx, l.Shop, l.Key)
}

// keep renews the lease until ctx ends, and ends the handler when it is lost.
func (w *Worker) keep(ctx context.Context, cancel context.CancelCauseFunc, l lease) {
	ticker := time.NewTicker(w.options.Lease / 3)
	defer ticker.Stop()
	renewed := time.Now()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
		held, err := l.renew(ctx, w.db, w.options.Lease)
		switch {
		case err == nil && held:
			renewed = time.Now()
		case err == nil || time.Since(renewed) > w.options.Lease:
			cancel(errLeaseLost)
			return
		}
	}
}

func (l lease) attrs() []any {
	return []any{"topic", l.Topic, "key", l.Key, "shop", l.Shop}
}

// reasonOf gives the stable code of an error. Its message stays in the log: it may name what the
// work table, which has no row-level security, must not know.
func reasonOf(err error) string {
	var known *errs.Error
	switch {
	case errors.As(err, &known):
		return known.Reason
	case errors.Is(err, context.DeadlineExceeded):
		return "DEADLINE_EXCEEDED"
	case errors.Is(err, context.Canceled):
		return "CANCELLED"
	}
	return "INTERNAL"
}
