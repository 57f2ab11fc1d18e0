package server_test

import (
	"fmt"
	"math"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/testing/protocmp"

	"cullet/adapters"
	"cullet/adapters/document"
	"cullet/adapters/outbound"
	"cullet/adapters/payload"
	"cullet/adapters/photostore"
	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/access/accesspg"
	"cullet/services/client"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/cutproxy"
	"cullet/services/internal/pg/pgtest"
	"cullet/services/internal/seal"
	"cullet/services/pipeline"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/tax"
)

// cutHouse is every room behind the guard, twice over one database. To the first, one connection
// leads through a proxy, and nothing but the call under test uses it: so a call is the same messages
// each time, and each of them can be cut. With the second, past the proxy, the test prepares what a
// call needs; what workers would do is done by line.
type cutHouse struct {
	*pgtest.World
	*client.Client
	shop  ident.Shop
	key   string
	conn  *grpc.ClientConn
	proxy *cutproxy.Proxy
	pool  *pg.DB
	line  *pipeline.Pipeline
	// made counts what was prepared, so that each call has things of its own.
	made int
	// stock are claims that were released together, back those that the payer rejected together.
	stock []*claimsv1.ReleaseResult
	back  []string
	// payer is the insurer on whom claims are; its folder is below folders.
	payer, folders string
}

// ticking is a clock that never says the same twice: an answer that is made anew shows.
func ticking() func() time.Time {
	var ticks atomic.Int64
	start := time.Date(2026, 10, 20, 19, 0, 0, 0, time.UTC)
	return func() time.Time { return start.Add(time.Duration(ticks.Add(1)) * time.Millisecond) }
}

func openCutHouse(t *testing.T) *cutHouse {
	t.Helper()
	h := &cutHouse{World: pgtest.New(t), folders: t.TempDir()}
	now := ticking()
	shop, secret, err := accesspg.Bootstrap(t.Context(), h.DB, servertest.Shop(), "owner", now())
	if err != nil {
		t.Fatal(err)
	}
	h.shop, h.key = shop, string(secret)
	h.Exec(measured())
	master, err := seal.Generate()
	if err != nil {
		t.Fatal(err)
	}
	ring, err := seal.ParseRing(master)
	if err != nil {
		t.Fatal(err)
	}
	photos, err := photostore.Open(t.TempDir(), servertest.Sealer(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = photos.Close() })
	outside := server.Outside{Photos: photos, Translator: payload.Translator{Book: tax.Shipped()}, Formats: adapters.Formats(),
		Channels:          adapters.Channels(adapters.ChannelOptions{Folders: h.folders}),
		RemittanceFormats: adapters.RemittanceFormats(), InvoiceWriters: adapters.InvoiceWriters(), Document: document.Printer{},
		CheckURL: func(url string) error { _, err := outbound.CheckURL(url); return err }}
	h.line = pipeline.New(pipeline.Config{DB: h.DB, Sealer: ring, Translator: outside.Translator, Formats: outside.Formats,
		Channels: outside.Channels, Now: now})
	h.proxy = cutproxy.StartKeeping(t, h.RuntimeDSN)
	h.pool = h.Open(h.proxy.DSN(), pg.Options{MaxOpen: 1, ListenDSN: h.RuntimeDSN})
	h.conn = connect(t, server.ServeRooms(server.Config{Now: now}, outside, ring, h.pool, h.DB))
	h.Client = client.Over(connect(t, server.ServeRooms(server.Config{Now: now}, outside, ring, h.DB, h.DB)), h.key)
	h.furnish(t)
	return h
}

// connect serves until the test ends. The client repeats nothing: what the server answers first is
// what the test looks at.
func connect(t *testing.T, s *grpc.Server) *grpc.ClientConn {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- s.Serve(listener) }()
	t.Cleanup(func() { s.Stop(); <-served })
	conn, err := grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// change is a call that changes something.
type change struct {
	// method is its full name, "/cullet.claims.v1.ClaimService/AddNote".
	method string
	// when tells this way of calling it from others; empty when there is one.
	when string
	// prepare makes what the call is about, anew for each call, and gives the request.
	prepare func(t *testing.T, h *cutHouse) proto.Message
	// effect is all that one call does.
	effect effect
}

func (c change) name() string {
	_, short, _ := strings.Cut(strings.TrimPrefix(c.method, "/"), "/")
	return strings.TrimSpace(short + " " + c.when)
}

// effect is by how much numbers of the database grow: the rows of a table, or one of figures. What is
// not named stays as it is.
type effect map[string]int64

// figures show that rows were changed, and how often: each is the rest of a SELECT.
var figures = map[string]string{
	"claims.version":             "sum(version) FROM claims",
	"disputes.closed":            "count(close_time) FROM disputes",
	"claims.held":                "count(*) FROM claims WHERE hold_reason <> ''",
	"endpoints.active":           "count(*) FROM endpoints WHERE state = 'ACTIVE'",
	"endpoints.previous":         "count(previous_secret) FROM endpoints",
	"endpoints.version":          "sum(version - 1) FROM endpoints",
	"deliveries.dead":            "count(*) FROM deliveries WHERE state = 'DEAD'",
	"keys.revoked":               "count(revoke_time) FROM keys",
	"number_series.next_number":  "sum(next_number) FROM number_series",
	"payers.version":             "sum(version) FROM payers",
	"receivables.transferred":    "sum(abs(transferred_amount)) FROM receivables",
	"receivables.open_amount":    "sum(open_amount) FROM receivables",
	"remittance_lines.allocated": "sum(allocated) FROM remittance_lines",
	"shops.version":              "sum(version) FROM shops",
	"work.generation":            "sum(generation) FROM work",
}

// measured asks for all numbers at once. It is a function of the database, whose plan is made once.
func measured() string {
	var parts []string
	for table := range pg.Owners {
		parts = append(parts, fmt.Sprintf("SELECT '%s', count(*) FROM %[1]s", table))
	}
	for name, figure := range figures {
		parts = append(parts, fmt.Sprintf("SELECT '%s', coalesce((SELECT %s), 0)::bigint", name, figure))
	}
	return `CREATE FUNCTION measured() RETURNS TABLE (name text, number bigint) LANGUAGE plpgsql AS $$
BEGIN RETURN QUERY ` + strings.Join(parts, " UNION ALL ") + `; END $$`
}

func (h *cutHouse) measure() effect {
	var rows []struct {
		Name   string `db:"name"`
		Number int64  `db:"number"`
	}
	h.Select(&rows, `SELECT name, number FROM measured()`)
	all := effect{}
	for _, r := range rows {
		all[r.Name] = r.Number
	}
	return all
}

// since gives what has grown.
func (e effect) since(before effect) effect {
	grown := effect{}
	for name, number := range e {
		if number != before[name] {
			grown[name] = number - before[name]
		}
	}
	return grown
}

// place is behind how many messages a call is cut.
type place int

// uncut is behind the end of every call.
const uncut place = math.MaxInt

func (p place) String() string {
	if p == uncut {
		return "not cut"
	}
	return fmt.Sprint("cut ", int(p))
}

// everywhere makes the call as often as it has messages of PostgreSQL, and each time loses another
// of them, and the connection with it.
func (h *cutHouse) everywhere(t *testing.T, c change) {
	t.Helper()
	h.warm(t, c)
	h.round(t, c, uncut)
	length, atFirst := h.proxy.Passed(), h.pool.Stats().UnknownCommits
	if length < 10 {
		t.Fatalf("the call has %d messages, which is too few to prove anything", length)
	}
	for n := range place(length) {
		unknown := h.pool.Stats().UnknownCommits
		if !h.round(t, c, n) {
			t.Errorf("%v: the call ended before, and it has %d messages", n, length)
		}
		if h.pool.Stats().UnknownCommits > unknown {
			h.warm(t, c)
		}
	}
	if h.round(t, c, place(length)) {
		t.Errorf("the call is longer than the %d messages that were cut", length)
	}
	if h.pool.Stats().UnknownCommits == atFirst {
		t.Error("no cut ever hid whether the call was done")
	}
}

// warm makes the call so that the connection has its statements prepared, as it has not when it is
// new, or when the call before was only asked for its first answer.
func (h *cutHouse) warm(t *testing.T, c change) {
	t.Helper()
	if _, err := h.call(t, c.method, h.request(t, c)); err != nil {
		t.Fatal(err)
	}
}

// request prepares the next call, with a request id of its own.
func (h *cutHouse) request(t *testing.T, c change) proto.Message {
	t.Helper()
	request := c.prepare(t, h).ProtoReflect()
	request.Set(request.Descriptor().Fields().ByName("request_id"), protoreflect.ValueOfString(fmt.Sprint("request-", h.next())))
	return request.Interface()
}

// next is a number of its own.
func (h *cutHouse) next() int {
	h.made++
	return h.made
}

// round makes the call with one message lost, and sends it again.
func (h *cutHouse) round(t *testing.T, c change, n place) (wasCut bool) {
	t.Helper()
	request, before := h.request(t, c), h.measure()
	h.proxy.CutServer(int(n))
	first, err := h.call(t, c.method, request)
	wasCut = h.proxy.Disarm()
	if err != nil && !errs.Is(err, errs.Unavailable) {
		t.Fatalf("%v: %v, want an answer or Unavailable", n, err)
	}
	again, failure := h.call(t, c.method, request)
	if failure != nil {
		t.Fatalf("%v, sent again: %v", n, failure)
	}
	if err == nil {
		compare(t, n, first, again)
	}
	if diff := cmp.Diff(c.effect, h.measure().since(before)); diff != "" {
		t.Fatalf("%v: what the call did is not its effect (-want +got):\n%s", n, diff)
	}
	return wasCut
}

// compare wants both answers to be the same, but for a secret that only the first one shows.
func compare(t *testing.T, n place, first, again proto.Message) {
	t.Helper()
	if field := first.ProtoReflect().Descriptor().Fields().ByName("secret"); field != nil {
		if !first.ProtoReflect().Has(field) || again.ProtoReflect().Has(field) {
			t.Errorf("%v: the secret is not in the first answer alone:\n%v\n%v", n, first, again)
		}
		first.ProtoReflect().Clear(field)
	}
	if diff := cmp.Diff(first, again, protocmp.Transform()); diff != "" {
		t.Errorf("%v, sent again (-first +again):\n%s", n, diff)
	}
}

func (h *cutHouse) call(t *testing.T, method string, request proto.Message) (proto.Message, error) {
	t.Helper()
	answer := descriptorOf(t, method).Output().FullName()
	kind, err := protoregistry.GlobalTypes.FindMessageByName(answer)
	if err != nil {
		t.Fatal(err)
	}
	into := kind.New().Interface()
	return into, client.Restore(h.conn.Invoke(as(t.Context(), h.key), method, request, into))
}

func descriptorOf(t *testing.T, method string) protoreflect.MethodDescriptor {
	t.Helper()
	name := protoreflect.FullName(strings.ReplaceAll(strings.TrimPrefix(method, "/"), "/", "."))
	found, err := protoregistry.GlobalFiles.FindDescriptorByName(name)
	if err != nil {
		t.Fatalf("%s: %v", method, err)
	}
	return found.(protoreflect.MethodDescriptor)
}
