package desk_test

import (
	"fmt"
	"os"
	"testing"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/wire"
)

func demoBrief(t testing.TB, name string) *mouldwrightv1.Brief {
	t.Helper()
	doc, err := os.ReadFile("../../testdata/briefs/" + name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	b := &mouldwrightv1.Brief{}
	if err := wire.Decode(doc, b).Err(); err != nil {
		t.Fatal(err)
	}
	return b
}

func domainBrief(t testing.TB, book *desk.Book, pb *mouldwrightv1.Brief) *brief.Brief {
	t.Helper()
	b, err := book.Brief(pb)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// BenchmarkEstimate times the pipeline from brief to quote, on one goroutine:
// the demo brief without and with its options, and briefs of 1, 10 and 100
// pieces.
func BenchmarkEstimate(b *testing.B) {
	book, _ := demoBook(b)
	trail := domainBrief(b, book, demoBrief(b, "toadstool-trail"))
	plain := *trail
	plain.Options = nil
	run := func(name string, of *brief.Brief) {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := estimate.Price(of, book.Edition); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	run("demo", &plain)
	run(fmt.Sprintf("demo with %d options", len(trail.Options)), trail)
	for _, n := range []int{1, 10, 100} {
		run(fmt.Sprintf("%d pieces", n), pieces(&plain, n))
	}
}

// pieces repeats the first piece of a brief n times.
func pieces(b *brief.Brief, n int) *brief.Brief {
	out := *b
	out.Pieces = make([]brief.Piece, n)
	for i := range out.Pieces {
		out.Pieces[i] = b.Pieces[0]
		out.Pieces[i].Code = fmt.Sprintf("piece-%d", i)
	}
	return &out
}

// BenchmarkDesk times what a door adds: reading and checking the brief, and
// writing the quote out.
func BenchmarkDesk(b *testing.B) {
	book, rules := demoBook(b)
	doc, err := os.ReadFile("../../testdata/briefs/toadstool-trail.json")
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		pb, err := book.ReadBrief(doc, rules)
		if err != nil {
			b.Fatal(err)
		}
		q, err := book.Price(pb)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := wire.Encode(wire.Quote(q, true)); err != nil {
			b.Fatal(err)
		}
	}
}
