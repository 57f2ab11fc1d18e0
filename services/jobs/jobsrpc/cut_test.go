package jobsrpc_test

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"cullet/adapters"
	"cullet/adapters/photostore"
	jobsv1 "cullet/proto/cullet/jobs/v1"
	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/access/accessrpc"
	"cullet/services/client"
	"cullet/services/errs"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/cutproxy"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/internal/rpc"
	"cullet/services/internal/seal"
	"cullet/services/jobs/jobsrpc"
	"cullet/services/server/servertest"
)

// room is this room alone behind the guard. Its database is reached through a proxy; that of the
// keys is not, so that only what the room itself sends is cut and counted.
type room struct {
	*pgtest.World
	*client.Client
	proxy *cutproxy.Proxy
	// statements is how many the last unary call sent.
	statements atomic.Int64
}

func openRoom(t *testing.T) *room {
	t.Helper()
	r := &room{World: pgtest.New(t)}
	_, secret, err := accesspg.Bootstrap(t.Context(), r.DB, servertest.Shop(), "owner", now)
	if err != nil {
		t.Fatal(err)
	}
	r.proxy = cutproxy.StartKeeping(t, r.RuntimeDSN)
	store, err := photostore.Open(t.TempDir(), servertest.Sealer(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() })
	ring, err := seal.ParseRing("00000001:" + strings.Repeat("5a", 32))
	if err != nil {
		t.Fatal(err)
	}
	clock := func() time.Time { return now }
	guard := rpc.NewGuard(accessrpc.NewAuthenticator(r.DB, clock), slog.New(slog.DiscardHandler), nil)
	s := grpc.NewServer(append(guard.Options(), grpc.ChainUnaryInterceptor(r.count))...)
	jobsv1.RegisterJobServiceServer(s, jobsrpc.New(r.Open(r.proxy.DSN(), pg.Options{MaxOpen: 1, ListenDSN: r.RuntimeDSN}), ring, nil, clock, store, 1<<30,
		func(ctx context.Context, tx *pg.Tx) (access.Shop, error) { return accesspg.GetShop(ctx, tx) }, nil, adapters.Intakes()...))
	guard.Serve(s.GetServiceInfo(), jobsrpc.Limits())
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- s.Serve(listener) }()
	t.Cleanup(func() { s.Stop(); <-served })
	r.Client, err = client.Dial(t.Context(), client.Config{Address: listener.Addr().String(), Key: string(secret)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.Client.Close() })
	return r
}

func (r *room) count(ctx context.Context, req any, _ *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	ctx, counter := pg.WithCounter(ctx)
	defer func() { r.statements.Store(int64(counter.Statements())) }()
	return handler(ctx, req)
}

// own is the record for this room's shop, which has no payers.
func own(t testing.TB, reference string) *jobsv1.RepairRecord {
	return with(record(t, reference), func(m *jobsv1.RepairRecord) { m.Coverage = nil })
}

// TestStatements holds intake to its round trips: the tenant is set, one write; a look before it when
// nothing is known of the shop yet, and after it when something stood in the way.
func TestStatements(t *testing.T) {
	t.Parallel()
	r := openRoom(t)
	photo, err := upload(t.Context(), r.Client, &jobsv1.PhotoDescription{}, file(t, before), 64<<10)
	if err != nil {
		t.Fatal(err)
	}
	m := with(own(t, "V-1"), func(m *jobsv1.RepairRecord) {
		m.Photos = []*jobsv1.PhotoReference{named(photo.GetPhotoHash(), 1)}
	})
	ask := func(name, id string, m *jobsv1.RepairRecord, want int64, isRefused bool) {
		t.Helper()
		_, err := r.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: m, RequestId: id})
		if (err != nil) != isRefused {
			t.Errorf("%s: %v", name, err)
		}
		if got := r.statements.Load(); got != want {
			t.Errorf("%s took %d statements, want %d", name, got, want)
		}
	}
	ask("the shop's first record", "r-0", with(m, func(m *jobsv1.RepairRecord) { m.ExternalReference = "V-0" }), 3, false)
	ask("a fresh record", "r-1", m, 2, false)
	ask("the same request", "r-1", m, 4, false)
	ask("the same record", "r-2", m, 5, false) // its answer is kept too
	ask("the same request of the same record", "r-2", m, 4, false)
	ask("a faulty record", "r-3", with(m, func(m *jobsv1.RepairRecord) { m.TimeZone = "Ohio" }), 2, true)
}

// TestRecordCut cuts the connection behind every message of the database.
func TestRecordCut(t *testing.T) {
	t.Parallel()
	r := openRoom(t)
	r.everywhere(t, func(t *testing.T, n int) func() (proto.Message, error) {
		request := &jobsv1.RecordJobRequest{Record: own(t, fmt.Sprintf("V-%d", n)), RequestId: fmt.Sprintf("r-%d", n)}
		return func() (proto.Message, error) { return r.Jobs.RecordJob(t.Context(), request) }
	}, func(t *testing.T, n int) {
		for table, want := range map[string]int{"jobs": n + 1, "requests": n + 1, "events": n + 1, "work": n + 1} {
			if got := r.Count(table); got != want {
				t.Errorf("cut %d: %d rows in %s, want %d", n, got, table, want)
			}
		}
	})
}

func TestAmendCut(t *testing.T) {
	t.Parallel()
	r := openRoom(t)
	r.everywhere(t, func(t *testing.T, n int) func() (proto.Message, error) {
		made, err := r.Jobs.RecordJob(t.Context(), &jobsv1.RecordJobRequest{Record: own(t, fmt.Sprintf("V-%d", n))})
		if err != nil {
			t.Fatal(err)
		}
		request := amendment(t, made.GetJob())
		request.RequestId = fmt.Sprintf("a-%d", n)
		return func() (proto.Message, error) { return r.Jobs.AmendJob(t.Context(), request) }
	}, func(t *testing.T, n int) {
		for table, want := range map[string]int{"jobs": 2 * (n + 1), "requests": 2 * (n + 1), "events": 2 * (n + 1), "work": n + 1} {
			if got := r.Count(table); got != want {
				t.Errorf("cut %d: %d rows in %s, want %d", n, got, table, want)
			}
		}
	})
}

func TestUploadCut(t *testing.T) {
	t.Parallel()
	r := openRoom(t)
	content := file(t, before)
	r.everywhere(t, func(t *testing.T, _ int) func() (proto.Message, error) {
		return func() (proto.Message, error) {
			return upload(t.Context(), r.Client, &jobsv1.PhotoDescription{PhotoHash: sum(content)}, content, 64<<10)
		}
	}, func(t *testing.T, n int) {
		if photos, work := r.Count("photos"), r.Count("work"); photos != 1 || work != 1 {
			t.Errorf("cut %d: %d photos and %d sweeps, want 1 of each", n, photos, work)
		}
		var counted int64
		if r.Get(&counted, `SELECT used_bytes FROM photo_usage`); counted != int64(len(content)) {
			t.Errorf("cut %d: %d bytes are counted, want the photo's %d once", n, counted, len(content))
		}
	})
}

// everywhere makes a call for n = 0, 1, 2, ... with the n-th message of the database cut, until there
// is no n-th. A cut call answers or is to be sent again, and its repetition gives the first answer;
// check then looks at what was stored.
func (r *room) everywhere(t *testing.T, prepare func(*testing.T, int) func() (proto.Message, error), check func(*testing.T, int)) {
	t.Helper()
	for n := 0; ; n++ {
		call := prepare(t, n)
		r.proxy.CutServer(n)
		first, err := call()
		wasCut := r.proxy.Disarm()
		if err != nil && !errs.Is(err, errs.Unavailable) {
			t.Fatalf("cut %d: %v, want an answer or Unavailable", n, err)
		}
		again, failure := call()
		if failure != nil {
			t.Fatalf("cut %d, sent again: %v", n, failure)
		}
		if diff := cmp.Diff(first, again, protocmp.Transform()); err == nil && diff != "" {
			t.Errorf("cut %d, sent again (-first +again):\n%s", n, diff)
		}
		check(t, n)
		if !wasCut {
			if n < 10 {
				t.Errorf("only %d messages were cut", n)
			}
			return
		}
	}
}
