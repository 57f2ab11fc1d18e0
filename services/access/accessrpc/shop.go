package accessrpc

import (
	"context"
	"fmt"
	"slices"
	"strings"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
)

// GetShop gives the caller's shop.
func (s *Server) GetShop(ctx context.Context, _ *accessv1.GetShopRequest) (*accessv1.GetShopResponse, error) {
	var shop access.Shop
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		shop, err = accesspg.GetShop(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &accessv1.GetShopResponse{Shop: s.toShop(shop)}, nil
}

// UpdateShop stores the whole shop as it shall be. Claims that are not yet released are checked
// again, because standard and tax elections may have changed.
func (s *Server) UpdateShop(
	ctx context.Context, req *accessv1.UpdateShopRequest,
) (*accessv1.UpdateShopResponse, error) {
	wanted := fromShop(req.GetShop())
	wanted.ID = rpc.CallerFrom(ctx).Shop
	version, faults := rpc.ParseEtag("shop.etag", req.GetShop().GetEtag())
	if given := ident.Shop(req.GetShop().GetShopId()); given != "" && given != wanted.ID {
		faults = append(faults, errs.Field{Path: "shop.shop_id", Reason: "OTHER_SHOP", Message: fmt.Sprintf(
			"%q was given and this key is of another shop; leave it out or use that shop's key", given)})
	}
	if key := wanted.StandardKey; key != "" && !slices.Contains(s.standards, key) {
		faults = append(faults, errs.Field{Path: "shop.standard_key", Reason: "UNKNOWN_VALUE", Message: fmt.Sprintf(
			"%q was given; allowed are %s", key, strings.Join(s.standards, ", "))})
	}
	set, ofRanges := s.fromRanges(req.GetShop().GetProcessRanges())
	wanted.ProcessRanges = set
	faults = append(faults, ofRanges...)
	if err := rpc.Refuse(ctx, append(faults, rpc.Validate("shop", wanted)...)); err != nil {
		return nil, err
	}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*accessv1.UpdateShopResponse, error) {
		stored, err := accesspg.LockShop(ctx, tx)
		if err != nil {
			return nil, err
		}
		if err := rpc.CheckVersion(version, stored.Version); err != nil {
			return nil, err
		}
		if wanted.CurrencyCode != stored.CurrencyCode {
			return nil, rpc.Refuse(ctx, []errs.Field{{Path: "shop.currency_code", Reason: "FIXED", Message: fmt.Sprintf(
				"%s was given and the books are kept in %s, which cannot change; send %[2]s", wanted.CurrencyCode,
				stored.CurrencyCode)}})
		}
		shop := wanted
		shop.Version = stored.Version + 1
		if err := accesspg.UpdateShop(ctx, tx, shop); err != nil {
			return nil, err
		}
		if err := outbox.Enqueue(ctx, tx, access.TopicChanged, string(shop.ID)); err != nil {
			return nil, err
		}
		if err := s.audit(ctx, tx, "shop.updated", "shop", string(shop.ID)); err != nil {
			return nil, err
		}
		return &accessv1.UpdateShopResponse{Shop: s.toShop(shop)}, nil
	})
}

func (s *Server) toShop(shop access.Shop) *accessv1.Shop {
	message := &accessv1.Shop{ShopId: string(shop.ID), Name: shop.Name, Address: wire.ToAddress(shop.Address),
		Telephone: shop.Telephone, TimeZone: shop.TimeZone, CurrencyCode: shop.CurrencyCode, TaxNumber: shop.TaxNumber,
		RemitTo: wire.ToAddress(shop.RemitTo), StandardKey: shop.StandardKey, WarrantyText: shop.WarrantyText,
		ProcessRanges: s.toRanges(shop.ProcessRanges), Etag: rpc.Etag(shop.Version)}
	for _, e := range shop.TaxElections {
		message.TaxElections = append(message.TaxElections, &accessv1.TaxElection{State: e.State,
			ValidFrom: e.ValidFrom, Basis: e.Basis, IsAggregate: e.IsAggregate})
	}
	return message
}

func fromShop(m *accessv1.Shop) access.Shop {
	shop := access.Shop{Name: m.GetName(), Address: wire.FromAddress(m.GetAddress()),
		Telephone: m.GetTelephone(), TimeZone: m.GetTimeZone(), CurrencyCode: m.GetCurrencyCode(),
		TaxNumber: m.GetTaxNumber(), RemitTo: wire.FromAddress(m.GetRemitTo()), StandardKey: m.GetStandardKey(),
		WarrantyText: m.GetWarrantyText()}
	for _, e := range m.GetTaxElections() {
		shop.TaxElections = append(shop.TaxElections, access.TaxElection{State: e.GetState(),
			ValidFrom: e.GetValidFrom(), Basis: e.GetBasis(), IsAggregate: e.GetIsAggregate()})
	}
	return shop
}
