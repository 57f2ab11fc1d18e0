package server_test

import (
	"context"
	"fmt"
	"net"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/protobuf/proto"

	jobsv1 "cullet/proto/cullet/jobs/v1"
	moneyv1 "cullet/proto/cullet/money/v1"
	"cullet/services/client"
	"cullet/services/server/servertest"
)

func dollars(minor int64) *moneyv1.Money {
	return &moneyv1.Money{MinorUnits: minor, CurrencyCode: "USD"}
}

// intakePool is how many connections to PostgreSQL the server and the floor may hold.
const intakePool = 16

// BenchmarkIntake measures RecordJob over TLS, with the shop's key, the guard, all checks, the
// assessment, the request id, the event and the work that follows, against the floor: an echo of the
// same message over TLS that makes one durable insert of its bytes. Both are called in turn, seven
// rounds each, by 16 callers and by one; a figure is the median of the rounds' ratios. The claim is
// opened by a worker afterwards, which is not in it. One operation is all rounds.
func BenchmarkIntake(b *testing.B) {
	w := startBench(b, servertest.Options{IsWithoutWorkers: true, PoolSize: intakePool})
	floor := startFloor(b, w)
	next := 0
	b.Run("16-callers", func(b *testing.B) { compareIntake(b, w, floor, 16, 100, &next) })
	b.Run("1-caller", func(b *testing.B) { compareIntake(b, w, floor, 1, 400, &next) })
}

func compareIntake(b *testing.B, w *benchWorld, floor string, callers, each int, next *int) {
	var ours, theirs []*client.Client
	for range callers {
		ours, theirs = append(ours, w.dial(b, w.Addresses.GRPC)), append(theirs, w.dial(b, floor))
	}
	round := func(clients []*client.Client) (rate float64, p99 time.Duration) {
		requests := make([][]*jobsv1.RecordJobRequest, callers)
		for c := range requests {
			for range each {
				*next++
				requests[c] = append(requests[c], &jobsv1.RecordJobRequest{RequestId: fmt.Sprint("bench-", *next),
					Record: w.record(b, fmt.Sprint("B-", *next))})
			}
		}
		return intake(b, clients, requests)
	}
	round(ours)
	round(theirs)
	b.ResetTimer()
	for b.Loop() {
		var ratios, tails, rates []float64
		for range 7 {
			floorRate, floorTail := round(theirs)
			rate, tail := round(ours)
			ratios, rates = append(ratios, rate/floorRate), append(rates, rate)
			tails = append(tails, float64(tail)/float64(floorTail))
		}
		b.ReportMetric(median(ratios), "x-floor-rate")
		b.ReportMetric(median(tails), "x-floor-p99")
		b.ReportMetric(median(rates), "records/s")
		b.ReportMetric(size(w.record(b, "B")), "B/message")
	}
}

// intake sends each client's requests one after the other, all clients at once.
func intake(b *testing.B, clients []*client.Client, requests [][]*jobsv1.RecordJobRequest) (rate float64, p99 time.Duration) {
	b.Helper()
	waits, failures := make([][]time.Duration, len(clients)), make([]error, len(clients))
	count := 0
	var calling sync.WaitGroup
	begin := time.Now()
	for c := range clients {
		count += len(requests[c])
		calling.Go(func() {
			for _, request := range requests[c] {
				sent := time.Now()
				if _, err := clients[c].Jobs.RecordJob(b.Context(), request); err != nil {
					failures[c] = err
					return
				}
				waits[c] = append(waits[c], time.Since(sent))
			}
		})
	}
	calling.Wait()
	spent := time.Since(begin)
	var all []time.Duration
	for c := range clients {
		if failures[c] != nil {
			b.Fatal(failures[c])
		}
		all = append(all, waits[c]...)
	}
	return float64(count) / spent.Seconds(), percentile(all, 99)
}

// echo is the floor: it keeps the record's bytes and sends the record back.
type echo struct {
	jobsv1.UnimplementedJobServiceServer
	insert func(context.Context, ...any) error
}

func (e echo) RecordJob(ctx context.Context, request *jobsv1.RecordJobRequest) (*jobsv1.RecordJobResponse, error) {
	raw, err := proto.Marshal(request)
	if err != nil {
		return nil, err
	}
	if err := e.insert(ctx, raw); err != nil {
		return nil, err
	}
	return &jobsv1.RecordJobResponse{Job: &jobsv1.Job{Record: request.GetRecord()}}, nil
}

func startFloor(b *testing.B, w *benchWorld) (address string) {
	b.Helper()
	w.Exec(`CREATE TABLE floor (id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY, body bytea NOT NULL)`)
	insert := w.Bare(intakePool, `INSERT INTO floor (body) VALUES ($1)`)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	s := grpc.NewServer(grpc.Creds(credentials.NewTLS(w.served)))
	jobsv1.RegisterJobServiceServer(s, echo{insert: insert})
	served := make(chan error, 1)
	go func() { served <- s.Serve(listener) }()
	b.Cleanup(func() { s.Stop(); <-served })
	return listener.Addr().String()
}
