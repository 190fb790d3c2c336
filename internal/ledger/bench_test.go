package ledger_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/ledger"
)

// BenchmarkLedger says what it takes to price and keep the demo brief, with its two
// alternatives, and to read it back, and how large what is kept is.
func BenchmarkLedger(b *testing.B) {
	s := newStudio(b)
	pb := s.brief(b, "toadstool-trail")
	c, _ := s.priced(b, pb)
	pages, err := ledger.Unpack(c.Document, ledger.Studio)
	require.NoError(b, err)
	b.Run("Price", func(b *testing.B) {
		for b.Loop() {
			if _, _, err := ledger.Price(s.book, pb); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(len(c.Brief)), "B/brief")
		b.ReportMetric(float64(len(pages[0])), "B/client")
		b.ReportMetric(float64(len(pages[1])), "B/studio")
		b.ReportMetric(float64(len(c.Document)), "B/packed")
	})
	for name, view := range map[string]ledger.View{"ReadClient": ledger.Client, "ReadStudio": ledger.Studio} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := ledger.Read(c, view); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
