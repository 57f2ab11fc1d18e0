// Package runsrpc serves cullet.runs.v1.RunService.
//
// It refuses to run anything itself: it writes down that a run is wanted, and the workers do it.
package runsrpc

import (
	"context"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	runsv1 "cullet/proto/cullet/runs/v1"
	"cullet/services/errs"
	"cullet/services/ident"
	"cullet/services/internal/pg"
	"cullet/services/internal/rpc"
	"cullet/services/internal/rpc/wire"
	"cullet/services/pipeline"
	"cullet/services/runs"
	"cullet/services/runs/runspg"
)

// Server serves the room. It is safe for concurrent use.
type Server struct {
	runsv1.UnimplementedRunServiceServer
	db    *pg.DB
	pages *rpc.Pager
	now   func() time.Time
	line  *pipeline.Pipeline
}

// New makes the server.
func New(db *pg.DB, pages *rpc.Pager, now func() time.Time, line *pipeline.Pipeline) *Server {
	return &Server{db: db, pages: pages, now: now, line: line}
}

func (s *Server) read(ctx context.Context, fn pg.Func) error {
	return pg.Read(ctx, s.db, rpc.CallerFrom(ctx).Shop, fn)
}

// StartRun starts a run, or joins the one under way. A dry run writes nothing and says what a run
// would do.
func (s *Server) StartRun(ctx context.Context, req *runsv1.StartRunRequest) (*runsv1.StartRunResponse, error) {
	if req.GetIsDryRun() {
		return s.dryRun(ctx)
	}
	return rpc.Once(ctx, s.db, req, func(ctx context.Context, tx *pg.Tx) (*runsv1.StartRunResponse, error) {
		run, err := s.line.StartRun(ctx, tx)
		return &runsv1.StartRunResponse{Run: toRun(run, nil)}, err
	})
}

func (s *Server) dryRun(ctx context.Context) (*runsv1.StartRunResponse, error) {
	resp := &runsv1.StartRunResponse{}
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		plan, err := s.line.Plan(ctx, tx)
		if err != nil {
			return err
		}
		resp.Run = toRun(plan.Run, plan.Batches)
		return nil
	})
	return resp, err
}

// GetRun gives one run with its batches.
func (s *Server) GetRun(ctx context.Context, req *runsv1.GetRunRequest) (*runsv1.GetRunResponse, error) {
	id, ok := ident.Parse[ident.Run](req.GetRunId())
	if !ok {
		return nil, errs.Missing("run", req.GetRunId())
	}
	resp := &runsv1.GetRunResponse{}
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		run, err := runspg.Get(ctx, tx, id)
		if err != nil {
			return err
		}
		batches, err := runspg.OfRun(ctx, tx, id)
		resp.Run = toRun(run, batches)
		return err
	})
	return resp, err
}

// ListRuns lists runs, newest first.
func (s *Server) ListRuns(ctx context.Context, req *runsv1.ListRunsRequest) (*runsv1.ListRunsResponse, error) {
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	var all []runs.Run
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = runspg.List(ctx, tx, page.Before(), page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &runsv1.ListRunsResponse{}
	last := ""
	for _, r := range all {
		resp.Runs = append(resp.Runs, toRun(r, nil))
		last = string(r.ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

// GetBatchDocument gives the very bytes of a batch.
func (s *Server) GetBatchDocument(ctx context.Context, req *runsv1.GetBatchDocumentRequest) (*runsv1.GetBatchDocumentResponse, error) {
	id, ok := ident.Parse[ident.Batch](req.GetBatchId())
	if !ok {
		return nil, errs.Missing("batch", req.GetBatchId())
	}
	resp := &runsv1.GetBatchDocumentResponse{}
	err := s.read(ctx, func(ctx context.Context, tx *pg.Tx) error {
		b, content, err := runspg.Batch(ctx, tx, id)
		resp.Content, resp.MediaType, resp.DocumentHash = content, b.MediaType, b.Hash
		return err
	})
	return resp, err
}

// shownBody is how much of a message is shown.
const shownBody = 4096

// ListMessages lists messages that payers sent, newest first.
func (s *Server) ListMessages(ctx context.Context, req *runsv1.ListMessagesRequest) (*runsv1.ListMessagesResponse, error) {
	switch runs.MessageState(req.GetState()) {
	case "", runs.Received, runs.Posted, runs.UnknownClaim, runs.Refused:
	default:
		return nil, rpc.Refuse(ctx, []errs.Field{{Path: "state", Reason: "UNKNOWN_VALUE",
			Message: fmt.Sprintf("%.40q was given; allowed are RECEIVED, POSTED, UNKNOWN_CLAIM, REFUSED", req.GetState())}})
	}
	page, err := s.pages.Open(ctx, req, rpc.Usual)
	if err != nil {
		return nil, err
	}
	var all []runs.Message
	err = s.read(ctx, func(ctx context.Context, tx *pg.Tx) (err error) {
		all, err = runspg.Messages(ctx, tx, page.Before(), req.GetState(), page.Size+1)
		return err
	})
	if err != nil {
		return nil, err
	}
	all, hasMore := rpc.Cut(all, page)
	resp := &runsv1.ListMessagesResponse{}
	last := ""
	for _, m := range all {
		resp.Messages = append(resp.Messages, toMessage(m))
		last = string(m.ID)
	}
	resp.NextPageToken, err = page.Next(hasMore, last)
	return resp, err
}

func toMessage(m runs.Message) *runsv1.Message {
	body := m.Body[:min(len(m.Body), shownBody)]
	text := string(body)
	if !utf8.ValidString(text) {
		text = strings.ToValidUTF8(text, "?")
	}
	return &runsv1.Message{MessageId: string(m.ID), PayerId: string(m.Payer), PayerName: m.PayerName, ExternalId: m.ExternalID,
		State: string(m.State), ReceiveTime: wire.ToTime(m.ReceiveTime), Sentence: m.Sentence, BodyText: text}
}

func toRun(r runs.Run, batches []runs.Batch) *runsv1.Run {
	message := &runsv1.Run{RunId: string(r.ID), BusinessDate: r.BusinessDate,
		State:     wire.Value[runsv1.RunState](runsv1.RunState_value, "RUN_STATE_", r.State),
		StartTime: wire.ToTime(r.StartTime), FinishTime: wire.ToTimeOrNil(r.FinishTime), ReleasedCount: int32(r.ReleasedCount),
		SentCount: int32(r.SentCount), HeldReasons: r.HeldReasons, SentTotal: wire.ToMoney(r.SentTotal)}
	for _, b := range batches {
		message.Batches = append(message.Batches, &runsv1.Batch{BatchId: string(b.ID), PayerId: string(b.Payer), PayerName: b.PayerName,
			ControlNumber: b.ControlNumber, State: string(b.State), ClaimCount: int32(b.ClaimCount), Total: wire.ToMoney(b.Total),
			Format: b.Format, Channel: b.Channel, DocumentHash: b.Hash, SizeBytes: b.SizeBytes, AttemptCount: int32(b.AttemptCount),
			LastAnswer: b.LastAnswer, SendTime: wire.ToTimeOrNil(b.SendTime)})
	}
	return message
}
