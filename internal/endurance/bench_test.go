//go:build linux

package endurance

import (
	"fmt"
	"math/rand/v2"
	"sync/atomic"
	"testing"

	v1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// BenchmarkCreateAndIssue creates and issues quotes over REST, each of the two a durable
// transaction with a request id: a figure, and no test. PostgreSQL writes to the disk only
// with MOULDWRIGHT_FSYNC set.
func BenchmarkCreateAndIssue(b *testing.B) {
	for _, callers := range []int{1, 8} {
		b.Run(fmt.Sprintf("sqlite/%d", callers), func(b *testing.B) { createAndIssue(b, file(b), callers) })
		b.Run(fmt.Sprintf("postgres/%d", callers), func(b *testing.B) { createAndIssue(b, shared(b), callers) })
	}
}

func createAndIssue(b *testing.B, kept place, callers int) {
	b.Helper()
	p := start(b, kept)
	writers := newWriters(rand.New(rand.NewPCG(1, 1)), callers, offered)
	through := []door{overREST(b, p)}
	var left atomic.Int64
	left.Store(int64(b.N))
	b.ResetTimer()
	err := write(b.Context(), writers, through, steady(), func(w *writer) bool { return w.busy() || left.Add(-1) >= 0 })
	b.StopTimer()
	if err != nil {
		b.Fatal(err)
	}
	p.stop(b)
	ended := p.command.ProcessState
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "quotes/s")
	b.ReportMetric(float64((ended.UserTime()+ended.SystemTime()).Milliseconds())/float64(b.N), "server-cpu-ms/quote") // with its start
}

// offered is a new tale of a quote that is created and issued.
func offered(key string, _ *rand.Rand) *tale {
	return &tale{key: key, plan: []v1.QuoteAct{v1.QuoteAct_QUOTE_ACT_CREATE, v1.QuoteAct_QUOTE_ACT_ISSUE}}
}
