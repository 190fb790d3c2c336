package demo_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/gelcoat"
	"github.com/mouldwright/mouldwright/internal/laminate"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// read decodes a document and holds it against every limit of the contract.
func read(t *testing.T, document []byte, into proto.Message) {
	t.Helper()
	require.Empty(t, wire.Decode(document, into))
	limits, err := wire.NewValidator()
	require.NoError(t, err)
	require.Empty(t, limits.Check(into))
}

func edition(t *testing.T) *ratebook.Edition {
	t.Helper()
	var message mouldwrightv1.RateBook
	read(t, demo.Document(), &message)
	book, faults := wire.RateBook(&message)
	require.Empty(t, faults)
	opened, faults := ratebook.Open(book)
	require.Empty(t, faults)
	return opened
}

func priced(t *testing.T, name string) *quote.Quote {
	t.Helper()
	document, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "briefs", name+".json"))
	require.NoError(t, err)
	var message mouldwrightv1.Brief
	read(t, document, &message)
	asked, faults := wire.Brief(&message)
	require.Empty(t, faults)
	q, err := estimate.Price(asked, edition(t))
	require.NoError(t, err)
	return q
}

func TestTheBookIsComplete(t *testing.T) {
	e := edition(t)
	assert.Equal(t, "demo-2026.1", e.Revision)
	assert.Contains(t, strings.ToLower(e.Basis), "invented")
	assert.Equal(t, "GBP", e.Currency.Code)
	assert.Len(t, e.Skills, 8)
	assert.GreaterOrEqual(t, len(e.Finishes), 8)
	assert.GreaterOrEqual(t, len(e.Laminates), 5)
	assert.NotEmpty(t, e.Equipment)
	assert.NotEmpty(t, e.Cautions)
	assert.GreaterOrEqual(t, len(e.Policies.Assumptions), 3)
	assert.GreaterOrEqual(t, len(e.Policies.Exclusions), 3)
}

// A studio that shows every way of working has every kind of material.
func TestTheBookHasEveryKindOfMaterial(t *testing.T) {
	have := map[ratebook.MaterialKind]bool{}
	for _, m := range edition(t).Materials {
		have[m.Kind] = true
	}
	for kind := ratebook.Foam; kind <= ratebook.Waste; kind++ {
		assert.True(t, have[kind], kind)
	}
}

func TestTheBookHasEveryGlass(t *testing.T) {
	e := edition(t)
	for code, arealMass := range map[string]float64{
		"csm-225": 0.225, "csm-300": 0.3, "csm-450": 0.45, "csm-600": 0.6, "wr-600": 0.6, "tissue-30": 0.03,
	} {
		m, ok := e.Material(code)
		if assert.True(t, ok, code) {
			assert.InDelta(t, arealMass, m.Glass.ArealMass, 1e-12, code)
		}
	}
}

func TestTheBookHasEveryFixingAndTaxRate(t *testing.T) {
	e := edition(t)
	for _, code := range []string{"tab", "stud-m10", "insert-m8", "base-plate", "armature-steel"} {
		_, ok := e.BuiltIn(code)
		assert.True(t, ok, code)
	}
	// UK VAT rates, from memory.
	for code, percent := range map[string]string{"standard": "20", "reduced": "5", "zero": "0"} {
		tax, ok := e.Tax(code)
		if assert.True(t, ok, code) {
			assert.Equal(t, percent, tax.Percent.String(), code)
		}
	}
}

// Source: East Coast Fibreglass chart (read): 5-13 C 4 %; 13-16 3 %; 16-20 2 %;
// 20-35 1 %; gelcoat always 2 %.
func TestCatalystFollowsThePublishedChart(t *testing.T) {
	e := edition(t)
	resin, _ := e.Material("resin-gp")
	gel, _ := e.Material("gelcoat-white")
	for tempC, want := range map[float64]float64{5: 4, 12.9: 4, 13: 3, 16: 2, 19.9: 2, 20: 1, 35: 1} {
		got, err := gelcoat.Percent(resin.Catalyst.Bands, tempC)
		require.NoError(t, err)
		assert.InDelta(t, want, got, 1e-12, "resin at %g C", tempC)
		got, err = gelcoat.Percent(gel.Catalyst.Bands, tempC)
		require.NoError(t, err)
		assert.InDelta(t, 2, got, 1e-12, "gelcoat at %g C", tempC)
	}
}

// Source: Practical Action technical brief "Fibreglass boat building", p. 7
// (read): a mould at least twice as thick as its part.
func TestTheMouldIsTwiceTheStandardLaminate(t *testing.T) {
	e := edition(t)
	cast, ok := e.Schedule(e.Policies.DefaultLaminate)
	require.True(t, ok)
	least, err := laminate.MouldThickness(cast.SkinThickness, laminate.MouldFactor)
	require.NoError(t, err)
	assert.GreaterOrEqual(t, e.MouldSchedule.SkinThickness, least)
}

// Source: Practical Action; East Coast Fibreglass (read): resin to mat 2.5:1,
// to woven roving 1.25:1.
func TestResinRatiosArePublishedOnes(t *testing.T) {
	e := edition(t)
	for code, want := range map[string]float64{"csm-225": 2.5, "csm-300": 2.5, "csm-450": 2.5, "csm-600": 2.5, "wr-600": 1.25} {
		m, _ := e.Material(code)
		assert.InDelta(t, want, m.Glass.ResinRatio, 1e-12, code)
	}
}

// The counts are the demo scenario's own.
func TestToadstoolTrail(t *testing.T) {
	q := priced(t, "toadstool-trail")
	spots := 0
	for i := range q.Pieces {
		spots += q.Pieces[i].Zones[0].Total
	}
	assert.Equal(t, 8*9+6*7+4*5, spots)
	assert.Len(t, q.Options, 2)
}

func TestGateSnailsAreAHandedPair(t *testing.T) {
	snail := priced(t, "gate-snails").Pieces[0]
	assert.Equal(t, 12, snail.Casts())
	assert.Equal(t, 2, snail.Patterns())
	assert.Equal(t, ratebook.OpenBacked, snail.Body)
}

func TestOneOffHareIsMadeDirect(t *testing.T) {
	q := priced(t, "one-off-hare")
	assert.Zero(t, q.Pieces[0].Moulds())
	assert.InDelta(t, 2.4, q.Pieces[0].Extent.Height, 1e-12)
	assert.Positive(t, q.Pieces[0].Load.Core)
}

// Common practice, no source: two sizes of a handed piece are four patterns and
// four moulds.
func TestWallPairs(t *testing.T) {
	q := priced(t, "wall-pairs")
	large, small, marker := &q.Pieces[0], &q.Pieces[1], &q.Pieces[2]
	assert.Equal(t, 4, large.Patterns()+small.Patterns())
	assert.Equal(t, 4, large.Moulds()+small.Moulds())
	assert.Equal(t, 20*7, marker.Zones[0].Total)
}

func TestEveryQuoteSaysThatItsFiguresAreInvented(t *testing.T) {
	for _, name := range []string{"toadstool-trail", "gate-snails", "one-off-hare", "wall-pairs", "letters-and-tails"} {
		q := priced(t, name)
		assert.Equal(t, "Fernhollow Arboretum", q.Brief.Client)
		assert.Contains(t, strings.Join(q.Assumptions, " "), "invented")
		assert.NotEmpty(t, q.Cautions)
		assert.True(t, q.Net.IsPos())
	}
}
