package ledger_test

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/desk/desktest"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/ledger"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

var testdata = filepath.Join("..", "..", "testdata")

// meshes are those of testdata. They are studied once for all tests: that takes seconds.
var meshes = &shelf.Folder{Dirs: []fs.FS{os.DirFS(filepath.Join(testdata, "meshes"))}, Most: 1 << 20}

// studio is the demo studio's rate book, with the meshes of testdata.
type studio struct {
	book  *desk.Book
	rules *wire.Validator
}

func newStudio(t testing.TB) *studio {
	t.Helper()
	rules, err := wire.NewValidator()
	require.NoError(t, err)
	return &studio{book: opened(t, demo.Document(), rules), rules: rules}
}

func opened(t testing.TB, doc []byte, rules *wire.Validator) *desk.Book {
	t.Helper()
	book, faults := desk.OpenBook(doc, rules)
	require.NoError(t, faults.Err())
	book.Meshes = meshes.Model
	return book
}

// golden lists the golden briefs by name.
func golden(t testing.TB) []string {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(testdata, "briefs", "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for i, p := range paths {
		paths[i] = strings.TrimSuffix(filepath.Base(p), ".json")
	}
	return paths
}

func (s *studio) brief(t testing.TB, name string) *mouldwrightv1.Brief {
	t.Helper()
	doc, err := os.ReadFile(filepath.Join(testdata, "briefs", name+".json"))
	require.NoError(t, err)
	pb, err := s.book.ReadBrief(doc, s.rules)
	require.NoError(t, err)
	return pb
}

func (s *studio) priced(t testing.TB, pb *mouldwrightv1.Brief) (store.Content, *ledger.Entry) {
	t.Helper()
	c, e, err := ledger.Price(s.book, pb)
	require.NoError(t, err)
	return c, e
}

// asPriced is the studio's book with a revision's meshes by their content.
func (s *studio) asPriced(t testing.TB, c store.Content) *desk.Book {
	t.Helper()
	models := map[string]*maquette.Maquette{}
	for _, ref := range c.Meshes {
		model, sum, err := s.book.Meshes(ref.Name)
		require.NoError(t, err)
		models[sum] = model
	}
	return ledger.By(s.book, c.Meshes, func(sum string) (*maquette.Maquette, error) {
		if m := models[sum]; m != nil {
			return m, nil
		}
		return nil, store.ErrNotFound
	})
}

// requireRead requires that what is kept reads as what was priced.
func requireRead(t testing.TB, want *ledger.Entry, c store.Content) {
	t.Helper()
	client, err := ledger.Read(c, ledger.Client)
	require.NoError(t, err)
	require.True(t, proto.Equal(want.Brief, client.Brief))
	require.True(t, proto.Equal(want.Quote, client.Quote))
	require.Equal(t, want.Client, client.Client)
	require.Nil(t, client.Full, "the studio's half is not read for a client")
	require.Empty(t, client.Studio)
	studio, err := ledger.Read(c, ledger.Studio)
	require.NoError(t, err)
	require.True(t, proto.Equal(want.Quote, studio.Quote))
	require.True(t, proto.Equal(want.Full, studio.Full))
	require.Equal(t, want.Client, studio.Client)
	require.Equal(t, want.Studio, studio.Studio)
}

// Every golden brief is read back as it was priced, and comes out the same when it is priced
// again, by the meshes of its revision.
func TestLedgerProvesTheGoldenBriefs(t *testing.T) {
	s := newStudio(t)
	for _, name := range golden(t) {
		t.Run(name, func(t *testing.T) {
			c, e := s.priced(t, s.brief(t, name))
			requireRead(t, e, c)
			assert.Equal(t, estimate.Engine, c.Engine)
			assert.Equal(t, s.book.Edition.Revision, c.RateBook)
			assert.Equal(t, store.Summary{
				Title: e.Brief.GetTitle(), Client: e.Brief.GetClient(), Reference: e.Brief.GetReference(),
				Currency: e.Full.GetNet().GetCurrencyCode(), Net: e.Full.GetNet().GetAmount(),
			}, c.Summary)

			p, err := ledger.Prove(s.asPriced(t, c), c, 10)
			require.NoError(t, err)
			assert.True(t, p.Same, "%v", p.Differences)
			assert.Empty(t, p.Differences)
			assert.Equal(t, estimate.Engine, p.Engine)
			assert.True(t, proto.Equal(p.Kept.Full, p.Now.Full))

			if testing.Short() {
				return // the frozen quotes come out the same too
			}
			again, _ := s.priced(t, s.brief(t, name))
			assert.Equal(t, c.Sum(), again.Sum(), "the same bytes, packed and all")
		})
	}
}

// The meshes of a revision are noted once each, by name, with the sum of their content.
func TestLedgerNotesMeshes(t *testing.T) {
	s := newStudio(t)
	pb := s.brief(t, "hare-from-maquette")
	c, _ := s.priced(t, pb)
	_, sum, err := s.book.Meshes("meshes/hare")
	require.NoError(t, err)
	assert.Equal(t, []store.MeshRef{{Name: "meshes/hare", Sum: sum}}, c.Meshes)
	without, _ := s.priced(t, s.brief(t, "gate-snails"))
	assert.Empty(t, without.Meshes, "of the same book")

	// Its name may stand for another file by now: the revision's own counts.
	renamed := *s.book
	renamed.Meshes = func(string) (*maquette.Maquette, string, error) {
		return nil, "", errors.New("which is another file now")
	}
	p, err := ledger.Prove(ledger.By(&renamed, c.Meshes, func(asked string) (*maquette.Maquette, error) {
		assert.Equal(t, sum, asked)
		model, _, err := s.book.Meshes("meshes/hare")
		return model, err
	}), c, 10)
	require.NoError(t, err)
	assert.True(t, p.Same, "%v", p.Differences)

	_, err = ledger.Prove(ledger.By(s.book, nil, nil), c, 10)
	assert.ErrorContains(t, err, "pricing it again: ", "the revision knows no such mesh")
}

// A brief that does not fit is told as the book tells it, and nothing is kept.
func TestLedgerKeepsNothingOfABadBrief(t *testing.T) {
	s := newStudio(t)
	pb := s.brief(t, "gate-snails")
	pb.Pieces[0].Finish = "no-such-finish"
	c, e, err := ledger.Price(s.book, pb)
	var faults fault.List
	require.ErrorAs(t, err, &faults)
	assert.Equal(t, "pieces[0].finish", faults[0].Path)
	assert.Nil(t, e)
	assert.Equal(t, store.Content{}, c)
}

// repacked is a content whose pages were changed.
func repacked(t testing.TB, c store.Content, change func(pages *[2][]byte)) store.Content {
	t.Helper()
	pages, err := ledger.Unpack(c.Document, ledger.Studio)
	require.NoError(t, err)
	change(&pages)
	c.Document, err = ledger.Pack(pages)
	require.NoError(t, err)
	return c
}

// Whatever was changed in what is kept, the proof says so, and where.
func TestLedgerFindsWhatWasChanged(t *testing.T) {
	s := newStudio(t)
	c, e := s.priced(t, s.brief(t, "gate-snails"))
	net := e.Quote.GetNet().GetAmount()
	inStudio := func(from, to string) func(*[2][]byte) {
		return func(pages *[2][]byte) {
			require.Contains(t, string(pages[1]), from)
			pages[1] = bytes.Replace(pages[1], []byte(from), []byte(to), 1)
		}
	}
	for name, change := range map[string]struct {
		pages func(*[2][]byte)
		paths []string
	}{
		"a price":         {inStudio(`"net":{"currencyCode":"GBP","amount":"`+net+`"}`, `"net":{"currencyCode":"GBP","amount":"1.00"}`), []string{"quote.net.amount: kept 1.00, now " + net}},
		"a letter":        {inStudio(`"text":"`, `"text":"X`), []string{"quote.cautions[0].text: kept X"}},
		"a missing field": {inStudio(`"net":{"currencyCode":"GBP","amount":"`+net+`"},`, ``), []string{"quote.net: kept nothing, now 2 fields"}},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := ledger.Prove(s.book, repacked(t, c, change.pages), 10)
			require.NoError(t, err)
			assert.False(t, p.Same)
			require.Len(t, p.Differences, len(change.paths))
			for i, want := range change.paths {
				assert.Contains(t, p.Differences[i], want)
			}
		})
	}
}

// A proof says where, whatever part of the content it is that differs.
func TestLedgerProofCountsEveryPart(t *testing.T) {
	s := newStudio(t)
	c, _ := s.priced(t, s.brief(t, "gate-snails"))
	for says, change := range map[string]func(store.Content) store.Content{
		"engine: kept ":      func(c store.Content) store.Content { c.Engine--; return c },
		"fingerprint: kept ": func(c store.Content) store.Content { c.Fingerprint = "x" + c.Fingerprint[1:]; return c },
		"meshes: kept [{meshes/x y}], now []": func(c store.Content) store.Content {
			c.Meshes = []store.MeshRef{{Name: "meshes/x", Sum: "y"}}
			return c
		},
		"brief: it differs in form only": func(c store.Content) store.Content {
			c.Brief = append(bytes.Clone(c.Brief), ' ')
			return c
		},
		"client.quote.cautions[0].text: kept X": func(c store.Content) store.Content {
			return repacked(t, c, func(pages *[2][]byte) { pages[0] = bytes.Replace(pages[0], []byte(`"text":"`), []byte(`"text":"X`), 1) })
		},
		"the document: it differs in form only": func(c store.Content) store.Content {
			return repacked(t, c, func(pages *[2][]byte) { pages[1] = append(pages[1], ' ') })
		},
	} {
		p, err := ledger.Prove(s.book, change(c), 10)
		require.NoError(t, err, says)
		assert.False(t, p.Same, says)
		require.Len(t, p.Differences, 1, says)
		assert.True(t, strings.HasPrefix(p.Differences[0], says), p.Differences[0])
	}
}

// Another rate book gives other figures; as many differences are named as were asked for.
func TestLedgerBoundsDifferences(t *testing.T) {
	s := newStudio(t)
	c, _ := s.priced(t, s.brief(t, "gate-snails"))
	pb := proto.CloneOf(s.book.Document)
	for _, skill := range pb.GetSkills() {
		skill.HourlyRate = "99"
	}
	doc, err := wire.Encode(pb)
	require.NoError(t, err)
	dearer := opened(t, doc, s.rules)
	for _, most := range []int{0, 1, 7} {
		p, err := ledger.Prove(dearer, c, most)
		require.NoError(t, err)
		assert.False(t, p.Same)
		assert.Len(t, p.Differences, most)
		assert.NotEqual(t, p.Kept.Quote.GetNet().GetAmount(), p.Now.Quote.GetNet().GetAmount())
	}
}

// What cannot be read is an error that says so, and no panic.
func TestLedgerWithWhatCannotBeRead(t *testing.T) {
	s := newStudio(t)
	c, _ := s.priced(t, s.brief(t, "gate-snails"))
	for name, bad := range map[string]struct {
		change func(store.Content) store.Content
		says   string
	}{
		"no document":        {func(c store.Content) store.Content { c.Document = nil; return c }, "unpacking a revision"},
		"half a document":    {func(c store.Content) store.Content { c.Document = c.Document[:len(c.Document)/2]; return c }, "unpacking a revision"},
		"a brief with more":  {func(c store.Content) store.Content { c.Brief = []byte(`{"titel":"x"}`); return c }, "reading a revision's brief"},
		"pages without JSON": {func(c store.Content) store.Content { return repacked(t, c, func(p *[2][]byte) { p[0] = []byte("x") }) }, "reading a revision"},
		"pages without a quote": {func(c store.Content) store.Content {
			return repacked(t, c, func(p *[2][]byte) { p[0] = []byte(`{"quote":{"nett":1},"text":""}`) })
		}, "reading a revision's quote"},
	} {
		_, err := ledger.Read(bad.change(c), ledger.Studio)
		require.ErrorContains(t, err, bad.says, name)
		require.ErrorIs(t, err, ledger.ErrDamaged, name)
		var faults fault.List
		require.NotErrorAs(t, err, &faults, "%s is no fault of whoever asks", name)
		_, err = ledger.Prove(s.book, bad.change(c), 10)
		require.ErrorContains(t, err, bad.says, name)
	}
}

// Whatever is priced is read back message for message.
func TestLedgerReadsWhatItWrote(t *testing.T) {
	s := newStudio(t)
	seed, times := rand.Uint64(), 100
	if testing.Short() {
		times = 4
	}
	t.Logf("seeds from %d", seed)
	for i := range uint64(times) {
		pb := desktest.New(s.book, seed+i).Brief()
		c, e, err := ledger.Price(s.book, pb)
		require.NoError(t, err, "seed %d", seed+i)
		requireRead(t, e, c) // the seed is in the log
		if i%8 == 0 {
			p, err := ledger.Prove(s.book, c, 10)
			require.NoError(t, err, "seed %d", seed+i)
			require.True(t, p.Same, "seed %d: %v", seed+i, p.Differences)
		}
	}
}

// heavy is a sound brief whose quote is as long as its length can make it: every piece on the
// less costly route, with as many gilded spots as a piece may have, and every option the whole
// brief again.
func heavy(t testing.TB, pieces, options int) *mouldwrightv1.Brief {
	t.Helper()
	pb := &mouldwrightv1.Brief{Title: "Trail", Client: "Fernhollow Arboretum"}
	for i := range pieces {
		p := &mouldwrightv1.Piece{
			Code: fmt.Sprintf("p%d", i), Name: "Toadstool", Quantity: int32(1 + i%3), Route: mouldwrightv1.Route_ROUTE_CHOOSE,
			Form: &mouldwrightv1.Form{Solids: []*mouldwrightv1.Solid{{Shape: &mouldwrightv1.Solid_Dome{
				Dome: &mouldwrightv1.Dome{DiameterMm: float64(100 + i), HeightMm: 40, Curve: mouldwrightv1.DomeCurve_DOME_CURVE_HALF_SPHEROID},
			}}}},
		}
		for range 9 {
			p.Zones = append(p.Zones, &mouldwrightv1.Zone{Name: "spot", Finish: "metal-leaf", CountPerCast: proto.Int32(1), Shape: &mouldwrightv1.Zone_Spot{Spot: &mouldwrightv1.Spot{DiameterMm: 9}}})
		}
		pb.Pieces = append(pb.Pieces, p)
	}
	for i := range options {
		pb.Options = append(pb.Options, &mouldwrightv1.Option{Code: fmt.Sprintf("o%d", i), Name: "Sooner", Rush: proto.String("")})
	}
	return pb
}

// A quote may have more items in its lists than a brief that comes in; it is read all the same.
func TestLedgerReadsTheHeaviestQuotes(t *testing.T) {
	const mostOfACaller = 20_000
	s := newStudio(t)
	c, e := s.priced(t, heavy(t, 9, 0))
	require.Greater(t, itemsOf(e.Full.ProtoReflect()), mostOfACaller)
	requireRead(t, e, c)
	if testing.Short() {
		t.Skip("the whole run prices the heaviest brief that is taken")
	}
	c, e = s.priced(t, heavy(t, 200, 10))
	require.Greater(t, itemsOf(e.Quote.ProtoReflect()), mostOfACaller)
	got, err := ledger.Read(c, ledger.Client)
	require.NoError(t, err)
	require.True(t, proto.Equal(e.Brief, got.Brief))
	require.True(t, proto.Equal(e.Quote, got.Quote))
	require.Equal(t, e.Client, got.Client)
}

// itemsOf counts the items of all lists below a message.
func itemsOf(m protoreflect.Message) (count int) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsList():
			count += v.List().Len()
			for i := 0; f.Message() != nil && i < v.List().Len(); i++ {
				count += itemsOf(v.List().Get(i).Message())
			}
		case f.Message() != nil:
			count += itemsOf(v.Message())
		}
		return true
	})
	return count
}
