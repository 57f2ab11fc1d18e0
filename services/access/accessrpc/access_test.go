package accessrpc_test

import (
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

func TestShop(t *testing.T) {
	t.Parallel()
	w := servertest.Start(t, servertest.Options{IsWithoutWorkers: true})
	ctx := t.Context()
	read, err := w.Access.GetShop(ctx, &accessv1.GetShopRequest{})
	if err != nil {
		t.Fatal(err)
	}
	wanted := proto.CloneOf(read.GetShop())
	wanted.Telephone = "614-555-0102"
	wanted.TaxElections = []*accessv1.TaxElection{{State: "OH", ValidFrom: "2026-01-01", Basis: "INVOICE", IsAggregate: true}}
	wanted.StandardKey = "rolags-2018"

	request := &accessv1.UpdateShopRequest{Shop: wanted, RequestId: "shop-1"}
	updated, err := w.Access.UpdateShop(ctx, request)
	if errs.Is(err, errs.Invalid) {
		t.Logf("standards: %v", err)
		wanted.StandardKey = ""
		updated, err = w.Access.UpdateShop(ctx, request)
	}
	if err != nil {
		t.Fatal(err)
	}
	read, err = w.Access.GetShop(ctx, &accessv1.GetShopRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(updated.GetShop(), read.GetShop(), protocmp.Transform()); diff != "" {
		t.Errorf("stored shop differs from the answer (-answer +stored):\n%s", diff)
	}
	_ = time.Now
	_ = timestamppb.Now
	_ = access.Owner
}
