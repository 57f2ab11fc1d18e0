package demo

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"image"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"cullet/services/client"
	"cullet/services/server"
	"cullet/services/server/servertest"
)

var (
	kills = flag.Int("kills", asked(15), "how often the server is killed while the demo is played; PostgreSQL a tenth as often")
	seed  = flag.Uint64("seed", 0, "plan of the kills; 0 makes another one each time")
	wait  = flag.Bool("wait", false, "let all leases of killed servers run out by themselves, which takes minutes")
)

// asked is what the environment asks for, as the gate does: 50.
func asked(usual int) int {
	if n, err := strconv.Atoi(os.Getenv("CULLET_KILLS")); err == nil && n > 0 {
		return n
	}
	return usual
}

// TestKillsLoseAndDoubleNothing plays the demo through the public API, as a shop system that repeats
// what was not answered, against a server that is killed (SIGKILL) at so many moments of it, and a tenth as
// often its PostgreSQL. Then the books must be those of a quiet night: the demo's own checks, and beside
// them what this test counted itself and what the payers wrote down.
//
// The photos are small: they are not what this is about. The work of a killed server is taken up when
// its lease of 15 seconds has run out; the test lets these seconds pass at once, but for one kill in
// the first run.
func TestKillsLoseAndDoubleNothing(t *testing.T) {
	t.Parallel()
	o := begin(t, cmp.Or(*seed, uint64(time.Now().UnixNano())))
	ctx, cancel := context.WithCancel(t.Context())
	played := make(chan error, 1)
	go func() { played <- o.stage.play(ctx, true) }()
	ended := false
	t.Cleanup(func() {
		if cancel(); !ended {
			<-played
		}
		if t.Failed() {
			t.Logf("go test ./cmd/cullet/internal/demo -run Kills -args -kills=%d -seed=%d has the same plan.\n%s\n%s",
				*kills, o.seed, o.said.String(), o.server.lastWords())
		}
	})
	for !ended {
		select {
		case m := <-o.watch.orders:
			o.strike(m)
			close(m.done)
		case err := <-played:
			if ended = true; err != nil {
				t.Fatal(err)
			}
		}
	}
	o.judge()
	o.server.stop()
}

// ordeal is a demo under way against a server that is a process of its own.
type ordeal struct {
	t *testing.T
	database
	seed   uint64
	stage  *stage
	watch  *watch
	server *process
	// quiet is a client whose calls are not watched.
	quiet *client.Client
	said  bytes.Buffer
	// struck counts the kills by phase, cut what they cut short.
	struck, struckPostgres, cut map[string]int
}

// database is what the test asks of its PostgreSQL, passing over row-level security.
type database interface {
	Get(dest any, query string, args ...any)
	Select(dest any, query string, args ...any)
	Exec(query string, args ...any) int64
	KillServer()
}

// begin starts PostgreSQL, the simulated payers and the server.
func begin(t *testing.T, seed uint64) *ordeal {
	t.Helper()
	if runtime.GOOS == "darwin" {
		t.Skip("NOT RUN: a server that is killed fifty times (its payers' authority is believed through SSL_CERT_FILE) - run it on Linux")
	}
	world := servertest.Database(t)
	state := t.TempDir()
	build := exec.CommandContext(t.Context(), "go", "build", "-tags", "demo", "-o", state+string(os.PathSeparator),
		"cullet/cmd/cullet", "cullet/cmd/payersim")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build the demo: %v\n%s", err, out)
	}
	o := &ordeal{t: t, database: world, seed: seed, struck: map[string]int{}, struckPostgres: map[string]int{}, cut: map[string]int{}}
	o.stage = &stage{Options: Options{State: state, Once: true, Out: &o.said}, clock: &clock{}, photoSize: image.Pt(252, 192),
		where: server.Addresses{GRPC: freeAddress(t), HTTP: freeAddress(t)}}
	payers, err := startPayersim(filepath.Join(state, "payersim"), filepath.Join(state, "payers"))
	if err != nil {
		t.Fatal(err)
	}
	o.stage.payersim = payers
	t.Cleanup(func() {
		if err := payers.stop(); err != nil {
			t.Errorf("stop the simulated payers: %v", err)
		}
	})
	o.serve(world.OwnerDSN, world.RuntimeDSN)
	text, err := os.ReadFile(filepath.Join(state, "owner-key"))
	if err != nil {
		t.Fatal(err)
	}
	key := strings.TrimSpace(string(text))
	if o.quiet, err = client.Dial(t.Context(), client.Config{Address: o.stage.where.GRPC, Key: key, IsPatient: true}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = o.quiet.Close() })
	o.watch = newWatch(o.quiet.Conn(), plan(seed, *kills, *kills/10))
	o.stage.client = client.Over(o.watch, key)
	return o
}

// serve starts the server with the demo's shop. It believes the authority of the simulated payers as a
// machine's administrator has it do.
func (o *ordeal) serve(ownerDSN, runtimeDSN string) {
	o.t.Helper()
	state := o.stage.State
	first := filepath.Join(state, "shop.json")
	shop, err := json.Marshal(demoShop())
	if err == nil {
		err = os.WriteFile(first, shop, 0o600)
	}
	if err != nil {
		o.t.Fatal(err)
	}
	o.server = &process{t: o.t, program: filepath.Join(state, "cullet"), log: filepath.Join(state, "server.log"),
		args: []string{"--state", state, "serve", "--grpc", o.stage.where.GRPC, "--http", o.stage.where.HTTP, "--first-shop", first},
		env: append(os.Environ(), "CULLET_OWNER_DSN="+ownerDSN, "CULLET_RUNTIME_DSN="+runtimeDSN,
			"SSL_CERT_FILE="+filepath.Join(state, "payers", "ca.pem"))}
	o.server.start()
	o.t.Cleanup(func() {
		_ = o.server.command.Process.Kill() // it has ended already, perhaps
		<-o.server.ended
	})
}

// strike kills what the moment says and has it come back. PostgreSQL comes back under a server that
// goes on.
func (o *ordeal) strike(m *moment) {
	o.t.Helper()
	o.server.mustLive()
	if m.isAtDocument {
		o.untilDocument()
	}
	if m.isPostgres {
		o.struckPostgres[m.phase]++
		o.KillServer()
		return
	}
	o.server.kill()
	o.struck[m.phase]++
	o.look()
	if !m.isLeftAlone && !*wait { // leases, and waits for another try, pass at once
		o.Exec(`UPDATE work SET available_time = now(), lease_until = NULL WHERE lease_until > now() OR last_error IS NOT NULL`)
	}
	o.server.start()
}

// untilDocument returns when a payer has a document that the server does not know to be there, or
// when all runs have ended.
func (o *ordeal) untilDocument() {
	o.t.Helper()
	for taken, runs := 0, 1; taken == 0 && runs > 0; {
		_, taken = o.documents()
		o.Get(&runs, `SELECT count(*) FROM runs WHERE state <> 'FINISHED'`)
	}
}

// documents counts those that are stored and not known to have arrived, and those of them that the
// payers have.
func (o *ordeal) documents() (open, taken int) {
	o.t.Helper()
	book, _, err := o.stage.payersim.book(o.t.Context())
	if err != nil {
		o.t.Fatal(err)
	}
	var names []string
	o.Select(&names, `SELECT p.code || '/' || b.control_number FROM batches b JOIN payers p USING (shop_id, payer_id) WHERE b.state = 'BUILT'`)
	for _, d := range book {
		if slices.Contains(names, fmt.Sprintf("%s/%d", d.PayerCode, d.ControlNumber)) {
			taken++
		}
	}
	return len(names), taken
}

// look counts what the kill cut short, while nobody goes on with it.
func (o *ordeal) look() {
	o.t.Helper()
	var topics []string
	o.Select(&topics, `SELECT topic FROM work WHERE lease_until > now()`)
	for _, topic := range topics {
		o.cut["work at "+topic]++
	}
	for what, query := range map[string]string{
		"runs under way":                   `SELECT count(*) FROM runs WHERE state = 'RUNNING'`,
		"messages stored and not yet read": `SELECT count(*) FROM messages WHERE state = 'RECEIVED'`,
	} {
		var n int
		o.Get(&n, query)
		o.cut[what] += n
	}
	open, taken := o.documents()
	o.cut["documents stored, not sent"] += open - taken
	o.cut["documents taken, receipt not known"] += taken
	for _, id := range o.watch.unanswered() {
		var n int
		o.Get(&n, `SELECT count(*) FROM requests WHERE request_id = $1`, id)
		o.cut[fmt.Sprintf("changes not answered, %d effect", n)]++
	}
}
