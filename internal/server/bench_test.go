package server

import (
	"context"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// BenchmarkREST previews the demo brief over one connection, and gives the time as a multiple of a bare net/http handler's that
// reads the same request and writes the same answer without reckoning anything.
func BenchmarkREST(b *testing.B) {
	s := start(b, Config{})
	body := request(demoBrief(b))
	answer := s.post(b, preview, body).body
	bare := floor(b, answer)
	const turns = 300
	began := time.Now()
	for range turns {
		again(b, s.web, bare, body, len(answer))
	}
	least := float64(time.Since(began).Nanoseconds()) / turns
	for b.Loop() {
		again(b, s.web, "http://"+s.address+preview, body, len(answer))
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/least, "x-bare")
	b.ReportMetric(least, "bare-ns/op")
	b.ReportMetric(float64(len(answer)), "B/answer")
}

// floor serves an answer that stands fast.
func floor(b *testing.B, answer []byte) string {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	s := &http.Server{ReadHeaderTimeout: time.Second, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		w.Header().Set("Content-Type", "application/json")
		_, _ = w.Write(answer)
	})}
	go func() { _ = s.Serve(l) }()
	b.Cleanup(func() { _ = s.Close() })
	return "http://" + l.Addr().String() + preview
}

func again(b *testing.B, web *http.Client, url, body string, want int) {
	reply, err := web.Post(url, "application/json", strings.NewReader(body))
	if err != nil {
		b.Fatal(err)
	}
	n, err := io.Copy(io.Discard, reply.Body)
	_ = reply.Body.Close()
	if err != nil || int(n) != want || reply.StatusCode != http.StatusOK {
		b.Fatal(reply.StatusCode, n, err)
	}
}

// BenchmarkPreviewParts says what a preview's time goes to.
func BenchmarkPreviewParts(b *testing.B) {
	rules := rulesOf(b)
	common := demoRoom(b, rules)
	book := demoBook(b, rules)
	body := []byte(request(demoBrief(b)))
	r := decoded(b, string(body), &mouldwrightv1.PreviewQuoteRequest{})
	asked, faults := wire.Brief(r.GetBrief())
	require.Empty(b, faults)
	q, err := estimate.Price(asked, book.Edition)
	require.NoError(b, err)
	answer := wire.Quote(q, false)
	var encoder wire.Encoder
	for name, part := range map[string]func(){
		"decode":   func() { _ = wire.Decode(body, &mouldwrightv1.PreviewQuoteRequest{}) },
		"validate": func() { _ = rules.Check(r) },
		"price":    func() { _, _ = estimate.Price(asked, book.Edition) },
		"build":    func() { wire.Quote(q, false) },
		"encode":   func() { _, _ = encoder.Encode(answer) },
		"handler": func() {
			_, _ = (&quoteService{intake: common.intake, keep: common.keep}).PreviewQuote(asStudio(context.Background()), r)
		},
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				part()
			}
		})
	}
}
