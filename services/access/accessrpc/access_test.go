package accessrpc_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/server/servertest"
)

func start(t *testing.T) *servertest.World {
	t.Helper()
	return servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
}

// faults gives "path REASON" of each fault of an error.
func faults(t *testing.T, err error) (all []string) {
	t.Helper()
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Invalid {
		t.Fatalf("error = %v, want Invalid", err)
	}
	for _, f := range known.Fields {
		all = append(all, f.Path+" "+f.Reason)
	}
	return all
}

func shopOf(t *testing.T, w *servertest.World) *accessv1.Shop {
	t.Helper()
	answer, err := w.Access.GetShop(t.Context(), &accessv1.GetShopRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return answer.GetShop()
}

func TestUpdateShop(t *testing.T) {
	t.Parallel()
	w := start(t)
	ctx := t.Context()
	wanted := shopOf(t, w)
	wanted.Telephone = "614-555-0102"
	wanted.TaxElections = []*accessv1.TaxElection{{State: "OH", ValidFrom: "2026-01-01", Basis: "INVOICE", IsAggregate: true}}
	wanted.RemitTo = &accessv1.Address{Street: "PO Box 7", City: "Columbus", State: "OH", CountryCode: "US"}
	request := &accessv1.UpdateShopRequest{Shop: wanted, RequestId: "shop-1"}
	first, err := w.Access.UpdateShop(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first.GetShop(), shopOf(t, w), protocmp.Transform()); diff != "" {
		t.Errorf("stored shop differs from the answer (-answer +stored):\n%s", diff)
	}
	if first.GetShop().GetEtag() == wanted.GetEtag() {
		t.Error("the etag did not change")
	}
	var waiting int
	w.Get(&waiting, `SELECT count(*) FROM work WHERE topic = $1 AND key = $2`, access.TopicChanged, string(w.Shop))
	if waiting != 1 {
		t.Errorf("%d rechecks wait, want 1", waiting)
	}

	again, err := w.Access.UpdateShop(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(first, again, protocmp.Transform()); diff != "" {
		t.Errorf("the repetition is answered otherwise (-first +again):\n%s", diff)
	}
	stale := proto.CloneOf(wanted)
	stale.Telephone = "614-555-0103"
	_, err = w.Access.UpdateShop(ctx, &accessv1.UpdateShopRequest{Shop: stale})
	var known *errs.Error
	if !errors.As(err, &known) || known.Kind != errs.Stale || known.Detail[errs.DetailEtag] != first.GetShop().GetEtag() {
		t.Errorf("an old etag: %v, want Stale with etag %s", err, first.GetShop().GetEtag())
	}
	stale.Etag = first.GetShop().GetEtag()
	_, err = w.Access.UpdateShop(ctx, &accessv1.UpdateShopRequest{Shop: stale, RequestId: "shop-1"})
	if diff := cmp.Diff([]string{"request_id REQUEST_ID_REUSED"}, faults(t, err)); diff != "" {
		t.Errorf("another request under the same id (-want +got):\n%s", diff)
	}
}

func TestUpdateShopRefusesEveryFaultAtOnce(t *testing.T) {
	t.Parallel()
	w := start(t)
	wanted := shopOf(t, w)
	wanted.ShopId, wanted.Name, wanted.TimeZone, wanted.StandardKey = "another", strings.Repeat("n", 201), "Columbus", "none"
	wanted.Address.CountryCode, wanted.Etag = "USA", ""
	wanted.TaxElections = []*accessv1.TaxElection{{State: "OH", ValidFrom: "soon", Basis: "ROW"}}
	_, err := w.Access.UpdateShop(t.Context(), &accessv1.UpdateShopRequest{Shop: wanted})
	want := []string{"shop.etag REQUIRED", "shop.shop_id OTHER_SHOP", "shop.standard_key UNKNOWN_VALUE", "shop.name TOO_LARGE",
		"shop.address.country_code FORM", "shop.time_zone FORM", "shop.tax_elections[0].valid_from NOT_A_DAY",
		"shop.tax_elections[0].basis UNKNOWN_VALUE"}
	if diff := cmp.Diff(want, faults(t, err)); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
	wanted = shopOf(t, w)
	wanted.CurrencyCode = "CAD"
	_, err = w.Access.UpdateShop(t.Context(), &accessv1.UpdateShopRequest{Shop: wanted})
	if diff := cmp.Diff([]string{"shop.currency_code FIXED"}, faults(t, err)); diff != "" {
		t.Errorf("another currency (-want +got):\n%s", diff)
	}
}

func TestWritersNeverLoseAnUpdate(t *testing.T) {
	t.Parallel()
	w := start(t)
	const writers, each = 4, 5
	done := make(chan error, writers)
	for range writers {
		go func() {
			for range each {
				for {
					answer, err := w.Access.GetShop(t.Context(), &accessv1.GetShopRequest{})
					if err != nil {
						done <- err
						return
					}
					wanted := answer.GetShop()
					wanted.WarrantyText += "x"
					_, err = w.Access.UpdateShop(t.Context(), &accessv1.UpdateShopRequest{Shop: wanted})
					if errs.Is(err, errs.Stale) {
						continue
					}
					if err != nil {
						done <- err
						return
					}
					break
				}
			}
			done <- nil
		}()
	}
	for range writers {
		if err := <-done; err != nil {
			t.Fatal(err)
		}
	}
	if got := len(shopOf(t, w).GetWarrantyText()); got != writers*each {
		t.Errorf("%d updates are in the text, want %d", got, writers*each)
	}
}

func TestKeysShowTheirSecretOnce(t *testing.T) {
	t.Parallel()
	w := start(t)
	ctx := t.Context()
	request := &accessv1.CreateKeyRequest{Name: "tablet of van 3", Role: accessv1.Role_ROLE_SYSTEM, RequestId: "key-1"}
	first, err := w.Access.CreateKey(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	caller, err := w.Dial(first.GetSecret()).Access.GetCaller(ctx, &accessv1.GetCallerRequest{})
	if err != nil || caller.GetShopId() != string(w.Shop) || caller.GetRole() != accessv1.Role_ROLE_SYSTEM ||
		caller.GetName() != "tablet of van 3" {
		t.Errorf("the new key calls as %v, %v", caller, err)
	}
	again, err := w.Access.CreateKey(ctx, request)
	if err != nil {
		t.Fatal(err)
	}
	if again.GetSecret() != "" || again.GetKey().GetKeyId() != first.GetKey().GetKeyId() {
		t.Errorf("the repetition shows secret %q of key %s; want none of %s", again.GetSecret(), again.GetKey().GetKeyId(),
			first.GetKey().GetKeyId())
	}
	var holding int
	w.Get(&holding, `SELECT (SELECT count(*) FROM requests WHERE position($1::bytea IN answer) > 0)
		+ (SELECT count(*) FROM keys k WHERE position($2 IN k::text) > 0)
		+ (SELECT count(*) FROM audit_entries a WHERE position($2 IN a::text) > 0)`,
		[]byte(first.GetSecret()), first.GetSecret())
	if holding != 0 {
		t.Errorf("the secret is stored in %d rows", holding)
	}
}

func TestNewKeysAreChecked(t *testing.T) {
	t.Parallel()
	w := start(t)
	past := timestamppb.New(time.Now().Add(-time.Minute))
	_, err := w.Access.CreateKey(t.Context(), &accessv1.CreateKeyRequest{Name: strings.Repeat("n", 201),
		Role: accessv1.Role_ROLE_READER, ExpireTime: past})
	if diff := cmp.Diff([]string{"name TOO_LARGE", "expire_time PAST"}, faults(t, err)); diff != "" {
		t.Errorf("faults (-want +got):\n%s", diff)
	}
	_, err = w.Access.CreateKey(t.Context(), &accessv1.CreateKeyRequest{})
	if diff := cmp.Diff([]string{"name REQUIRED", "role REQUIRED"}, faults(t, err)); diff != "" {
		t.Errorf("faults of nothing (-want +got):\n%s", diff)
	}
}

// TestExpiredKeysOpenNothing, and the call that made one is still answered as it was.
func TestExpiredKeysOpenNothing(t *testing.T) {
	t.Parallel()
	now := time.Now()
	clock := make(chan time.Time, 1)
	clock <- now
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true, Now: func() time.Time {
		at := <-clock
		clock <- at
		return at
	}})
	request := &accessv1.CreateKeyRequest{Name: "for a day", Role: accessv1.Role_ROLE_READER, RequestId: "key-1",
		ExpireTime: timestamppb.New(now.Add(24 * time.Hour))}
	made, err := w.Access.CreateKey(t.Context(), request)
	if err != nil {
		t.Fatal(err)
	}
	c := w.Dial(made.GetSecret())
	if _, err := c.Access.GetCaller(t.Context(), &accessv1.GetCallerRequest{}); err != nil {
		t.Errorf("on its day: %v", err)
	}
	<-clock
	clock <- now.Add(24 * time.Hour)
	if _, err := c.Access.GetCaller(t.Context(), &accessv1.GetCallerRequest{}); !errs.Is(err, errs.Unauthenticated) {
		t.Errorf("a day later: %v, want Unauthenticated", err)
	}
	<-clock
	clock <- now.Add(48 * time.Hour)
	again, err := w.Access.CreateKey(t.Context(), request)
	if err != nil || !proto.Equal(made.GetKey(), again.GetKey()) {
		t.Errorf("the call sent again the day after: %v, %v; want key %v", again, err, made.GetKey())
	}
}

func TestTheLastOwnerKeyStays(t *testing.T) {
	t.Parallel()
	w := start(t)
	ctx := t.Context()
	listed, err := w.Access.ListKeys(ctx, &accessv1.ListKeysRequest{})
	if err != nil {
		t.Fatal(err)
	}
	owner := listed.GetKeys()[0].GetKeyId()
	if _, err := w.Access.RevokeKey(ctx, &accessv1.RevokeKeyRequest{KeyId: owner}); !errs.Is(err, errs.State) {
		t.Errorf("the last owner key: %v, want State", err)
	}
	second := w.Dial(w.Key(access.Owner))
	revoked, err := second.Access.RevokeKey(ctx, &accessv1.RevokeKeyRequest{KeyId: owner})
	if err != nil || revoked.GetKey().GetRevokeTime() == nil {
		t.Fatalf("with another owner key: %v, %v", revoked, err)
	}
	again, err := second.Access.RevokeKey(ctx, &accessv1.RevokeKeyRequest{KeyId: owner})
	if err != nil || !proto.Equal(again.GetKey().GetRevokeTime(), revoked.GetKey().GetRevokeTime()) {
		t.Errorf("revoked again: %v, %v; want the first time", again, err)
	}
}

func TestForeignAndMissingKeysLookTheSame(t *testing.T) {
	t.Parallel()
	w := start(t)
	ctx := t.Context()
	_, other := w.OtherShop()
	theirs, err := other.Access.ListKeys(ctx, &accessv1.ListKeysRequest{})
	if err != nil {
		t.Fatal(err)
	}
	foreignID, missingID := theirs.GetKeys()[0].GetKeyId(), "0197c7d0-5f1e-7000-8000-000000000001"
	var answers []string
	for _, id := range []string{foreignID, missingID} {
		_, err := w.Access.RevokeKey(ctx, &accessv1.RevokeKeyRequest{KeyId: id})
		var known *errs.Error
		if !errors.As(err, &known) || known.Kind != errs.NotFound {
			t.Fatalf("%s: %v, want NotFound", id, err)
		}
		answers = append(answers, strings.ReplaceAll(known.Message+known.Reason, id, "<id>"))
	}
	if answers[0] != answers[1] {
		t.Errorf("a foreign key is answered %q, a missing one %q", answers[0], answers[1])
	}
}

func TestListsAreWalkedPageByPage(t *testing.T) {
	t.Parallel()
	w := start(t)
	ctx := t.Context()
	for range 6 {
		w.Key(access.Reader)
	}
	var seen []string
	token := ""
	for {
		page, err := w.Access.ListKeys(ctx, &accessv1.ListKeysRequest{PageSize: 3, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range page.GetKeys() {
			seen = append(seen, k.GetKeyId())
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if len(seen) != 7 || !slices.IsSortedFunc(seen, func(a, b string) int { return strings.Compare(b, a) }) {
		t.Errorf("%d keys in the order %v, want 7, newest first", len(seen), seen)
	}
	entries, err := w.Access.ListAuditEntries(ctx, &accessv1.ListAuditEntriesRequest{PageSize: 100})
	if err != nil {
		t.Fatal(err)
	}
	counts := map[string]int{}
	for _, e := range entries.GetAuditEntries() {
		counts[e.GetActor()+" "+e.GetAction()]++
	}
	want := map[string]int{"setup shop.created": 1, "setup key.created": 1, "owner key.created": 6}
	if diff := cmp.Diff(want, counts); diff != "" {
		t.Errorf("audit entries (-want +got):\n%s", diff)
	}
}
