package jobsrpc_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
)

// BenchmarkRefusal measures RecordJob over gRPC for records of one to eight faults of the catalogue, against
// the same call for records that are sound and stored. Both are called in turn by one caller, 1,500 of each;
// a figure compares the medians. PostgreSQL does not sync to disk here, which makes the sound record, and
// with it the comparison, harder. One operation is all calls.
func BenchmarkRefusal(b *testing.B) {
	w := start(b)
	sound, conn, all, n := w.sound("V-1"), w.Raw(), catalogue(), 0
	random := rand.New(rand.NewPCG(1, 2))
	for b.Loop() {
		var refused, stored []time.Duration
		for range 1500 {
			n++
			good := made(sound)
			good.RequestId, good.Record.ExternalReference = fmt.Sprint("r-", n), fmt.Sprint("V-", n)
			begin := time.Now()
			if _, err := w.Jobs.RecordJob(b.Context(), good); err != nil {
				b.Fatal(err)
			}
			stored = append(stored, time.Since(begin))
			bad := made(sound, mixed(random, all, 8)...)
			begin = time.Now()
			if a := send(b.Context(), b, conn, w.OwnerKey, bad); a.code != codes.InvalidArgument {
				b.Fatal(a)
			}
			refused = append(refused, time.Since(begin))
		}
		slices.Sort(stored)
		slices.Sort(refused)
		bad, good := refused[len(refused)/2], stored[len(stored)/2]
		b.ReportMetric(float64(bad)/float64(good), "x-sound")
		b.ReportMetric((bad-good).Seconds()*1000, "ms-added")
		b.ReportMetric(good.Seconds()*1000, "ms-sound")
	}
}
