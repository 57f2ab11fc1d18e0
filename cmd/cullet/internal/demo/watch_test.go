package demo

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	claimsv1 "cullet/proto/cullet/claims/v1"
)

// watch is the shop system's connection: it knows from each call what the shop system is doing, and
// orders the kills that are planned.
type watch struct {
	grpc.ClientConnInterface
	orders chan *moment

	mu      sync.Mutex
	planned [][]*moment
	// passed is how many calls of each phase passed since its last kill.
	passed []int
	// overdue are moments of phases that are over, for the next calls of any kind.
	overdue  []*moment
	phase    int
	night    int
	inFlight map[string]bool
	// resubmitted counts how often the shop system sent a claim again, by its identifier.
	resubmitted map[string]int
	// changes counts the changes that were answered with success, by method.
	changes map[string]int
	// differing are repetitions that were answered otherwise than the first call.
	differing []string
}

// looking is the phase of kills that are made up for while the shop system only looks.
const looking = "looking"

func newWatch(conn grpc.ClientConnInterface, planned [][]*moment) *watch {
	return &watch{ClientConnInterface: conn, planned: planned, passed: make([]int, len(phases)), orders: make(chan *moment),
		inFlight: map[string]bool{}, resubmitted: map[string]int{}, changes: map[string]int{}}
}

// Invoke makes a call; it returns after the kill that is planned for it.
func (w *watch) Invoke(ctx context.Context, method string, args, reply any, options ...grpc.CallOption) error {
	id := ""
	if change, ok := args.(interface{ GetRequestId() string }); ok {
		id = change.GetRequestId()
	}
	m := w.begin(method, id, args)
	if m != nil && m.isAnswerLost && id != "" {
		err := w.invokeTwice(ctx, m, method, args, reply, options)
		w.end(method, id, args, err)
		return err
	}
	w.order(ctx, m)
	err := w.ClientConnInterface.Invoke(ctx, method, args, reply, options...)
	w.end(method, id, args, err)
	m.await(ctx)
	return err
}

// invokeTwice makes a change whose answer the caller never sees, and repeats it after the kill. The
// second answer must be the first.
func (w *watch) invokeTwice(ctx context.Context, m *moment, method string, args, reply any, options []grpc.CallOption) error {
	err := w.ClientConnInterface.Invoke(ctx, method, args, reply, options...)
	w.order(ctx, m)
	m.await(ctx)
	if err != nil {
		return err
	}
	first := proto.Clone(reply.(proto.Message))
	if err = w.ClientConnInterface.Invoke(ctx, method, args, reply, options...); err != nil {
		return err
	}
	if second := reply.(proto.Message); !proto.Equal(first, second) {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.differing = append(w.differing, fmt.Sprintf("%s was answered with\n%v\nand when repeated with\n%v", method, first, second))
	}
	return nil
}

// NewStream begins an upload, which is answered after the kill that is planned for it.
func (w *watch) NewStream(ctx context.Context, desc *grpc.StreamDesc, method string, options ...grpc.CallOption) (grpc.ClientStream, error) {
	m := w.begin(method, "", nil)
	w.order(ctx, m)
	stream, err := w.ClientConnInterface.NewStream(ctx, desc, method, options...)
	return watched{stream, m}, err
}

type watched struct {
	grpc.ClientStream
	moment *moment
}

func (w watched) RecvMsg(into any) error {
	err := w.ClientStream.RecvMsg(into)
	w.moment.await(w.Context())
	return err
}

func (m *moment) await(ctx context.Context) {
	if m == nil {
		return
	}
	select {
	case <-m.done:
	case <-ctx.Done():
	}
}

// begin counts a call to its phase and gives the moment that is planned for it; nil for most.
func (w *watch) begin(method, id string, args any) *moment {
	w.mu.Lock()
	defer w.mu.Unlock()
	if id != "" {
		w.inFlight[id] = true
	}
	return w.next(w.phaseOf(method[strings.LastIndex(method, "/")+1:], args))
}

// order has the kill of a moment happen when its time has come; none for nil.
func (w *watch) order(ctx context.Context, m *moment) {
	if m == nil {
		return
	}
	time.AfterFunc(m.wait, func() {
		select {
		case w.orders <- m:
		case <-ctx.Done():
		}
	})
}

// next gives what is planned for a call of a phase, or else what is overdue; a call of no phase is "".
func (w *watch) next(name string) *moment {
	i := slices.IndexFunc(phases, func(p phase) bool { return p.name == name })
	switch {
	case i >= 0:
		w.phase = i
		w.pass(i - 1) // records and their opening take turns
		if w.passed[i]++; len(w.planned[i]) > 0 && w.passed[i] > w.planned[i][0].gap {
			m := w.planned[i][0]
			w.planned[i], w.passed[i], m.phase = w.planned[i][1:], 0, name
			return m
		}
	case w.phase == len(phases)-1:
		w.pass(len(phases))
	}
	if len(w.overdue) == 0 {
		return nil
	}
	m := w.overdue[0]
	w.overdue, m.phase = w.overdue[1:], cmp.Or(name, looking)
	return m
}

func (w *watch) end(method, id string, args any, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if delete(w.inFlight, id); id == "" || err != nil {
		return
	}
	w.changes[method[strings.LastIndex(method, "/")+1:]]++
	if again, ok := args.(*claimsv1.ResubmitClaimRequest); ok {
		w.resubmitted[again.GetClaimId()]++
	}
}

// unanswered lists the changes whose callers wait.
func (w *watch) unanswered() (ids []string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for id := range w.inFlight {
		ids = append(ids, id)
	}
	return ids
}

// pass makes overdue what is left of the phases before one.
func (w *watch) pass(phase int) {
	for before := range max(0, phase) {
		w.overdue = append(w.overdue, w.planned[before]...)
		w.planned[before] = nil
	}
}

// phaseOf tells from a call what the shop system is doing; "" when it only looks.
func (w *watch) phaseOf(method string, args any) string {
	now := phases[w.phase].name
	switch method {
	case "CreatePayer", "SetPayerCredentials":
		return "setup"
	case "UploadPhoto":
		return "upload"
	case "RecordJob":
		return "record"
	case "ListClaims":
		if strings.HasPrefix(args.(*claimsv1.ListClaimsRequest).GetFilter(), "job_id") {
			return "open"
		}
	case "UpdateCoverage", "ResubmitClaim":
		return "mend"
	case "ReleaseClaims":
		return "release"
	case "StartRun":
		w.night++
		return fmt.Sprint("run ", w.night)
	case "ListRuns":
		if strings.HasPrefix(now, "run") {
			return fmt.Sprint("answers ", w.night)
		}
	case "GetRun", "ListMessages":
		if strings.HasPrefix(now, "run") || strings.HasPrefix(now, "answers") {
			return now
		}
	case "InvoiceJob", "RecordPayment":
		return "motorists"
	case "PostRemittance":
		return "deposits"
	}
	return ""
}
