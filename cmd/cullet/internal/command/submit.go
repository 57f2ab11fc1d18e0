package command

import (
	"context"
	"fmt"
	"time"

	runsv1 "cullet/proto/cullet/runs/v1"
	"cullet/services/client"
)

type submitCommand struct {
	DryRun bool `help:"Only say what would leave; writes nothing." name:"dry-run"`
	Detach bool `help:"Start the run and do not wait for its end."`
}

// Run starts the nightly run, or joins the one under way, and waits for its end. Exit code 4 when
// something did not leave.
func (c *submitCommand) Run(w *world) error {
	server, err := w.dial()
	if err != nil {
		return err
	}
	defer server.Close()
	started, err := server.Runs.StartRun(w, &runsv1.StartRunRequest{IsDryRun: c.DryRun, RequestId: w.globals.RequestID})
	if err != nil {
		return err
	}
	run := started.GetRun()
	if !c.DryRun && !c.Detach {
		if run, err = waitForRun(w, server, run.GetRunId()); err != nil {
			return err
		}
	}
	if w.globals.JSON {
		return w.printJSON(run)
	}
	return w.printRun(run, c.DryRun)
}

// waitForRun asks until the run has ended.
func waitForRun(ctx context.Context, server *client.Client, id string) (*runsv1.Run, error) {
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for {
		answer, err := server.Runs.GetRun(ctx, &runsv1.GetRunRequest{RunId: id})
		if err != nil {
			return nil, err
		}
		if answer.GetRun().GetState() != runsv1.RunState_RUN_STATE_RUNNING {
			return answer.GetRun(), nil
		}
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("stopped waiting; the run goes on in the server: %w", context.Cause(ctx))
		case <-tick.C:
		}
	}
}

func (w *world) printRun(run *runsv1.Run, isDryRun bool) error {
	t := w.newTable("Payer", "Control number", "Claims", "Sum", "State", "What it said")
	right(t, 2, 3, 4)
	failed := 0
	for _, b := range run.GetBatches() {
		if !isDryRun && b.GetState() != "SENT" {
			failed++
		}
		number := fmt.Sprint(b.GetControlNumber())
		if b.GetControlNumber() == 0 {
			number = "next"
		}
		t.AppendRow([]any{b.GetPayerName(), number, b.GetClaimCount(), sum(b.GetTotal()), stateWords(b.GetState(), ""), b.GetLastAnswer()})
	}
	t.AppendFooter([]any{"", "", run.GetSentCount(), sum(run.GetSentTotal()), "", ""})
	t.Render()
	for _, reason := range run.GetHeldReasons() {
		fmt.Fprintln(w.out, reason)
	}
	if failed > 0 {
		return &failure{exitFindings, fmt.Errorf("batches that did not arrive: %d; they are tried again", failed)}
	}
	return nil
}
