package server_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"cullet/adapters"
	"cullet/adapters/document"
	"cullet/adapters/payload"
	"cullet/adapters/photostore"
	moneyv1 "cullet/proto/cullet/money/v1"
	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/access"
	"cullet/services/server"
	"cullet/services/server/servertest"
	"cullet/services/tax"
)

// TestAStrangerInJavaScript runs a client that shares nothing with us but the contract in proto/:
// @grpc/grpc-js 1.14.7 (Apache-2.0) of the npm registry, the usual gRPC client of Node. It records,
// repeats, lists, sends everything wrong that can be, reads the errors from the trailers, invoices
// and fetches the invoice, with one key that may record and one that may invoice.
func TestAStrangerInJavaScript(t *testing.T) {
	t.Parallel()
	const folder = "../../.ci/node-client"
	node, err := exec.LookPath("node")
	if err == nil {
		_, err = os.Stat(filepath.Join(folder, "node_modules", "@grpc"))
	}
	if err != nil {
		t.Skip("NOT RUN: a stranger's client in JavaScript - make install")
	}
	w := startForStranger(t)
	stranger := exec.CommandContext(t.Context(), node, "stranger.mjs")
	stranger.Dir = folder
	stranger.Env = append(os.Environ(), "KEY="+w.Key(access.System), "CLERK_KEY="+w.Key(access.Clerk),
		"CULLET_SERVER="+w.Addresses.GRPC, "CULLET_HTTP="+w.Addresses.HTTP)
	stranger.WaitDelay = time.Minute
	out, err := stranger.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if steps := bytes.Count(out, []byte("ok  ")); steps < 20 || !strings.HasSuffix(string(out), "Everything is as promised.\n") {
		t.Errorf("%d steps, want 20 and more:\n%s", steps, out)
	}
	t.Logf("%s", out)
	for table, want := range map[string]int{"jobs": 5, "photos": 2, "job_photos": 10, "invoices": 1} {
		if got := w.Count(table); got != want {
			t.Errorf("%d rows in %s, want %d", got, table, want)
		}
	}
}

// startForStranger runs a server of a shop that has list prices, on a day after the invented quarter.
func startForStranger(t *testing.T) *servertest.World {
	t.Helper()
	store, err := photostore.Open(t.TempDir(), servertest.Sealer(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() })
	day := time.Date(2026, 11, 25, 15, 0, 0, 0, time.UTC)
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true, Now: func() time.Time { return day },
		Outside: server.Outside{Photos: store, Document: document.Printer{}, Translator: payload.Translator{Book: tax.Shipped()},
			Formats: adapters.Formats(), Channels: adapters.Channels(adapters.ChannelOptions{})}})
	usd := func(minor int64) *moneyv1.Money { return &moneyv1.Money{MinorUnits: minor, CurrencyCode: "USD"} }
	_, err = w.Payers.CreatePayer(t.Context(), &payersv1.CreatePayerRequest{Code: "list-prices", Name: "Motorists (list prices)",
		Kind: payersv1.PayerKind_PAYER_KIND_MOTORIST, Profile: &payersv1.PayerProfile{PriceAgreements: []*payersv1.PriceAgreement{
			{Key: "List 2026", ValidFrom: "2026-01-01", FirstRepair: usd(8995), FurtherRepair: usd(2000), CrackRepair: usd(10995),
				CrackBaseMm: 150, CrackFurther_25Mm: usd(500), MaterialsBasisPoints: 1500}}}})
	if err != nil {
		t.Fatal(err)
	}
	return w
}
