package claimsrpc

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"slices"

	claimsv1 "cullet/proto/cullet/claims/v1"
	"cullet/services/claims"
	"cullet/services/claims/claimspg"
	"cullet/services/errs"
	"cullet/services/internal/outbox"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
)

// timelineLimit is how many events of a claim are shown; more than a claim's life ever has.
const timelineLimit = 500

// GetClaim gives one claim with its timeline and its submissions.
func (s *Server) GetClaim(ctx context.Context, req *claimsv1.GetClaimRequest) (*claimsv1.GetClaimResponse, error) {
	id, err := claimID(req.GetClaimId())
	if err != nil {
		return nil, err
	}
	var resp *claimsv1.GetClaimResponse
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		resp = &claimsv1.GetClaimResponse{}
		c, err := claimspg.Get(ctx, tx, id)
		if err != nil {
			return err
		}
		if resp.Claim, err = answer(ctx, tx, c); err != nil {
			return err
		}
		events, err := outbox.Timeline(ctx, tx, "claim", string(id), 0, timelineLimit)
		if err != nil {
			return err
		}
		for _, e := range slices.Backward(events) {
			resp.Timeline = append(resp.Timeline, toTimeline(e))
		}
		batches, err := s.line.Submissions(ctx, tx, c)
		for _, b := range batches {
			resp.Submissions = append(resp.Submissions, toSubmission(b))
		}
		return err
	})
	return resp, err
}

// filterFields are what ListClaims can be asked to filter by.
var filterFields = rpc.FilterFields{
	"state":          {Kind: rpc.Word, SQL: "c.state", Words: stateWords()},
	"payer_code":     {Kind: rpc.Text, SQL: "p.code"},
	"claim_number":   {Kind: rpc.Text, SQL: "'C-' || lpad(c.sequence::text, 6, '0')"},
	"job_id":         {Kind: rpc.ID, SQL: "c.job_id"},
	"vin_tail":       {Kind: rpc.Text, SQL: "right(c.vin, 6)"},
	"repair_date":    {Kind: rpc.Day, SQL: "c.repair_date"},
	"invoice_number": {Kind: rpc.Text, SQL: "i.number"},
	"is_held":        {Kind: rpc.Bool, SQL: "(c.hold_reason <> '')"},
}

func stateWords() []string {
	var all []string
	for _, s := range claims.States() {
		all = append(all, string(s))
	}
	return all
}

// ListClaims lists claims, newest first.
func (s *Server) ListClaims(ctx context.Context, req *claimsv1.ListClaimsRequest) (*claimsv1.ListClaimsResponse, error) {
	filter, faults := rpc.ParseFilter(req.GetFilter(), filterFields)
	if err := rpc.Refuse(ctx, faults); err != nil {
		return nil, err
	}
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	where, args := filter.Where(4)
	var all []claims.Claim
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = claimspg.List(ctx, tx, page.Before(), page.Size+1, where, args...)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &claimsv1.ListClaimsResponse{}
	last := ""
	for _, c := range all {
		resp.Claims = append(resp.Claims, toClaim(c))
		last = string(c.ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

// ListTasks lists what needs a person.
func (s *Server) ListTasks(ctx context.Context, req *claimsv1.ListTasksRequest) (*claimsv1.ListTasksResponse, error) {
	if reason := req.GetReason(); reason != "" && !slices.Contains(claims.TaskReasons(), claims.TaskReason(reason)) {
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "reason", Reason: "UNKNOWN_REASON", Message: "it is none of the reasons that Task.reason lists"}})
	}
	page, err := s.pages.Open(ctx, req, rpc.Sizes{Default: 100, Max: 500})
	if err != nil {
		return nil, err
	}
	after := ""
	if len(page.After) > 0 {
		after = page.After[0]
	}
	var tasks []claimspg.PlacedTask
	var groups []claims.TaskGroup
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		if tasks, err = claimspg.Tasks(ctx, tx, s.now().UTC(), req.GetReason(), after, page.Size+1); err != nil {
			return err
		}
		groups, err = claimspg.TaskGroups(ctx, tx, s.now().UTC())
		return err
	})
	if err != nil {
		return nil, err
	}
	tasks, hasMore := rpc.Cut(tasks, page)
	resp := &claimsv1.ListTasksResponse{}
	last := ""
	for _, t := range tasks {
		resp.Tasks = append(resp.Tasks, toTask(t.Task))
		last = t.Place
	}
	for _, reason := range claims.TaskReasons() {
		for _, g := range groups {
			if g.Reason == reason {
				resp.Groups = append(resp.Groups, &claimsv1.TaskGroup{Reason: string(reason), TaskCount: int32(g.Count), MinorUnits: g.Minor})
			}
		}
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

// GetClaimPayload gives the frozen payload, or what it would be now.
func (s *Server) GetClaimPayload(ctx context.Context, req *claimsv1.GetClaimPayloadRequest) (*claimsv1.GetClaimPayloadResponse, error) {
	id, err := claimID(req.GetClaimId())
	if err != nil {
		return nil, err
	}
	var payload []byte
	var isFrozen bool
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		if payload, err = claimspg.Payload(ctx, tx, id); err != nil {
			return err
		}
		if isFrozen = payload != nil; isFrozen {
			return nil
		}
		payload, err = s.line.Payload(ctx, tx, id)
		return err
	})
	if err != nil {
		return nil, err
	}
	hash := sha256.Sum256(payload)
	return &claimsv1.GetClaimPayloadResponse{PayloadJson: string(payload), PayloadHash: hex.EncodeToString(hash[:]), IsFrozen: isFrozen}, nil
}
