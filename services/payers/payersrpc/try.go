package payersrpc

import (
	"context"
	"fmt"
	"slices"

	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/claims"
	"cullet/services/errs"
	"cullet/services/finding"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/payers/payerspg"
)

// How many past claims a profile is tried against.
const (
	usualTried = 100
	mostTried  = 500
)

// TryPayerProfile says what a profile would have made of past claims. It stores nothing.
func (s *Server) TryPayerProfile(ctx context.Context, req *payersv1.TryPayerProfileRequest) (*payersv1.TryPayerProfileResponse, error) {
	profile := fromProfile(req.GetProfile())
	faults := s.checkProfile("profile", req.GetProfile(), profile)
	most := int(req.GetClaimCount())
	if most < 0 || most > mostTried {
		faults = append(faults, errs.Field{Path: "claim_count", Reason: "OUT_OF_RANGE",
			Message: fmt.Sprintf("%d was given; allowed are 0 (the latest %d) to %d", most, usualTried, mostTried)})
	}
	if most == 0 {
		most = usualTried
	}
	currency, err := s.checkCurrency(ctx, "profile", req.GetProfile())
	if err != nil {
		return nil, err
	}
	if err := rpc.Refuse(ctx, append(faults, currency...)); err != nil {
		return nil, err
	}
	id, ok := ident.Parse[ident.Payer](req.GetPayerId())
	if !ok {
		return nil, errs.Missing("payer", req.GetPayerId())
	}
	shop := rpc.CallerFrom(ctx).Shop
	err = pg.Read(ctx, s.DB, shop, func(ctx context.Context, tx *pg.Tx) error {
		payer, err := payerspg.Get(ctx, tx, id)
		if err != nil {
			return err
		}
		profile.Version = payer.Profile.Version + 1
		return rpc.Refuse(ctx, checkReach("profile", payer.Kind, profile))
	})
	if err != nil {
		return nil, err
	}
	tried, err := s.Line.TryProfile(ctx, shop, id, profile, most)
	if err != nil {
		return nil, err
	}
	resp := &payersv1.TryPayerProfileResponse{ClaimCount: int32(len(tried))}
	for _, t := range tried {
		before, after := stopsOf(t.Now), stopsOf(t.Then)
		if len(before) > 0 {
			resp.StoppedNow++
		}
		if len(after) > 0 {
			resp.StoppedThen++
		}
		if !slices.Equal(before, after) || t.Now.Totals != t.Then.Totals {
			resp.Changed = append(resp.Changed, &payersv1.TriedClaim{ClaimId: string(t.Now.ID), ClaimNumber: t.Now.Number, RepairDate: t.Now.RepairDate,
				StopsNow: before, StopsThen: after, PayerShareNow: wire.ToMoney(t.Now.Totals.PayerShare), PayerShareThen: wire.ToMoney(t.Then.Totals.PayerShare)})
		}
	}
	return resp, nil
}

// stopsOf lists the codes of what stops a claim, each once, in order.
func stopsOf(c claims.Claim) []string {
	var codes []string
	for _, f := range c.Findings {
		if f.Severity == finding.Stop {
			codes = append(codes, f.Code)
		}
	}
	slices.Sort(codes)
	return slices.Compact(codes)
}
