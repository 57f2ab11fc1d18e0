// Package accessrpc serves cullet.access.v1.AccessService, and tells the guard whose key a secret
// is.
//
// It refuses to show a secret twice, and to end the last owner key of a shop.
package accessrpc

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	accessv1 "cullet/proto/cullet/access/v1"
	"cullet/services/access"
	"cullet/services/access/accesspg"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
)

// Server serves the room. It is safe for concurrent use.
type Server struct {
	accessv1.UnimplementedAccessServiceServer
	db    *pg.DB
	pages *rpc.Pager
	now   func() time.Time
	// standards are the keys of the repair standards that a shop may work to.
	standards []string
	// readings are those whose usual range a shop may set.
	readings []access.Reading
}

// New makes the server. Standards are the keys of the repair standards that a shop may work to, readings
// those whose usual range it may set.
func New(db *pg.DB, pages *rpc.Pager, now func() time.Time, standards []string, readings []access.Reading) *Server {
	return &Server{db: db, pages: pages, now: now, standards: standards, readings: readings}
}

// GetCaller tells whose key this is.
func (s *Server) GetCaller(ctx context.Context, _ *accessv1.GetCallerRequest) (*accessv1.GetCallerResponse, error) {
	caller := rpc.CallerFrom(ctx)
	return &accessv1.GetCallerResponse{ShopId: string(caller.Shop), Name: caller.Name, Role: toRole(caller.Role)}, nil
}

// ListAuditEntries lists what was done, newest first.
func (s *Server) ListAuditEntries(
	ctx context.Context, req *accessv1.ListAuditEntriesRequest,
) (*accessv1.ListAuditEntriesResponse, error) {
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	var entries []accesspg.AuditEntry
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		entries, err = accesspg.ListAudit(ctx, tx, page.Before(), page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	entries, hasMore := rpc.Cut(entries, page)
	resp := &accessv1.ListAuditEntriesResponse{}
	last := ""
	for _, e := range entries {
		details, err := toDetails(e.Detail)
		if err != nil {
			return nil, fmt.Errorf("read audit entry %s: %w", e.ID, err)
		}
		resp.AuditEntries = append(resp.AuditEntries, &accessv1.AuditEntry{AuditEntryId: e.ID,
			OccurTime: wire.ToTime(e.OccurTime), Actor: e.Actor, Action: e.Action,
			SubjectKind: e.SubjectKind, SubjectId: e.SubjectID, Details: details})
		last = e.ID
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

// toDetails gives the fields of a JSON object as texts.
func toDetails(detail []byte) (map[string]string, error) {
	var fields map[string]any
	if err := json.Unmarshal(detail, &fields); err != nil {
		return nil, err
	}
	all := make(map[string]string, len(fields))
	for name, value := range fields {
		all[name] = fmt.Sprint(value)
	}
	return all, nil
}

// read runs fn in a read-only transaction of the caller's shop.
func (s *Server) read(ctx context.Context, fn pg.Func) error {
	return pg.Read(ctx, s.db, rpc.CallerFrom(ctx).Shop, fn)
}

// instant is now, in UTC, cut to the microseconds that the database keeps, so that an answer and what
// is read later are the same.
func (s *Server) instant() time.Time { return s.now().UTC().Truncate(time.Microsecond) }

// audit writes down what the caller did.
func (s *Server) audit(ctx context.Context, tx *pg.Tx, action, kind, id string) error {
	return outbox.Audit(ctx, tx, outbox.AuditEntry{OccurTime: s.now(), Actor: rpc.CallerFrom(ctx).Name,
		Action: action, SubjectKind: kind, SubjectID: id})
}

const rolePrefix = "ROLE_"

func toRole(r access.Role) accessv1.Role {
	return wire.Value[accessv1.Role](accessv1.Role_value, rolePrefix, r)
}
