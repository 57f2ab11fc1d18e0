// Package payersrpc serves cullet.payers.v1.PayerService.
//
// It refuses a profile that could not work: a pattern that does not compile, a format or channel
// that nobody built, price agreements that overlap. It never shows credentials.
package payersrpc

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"time"

	payersv1 "cullet/proto/cullet/payers/v1"
	"cullet/services/access"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/internal/seal"
	"cullet/services/payers"
	"cullet/services/payers/payerspg"
	"cullet/services/pipeline"
)

// Config is what the room works with.
type Config struct {
	DB    *pg.DB
	Pages *rpc.Pager
	Ring  *seal.Ring
	Now   func() time.Time
	// Shop reads the transaction's shop: prices are in the currency of its books.
	Shop func(context.Context, *pg.Tx) (access.Shop, error)
	// Formats and Channels are the names that a profile may use.
	Formats, Channels []string
	// CoverageFields are the names that a profile may demand or forbid.
	CoverageFields map[string]bool
	// Line tries profiles against past claims.
	Line *pipeline.Pipeline
	// Standards are the keys of the repair standards that a profile may demand.
	Standards []string
	// Readings are the names of the readings of a process that a profile may demand.
	Readings []string
}

// Server serves the room. It is safe for concurrent use.
type Server struct {
	payersv1.UnimplementedPayerServiceServer
	Config
}

// New makes the server.
func New(c Config) *Server { return &Server{Config: c} }

// GetPayer gives one payer with its present profile.
func (s *Server) GetPayer(
	ctx context.Context, req *payersv1.GetPayerRequest,
) (*payersv1.GetPayerResponse, error) {
	id, ok := ident.Parse[ident.Payer](req.GetPayerId())
	if !ok {
		return nil, errs.Missing("payer", req.GetPayerId())
	}
	var payer payers.Payer
	err := pg.Read(ctx, s.DB, rpc.CallerFrom(ctx).Shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		payer, err = payerspg.Get(ctx, tx, id)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &payersv1.GetPayerResponse{Payer: toPayer(payer)}, nil
}

const smallestID = "00000000-0000-0000-0000-000000000000"

// ListPayers lists payers by name.
func (s *Server) ListPayers(
	ctx context.Context, req *payersv1.ListPayersRequest,
) (*payersv1.ListPayersResponse, error) {
	page, err := s.Pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	name, id := "", ident.Payer(smallestID)
	if len(page.After) == 2 {
		name, id = page.After[0], ident.Payer(page.After[1])
	}
	var all []payers.Payer
	err = pg.Read(ctx, s.DB, rpc.CallerFrom(ctx).Shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = payerspg.List(ctx, tx, name, id, page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &payersv1.ListPayersResponse{}
	for _, p := range all {
		resp.Payers = append(resp.Payers, toPayer(p))
		name, id = p.Name, p.ID
	}
	resp.NextPageToken, err = page.Next(hasMore, name, string(id))
	return resp, err
}

// CreatePayer adds a payer with the first version of its profile.
func (s *Server) CreatePayer(
	ctx context.Context, req *payersv1.CreatePayerRequest,
) (*payersv1.CreatePayerResponse, error) {
	profile := fromProfile(req.GetProfile())
	profile.Version = 1
	faults := checkNames(req)
	faults = append(faults, s.checkProfile("profile", req.GetProfile(), profile)...)
	faults = append(faults, checkReach("profile", wire.Word[payers.Kind](kindPrefix, req.GetKind()), profile)...)
	currency, err := s.checkCurrency(ctx, "profile", req.GetProfile())
	if err != nil {
		return nil, err
	}
	if err := rpc.Refuse(ctx, append(faults, currency...)); err != nil {
		return nil, err
	}
	caller := rpc.CallerFrom(ctx)
	payer := payers.Payer{ID: ident.New[ident.Payer](), Shop: caller.Shop, Code: req.GetCode(), Name: req.GetName(),
		Kind: wire.Word[payers.Kind](kindPrefix, req.GetKind()), Profile: profile,
		CreateTime: s.Now().UTC().Truncate(time.Microsecond), Version: 1, InboundRoute: newRoute()}
	return rpc.Once(ctx, s.DB, req, func(ctx context.Context, tx *pg.Tx) (*payersv1.CreatePayerResponse, error) {
		if err := payerspg.Insert(ctx, tx, payer, caller.Name); err != nil {
			return nil, err
		}
		if err := s.audit(ctx, tx, "payer.created", payer.ID); err != nil {
			return nil, err
		}
		return &payersv1.CreatePayerResponse{Payer: toPayer(payer)}, nil
	})
}

// newRoute makes 144 random bits that nobody can guess: the route is not a secret, the signature
// decides, but strangers shall not find it.
func newRoute() string {
	random := make([]byte, 18)
	_, _ = rand.Read(random) // crypto/rand.Read never fails: it ends the program instead
	return base64.RawURLEncoding.EncodeToString(random)
}

// UpdatePayerProfile stores a new version of the profile; claims that have not left the house are
// checked again.
func (s *Server) UpdatePayerProfile(
	ctx context.Context, req *payersv1.UpdatePayerProfileRequest,
) (*payersv1.UpdatePayerProfileResponse, error) {
	profile := fromProfile(req.GetProfile())
	version, faults := rpc.ParseEtag("etag", req.GetEtag())
	faults = append(faults, s.checkProfile("profile", req.GetProfile(), profile)...)
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
	return rpc.Once(ctx, s.DB, req, func(ctx context.Context, tx *pg.Tx) (*payersv1.UpdatePayerProfileResponse, error) {
		payer, err := payerspg.Lock(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		if err := rpc.CheckVersion(version, payer.Version); err != nil {
			return nil, err
		}
		if err := rpc.Refuse(ctx, checkReach("profile", payer.Kind, profile)); err != nil {
			return nil, err
		}
		next := payer.Profile.Version + 1
		payer.Profile = profile
		payer.Profile.Version = next
		payer.Version++
		if err := payerspg.SetProfile(ctx, tx, payer, rpc.CallerFrom(ctx).Name, s.Now().UTC()); err != nil {
			return nil, err
		}
		if err := outbox.Enqueue(ctx, tx, payers.TopicChanged, id); err != nil {
			return nil, err
		}
		if err := s.audit(ctx, tx, "payer.profile_updated", id); err != nil {
			return nil, err
		}
		return &payersv1.UpdatePayerProfileResponse{Payer: toPayer(payer)}, nil
	})
}

func (s *Server) audit(ctx context.Context, tx *pg.Tx, action string, id ident.Payer) error {
	return outbox.Audit(ctx, tx, outbox.AuditEntry{OccurTime: s.Now(), Actor: rpc.CallerFrom(ctx).Name,
		Action: action, SubjectKind: "payer", SubjectID: string(id)})
}

// checkCurrency compares the prices' currency with that of the shop's books.
func (s *Server) checkCurrency(ctx context.Context, path string, m *payersv1.PayerProfile) ([]errs.Field, error) {
	var shop access.Shop
	err := pg.Read(ctx, s.DB, rpc.CallerFrom(ctx).Shop, func(ctx context.Context, tx *pg.Tx) (err error) {
		shop, err = s.Shop(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	var faults []errs.Field
	for i, a := range m.GetPriceAgreements() {
		faults = append(faults, checkPrices(fmt.Sprintf("%s.price_agreements[%d]", path, i), a, shop.CurrencyCode)...)
	}
	return faults, nil
}
