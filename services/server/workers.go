package server

import (
	"context"
	"time"

	"cullet/services/access"
	"cullet/services/internal/outbox"
	"cullet/services/jobs/jobspg"
	"cullet/services/payers"
	"cullet/services/pipeline"
)

// workerGrace is how long handlers may go on after the end; what they do not finish is done again.
const workerGrace = 8 * time.Second

// startWorkers does what waits in the outbox. Topics that wait for others' servers, or take minutes,
// have workers of their own, so that a slow payer or a long file does not keep claims from being
// checked.
func (s *service) startWorkers(ctx context.Context) {
	ctx, s.endWorker = context.WithCancel(context.WithoutCancel(ctx))
	if s.IsWithoutWorkers {
		return
	}
	checks := map[string]outbox.Handler{
		pipeline.TopicOpen:  s.line.Open,
		pipeline.TopicCheck: s.line.Recheck,
		pipeline.TopicPost:  s.line.Post,
		payers.TopicChanged: s.line.PayerChanged,
		access.TopicChanged: s.line.ShopChanged,
	}
	checks[jobspg.TopicForget] = jobspg.Forgetter{DB: s.db, Now: s.Now}.Forget
	if s.Photos != nil {
		checks[jobspg.TopicSweep] = jobspg.Sweeper{DB: s.db, Store: s.Photos, Now: s.Now}.Sweep
	}
	var workers []*outbox.Worker
	for _, group := range []struct {
		concurrency int
		handlers    map[string]outbox.Handler
	}{
		{4, checks},
		{2, map[string]outbox.Handler{pipeline.TopicRun: s.line.Advance}},
		{2, map[string]outbox.Handler{jobspg.TopicImport: s.jobs().AdvanceImport}},
		{8, map[string]outbox.Handler{pipeline.TopicSend: s.line.Send}},
	} {
		workers = append(workers, outbox.NewWorker(s.db, outbox.Options{Concurrency: group.concurrency, Grace: workerGrace,
			Log: s.Log}, group.handlers))
	}
	s.workers.Go(func() { outbox.RunTogether(ctx, workers...) })
	s.workers.Go(func() { s.line.NewCourier().Run(ctx) })
}
