package once_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/once"
	"cullet/services/internal/pg"
	"cullet/services/internal/pg/cutproxy"
	"cullet/services/internal/pg/pgtest"
)

// effect leaves one more row each time it is run: nothing but package once guards it.
const effect = `INSERT INTO work (shop_id, topic, key) VALUES ($1, 'test.thing', gen_random_uuid()::text)`

func key(shop ident.Shop, id string) once.Key {
	return once.Key{Shop: shop, Caller: "key-1", Method: "/test.v1.Test/Do", RequestID: id}
}

// do has the effect and answers with a number that no other run answers with.
func do(ctx context.Context, db *pg.DB, k once.Key, fingerprint string, runs *atomic.Int64) (string, bool, error) {
	answer, replayed, err := once.Do(ctx, db, k, []byte(fingerprint), func(ctx context.Context, tx *pg.Tx) ([]byte, error) {
		run := runs.Add(1)
		if _, err := tx.Exec(ctx, effect, string(tx.Shop())); err != nil {
			return nil, err
		}
		return fmt.Append(nil, "answer of run ", run), nil
	})
	return string(answer), replayed, err
}

func TestDo(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	shop := w.Shop()
	var runs atomic.Int64
	steps := []struct {
		name        string
		key         once.Key
		fingerprint string
		answer      string
		replayed    bool
		reason      string
		effects     int
	}{
		{"First", key(shop, "a"), "f", "answer of run 1", false, "", 1},
		{"Again", key(shop, "a"), "f", "answer of run 1", true, "", 1},
		{"OtherContent", key(shop, "a"), "g", "", false, once.ReasonReused, 1},
		{"OtherID", key(shop, "b"), "f", "answer of run 2", false, "", 2},
		{"OtherShop", key(w.Shop(), "a"), "f", "answer of run 3", false, "", 3},
		{"OtherCaller", once.Key{Shop: shop, Caller: "key-2", Method: "/test.v1.Test/Do", RequestID: "a"}, "g", "answer of run 4", false, "", 4},
		{"OtherMethod", once.Key{Shop: shop, Caller: "key-1", Method: "/test.v1.Test/Undo", RequestID: "a"}, "g", "answer of run 5", false, "", 5},
		{"NoID", key(shop, ""), "f", "answer of run 6", false, "", 6},
		{"NoIDAgain", key(shop, ""), "f", "answer of run 7", false, "", 7},
		{"LongID", key(shop, strings.Repeat("x", 129)), "f", "", false, once.ReasonBadID, 7},
		{"LongestID", key(shop, strings.Repeat("x", 128)), "f", "answer of run 8", false, "", 8},
		{"NulInID", key(shop, "a\x00b"), "f", "", false, once.ReasonBadID, 8},
		{"NoText", key(shop, "a\xffb"), "f", "", false, once.ReasonBadID, 8},
	}
	for _, s := range steps {
		answer, replayed, err := do(t.Context(), w.DB, s.key, s.fingerprint, &runs)
		var known *errs.Error
		reason := ""
		if errors.As(err, &known) {
			reason = known.Reason
		}
		if answer != s.answer || replayed != s.replayed || reason != s.reason || (err != nil) != (s.reason != "") {
			t.Errorf("%s: got %q, replayed %v, %v; want %q, replayed %v, reason %q", s.name, answer, replayed, err, s.answer, s.replayed, s.reason)
		}
		if known != nil && (known.Kind != errs.Invalid || len(known.Fields) != 1 || known.Fields[0].Path != "request_id") {
			t.Errorf("%s: error %+v does not name the field", s.name, known)
		}
		if got := w.Count("work"); got != s.effects {
			t.Errorf("%s: %d effects, want %d", s.name, got, s.effects)
		}
	}
}

func TestDoStoresOnlySuccesses(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	k, failure := key(w.Shop(), "a"), errs.New(errs.State, "NOT_READY", "not ready")
	for round := range 2 {
		_, _, err := once.Do(t.Context(), w.DB, k, []byte("f"), func(ctx context.Context, tx *pg.Tx) ([]byte, error) {
			if _, err := tx.Exec(ctx, effect, string(tx.Shop())); err != nil {
				return nil, err
			}
			return []byte("never"), failure
		})
		if !errors.Is(err, failure) || w.Count("work") != 0 || w.Count("requests") != 0 {
			t.Errorf("round %d: %v, %d effects, %d requests; want the failure and nothing stored",
				round, err, w.Count("work"), w.Count("requests"))
		}
	}
	for round := range 2 {
		answer, replayed, err := once.Do(t.Context(), w.DB, k, []byte("f"), func(context.Context, *pg.Tx) ([]byte, error) {
			return nil, nil
		})
		if err != nil || !bytes.Equal(answer, nil) || replayed != (round == 1) {
			t.Errorf("empty answer, round %d: %q, replayed %v, %v", round, answer, replayed, err)
		}
	}
}

func TestDoStatements(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	var runs atomic.Int64
	for name, db := range map[string]*pg.DB{"Direct": w.DB, "Bouncer": w.Open("", pg.Options{Bouncer: true})} {
		shop := w.Shop()
		for _, want := range []int{4, 3} { // tenant, reserve, effect, keep; then tenant, reserve, read
			ctx, counter := pg.WithCounter(t.Context())
			if _, _, err := do(ctx, db, key(shop, "a"), "f", &runs); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if got := counter.Statements(); got != want {
				t.Errorf("%s: %d statements, want %d", name, got, want)
			}
		}
	}
}

// TestConcurrentCallers sends the same request from 64 callers at once.
func TestConcurrentCallers(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	const callers, rounds = 64, 8
	shop := w.Shop()
	for round := range rounds {
		var runs atomic.Int64
		var first atomic.Int64
		answers := make([]string, callers)
		var all sync.WaitGroup
		for i := range callers {
			all.Go(func() {
				answer, replayed, err := do(t.Context(), w.DB, key(shop, fmt.Sprint(round)), "f", &runs)
				if err != nil {
					t.Errorf("round %d: %v", round, err)
				}
				if !replayed {
					first.Add(1)
				}
				answers[i] = answer
			})
		}
		all.Wait()
		if got := w.Count("work"); got != round+1 {
			t.Fatalf("after round %d %d effects, want %d", round, got, round+1)
		}
		if first.Load() != 1 {
			t.Errorf("round %d: %d callers were told that theirs was the first, want 1", round, first.Load())
		}
		for _, answer := range answers {
			if answer != answers[0] || answer == "" {
				t.Errorf("round %d: answers %q and %q differ", round, answer, answers[0])
			}
		}
	}
}

// TestCutAfterEveryMessage cuts the connection after every message of either side: the caller
// gets the answer, the effect is there once, and a repetition gives the same answer.
func TestCutAfterEveryMessage(t *testing.T) {
	t.Parallel()
	for name, arm := range map[string]func(*cutproxy.Proxy, int){
		"Server": (*cutproxy.Proxy).CutServer, "Client": (*cutproxy.Proxy).CutClient,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := pgtest.New(t)
			proxy := cutproxy.Start(t, w.RuntimeDSN)
			shop, point, fired := w.Shop(), 0, true
			var runs atomic.Int64
			for ; fired; point++ {
				db := w.Open(proxy.DSN(), pg.Options{MaxOpen: 2})
				k := key(shop, fmt.Sprint(point))
				arm(proxy, point)
				answer, _, err := do(t.Context(), db, k, "f", &runs)
				fired = proxy.Disarm()
				if err != nil {
					t.Fatalf("point %d: %v", point, err)
				}
				if got := w.Count("work"); got != point+1 {
					t.Fatalf("point %d: %d effects, want %d", point, got, point+1)
				}
				again, replayed, err := do(t.Context(), db, k, "f", &runs)
				if err != nil || again != answer || !replayed {
					t.Errorf("point %d: repeated: %q, replayed %v, %v; want %q", point, again, replayed, err, answer)
				}
				if err := db.Close(); err != nil {
					t.Error(err)
				}
			}
			if runs.Load() <= int64(point) {
				t.Errorf("%d runs at %d points: no cut ever cost a run", runs.Load(), point)
			}
		})
	}
}

func TestPruneKeepsYoungAnswers(t *testing.T) {
	t.Parallel()
	w := pgtest.New(t)
	shop, other := w.Shop(), w.Shop()
	var runs atomic.Int64
	for _, k := range []once.Key{key(shop, "old"), key(shop, "older"), key(shop, "young"), key(other, "old")} {
		if _, _, err := do(t.Context(), w.DB, k, "f", &runs); err != nil {
			t.Fatal(err)
		}
	}
	w.Exec(`UPDATE requests SET created_time = now() - interval '90 days 1 minute' WHERE request_id LIKE 'old%'`)
	w.Exec(`UPDATE requests SET created_time = now() - interval '89 days' WHERE request_id = 'young'`)
	for _, want := range []int64{1, 1, 0} {
		if got, err := once.Prune(t.Context(), w.DB, shop, 0, 1); err != nil || got != want {
			t.Errorf("Prune = %d, %v, want %d", got, err, want)
		}
	}
	if got := w.Count("requests"); got != 2 {
		t.Errorf("%d answers are left, want the young one and the other shop's", got)
	}
}
