// Package ledger writes a priced brief down for good, reads it back, and proves that
// pricing it again gives the same. A brief and a rate book go in; what a store keeps of a
// revision comes out: the quote with all of its workings and the documents made from it.
package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/document"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// Entry is one revision as it was priced.
type Entry struct {
	Brief  *mouldwrightv1.Brief
	Quote  *mouldwrightv1.Quote // as the client sees it
	Full   *mouldwrightv1.Quote // with the studio's workings; nil where they were not read
	Client string               // the document for the client, as text
	Studio string               // the studio's own, as text
}

// page is a half of what is kept of an entry besides its brief: what the client sees, or
// all that the studio does.
type page struct {
	Quote json.RawMessage `json:"quote"`
	Text  string          `json:"text"`
}

// Price prices a brief by a book and writes the entry down. Its error is what the book's
// Price returns.
func Price(book *desk.Book, pb *mouldwrightv1.Brief) (store.Content, *Entry, error) {
	watched, named := watch(book)
	q, err := watched.Price(pb)
	if err != nil {
		return store.Content{}, nil, err
	}
	entry, err := written(pb, q)
	if err != nil {
		return store.Content{}, nil, err
	}
	content, err := keep(book, entry)
	content.Meshes = named()
	return content, entry, err
}

// watch returns the book, and afterwards the meshes that were asked of it.
func watch(book *desk.Book) (*desk.Book, func() []store.MeshRef) {
	own, sums := *book, map[string]string{}
	if book.Meshes != nil {
		own.Meshes = func(name string) (*maquette.Maquette, string, error) {
			model, sum, err := book.Meshes(name)
			if err == nil {
				sums[name] = sum
			}
			return model, sum, err
		}
	}
	return &own, func() []store.MeshRef {
		var refs []store.MeshRef
		for name, sum := range sums {
			refs = append(refs, store.MeshRef{Name: name, Sum: sum})
		}
		slices.SortFunc(refs, func(a, b store.MeshRef) int { return bytes.Compare([]byte(a.Name), []byte(b.Name)) })
		return refs
	}
}

func written(pb *mouldwrightv1.Brief, q *quote.Quote) (*Entry, error) {
	var client, studio bytes.Buffer
	if err := document.ClientText(&client, q); err != nil {
		return nil, err
	}
	if err := document.Text(&studio, q, true); err != nil {
		return nil, err
	}
	return &Entry{Brief: pb, Quote: wire.Quote(q, false), Full: wire.Quote(q, true), Client: client.String(), Studio: studio.String()}, nil
}

// keep turns an entry into what a store keeps.
func keep(book *desk.Book, e *Entry) (store.Content, error) {
	pb, err := wire.Encode(e.Brief)
	if err != nil {
		return store.Content{}, err
	}
	pages, err := e.pages()
	if err != nil {
		return store.Content{}, err
	}
	packed, err := pack(pages)
	return store.Content{
		Brief: pb, RateBook: book.Edition.Revision, Engine: estimate.Engine, Fingerprint: e.Quote.GetFingerprint(), Document: packed,
		Summary: store.Summary{
			Title: e.Quote.GetTitle(), Client: e.Quote.GetClient(), Reference: e.Quote.GetReference(),
			Currency: e.Quote.GetCurrencyCode(), Net: e.Quote.GetNet().GetAmount(),
		},
	}, err
}

// pages are the entry's two halves, always with the same bytes: the client's first, so that
// the other, which is many times as long, is read only when it is asked for.
func (e *Entry) pages() (both [2][]byte, err error) {
	for i, of := range []struct {
		quote *mouldwrightv1.Quote
		text  string
	}{{e.Quote, e.Client}, {e.Full, e.Studio}} {
		q, err := wire.Encode(of.quote)
		if err != nil {
			return both, err
		}
		if both[i], err = paged(q, of.text); err != nil {
			return both, err
		}
	}
	return both, nil
}

// paged writes a page around a quote that is written already: to have it gone through once
// more would take as long as pricing it three times.
func paged(quote []byte, text string) ([]byte, error) {
	words, err := json.Marshal(text)
	if err != nil {
		return nil, err
	}
	out := make([]byte, 0, len(quote)+len(words)+len(`{"quote":,"text":}`))
	out = append(append(out, `{"quote":`...), quote...)
	out = append(append(out, `,"text":`...), words...)
	return append(out, '}'), nil
}

// View is how much of an entry is read.
type View int

// The views.
const (
	Client View = iota // without the studio's workings and document
	Studio             // all
)

// ErrDamaged says that what is kept of a revision cannot be read. What exactly is wrong is in
// its words and wraps nothing: it is no fault of whoever asks.
var ErrDamaged = errors.New("what is kept of the revision is damaged")

// Read reads an entry back, as far as the view goes. Its error is ErrDamaged.
func Read(c store.Content, view View) (*Entry, error) {
	pages, err := unpack(c.Document, view)
	if err != nil {
		return nil, fmt.Errorf("%w: unpacking a revision: %v", ErrDamaged, err) //nolint:errorlint // on purpose
	}
	e := &Entry{Brief: &mouldwrightv1.Brief{}}
	if err := wire.DecodeKept(c.Brief, e.Brief); err != nil {
		return nil, fmt.Errorf("%w: reading a revision's brief: %v", ErrDamaged, err) //nolint:errorlint // on purpose
	}
	if e.Quote, e.Client, err = half(pages[0]); err != nil || view == Client {
		return e, err
	}
	e.Full, e.Studio, err = half(pages[1])
	return e, err
}

func half(plain []byte) (*mouldwrightv1.Quote, string, error) {
	var of page
	if err := json.Unmarshal(plain, &of); err != nil {
		return nil, "", fmt.Errorf("%w: reading a revision: %v", ErrDamaged, err) //nolint:errorlint // on purpose
	}
	q := &mouldwrightv1.Quote{}
	if err := wire.DecodeKept(of.Quote, q); err != nil {
		return nil, "", fmt.Errorf("%w: reading a revision's quote: %v", ErrDamaged, err) //nolint:errorlint // on purpose
	}
	return q, of.Text, nil
}

// Proof is what pricing a revision again gave.
type Proof struct {
	Kept, Now   *Entry
	Engine      int // that the revision was priced by
	Same        bool
	Differences []string // paths in the document, at most as many as were asked for
}

// Prove prices a revision again by the book of its rate book revision, and compares what
// that gives with what is kept, byte for byte. Its error says why it could not be done.
func Prove(book *desk.Book, c store.Content, most int) (*Proof, error) {
	kept, err := Read(c, Studio)
	if err != nil {
		return nil, err
	}
	before, err := unpack(c.Document, Studio)
	if err != nil {
		return nil, err
	}
	again, now, err := Price(book, kept.Brief)
	if err != nil {
		return nil, fmt.Errorf("pricing it again: %w", err)
	}
	after, err := now.pages()
	if err != nil {
		return nil, err
	}
	p := &Proof{Kept: kept, Now: now, Engine: c.Engine}
	p.Differences = places(c, again, before, after)
	p.Same = len(p.Differences) == 0
	p.Differences = p.Differences[:min(len(p.Differences), most)]
	return p, nil
}

// mostDifferences bounds how many places are looked for.
const mostDifferences = 1000

// places names where what is kept and what comes out differ: in the studio's page by its own
// paths; in other parts, where it is only those, below their names.
func places(kept, now store.Content, before, after [2][]byte) []string {
	for _, part := range []struct {
		name      string
		kept, now []byte
	}{{"", before[1], after[1]}, {"client", before[0], after[0]}, {"brief", kept.Brief, now.Brief}} {
		if !bytes.Equal(part.kept, part.now) {
			return differences(part.name, part.kept, part.now, mostDifferences)
		}
	}
	d := comparison{most: mostDifferences}
	d.compare("engine", kept.Engine, now.Engine)
	d.compare("fingerprint", kept.Fingerprint, now.Fingerprint)
	if !slices.Equal(kept.Meshes, now.Meshes) {
		d.add("meshes", fmt.Sprintf("kept %v, now %v", kept.Meshes, now.Meshes))
	}
	return d.found
}

// By returns a book that takes a revision's meshes by their content, as they were when it
// was priced, whatever their names stand for by now.
func By(book *desk.Book, refs []store.MeshRef, find func(sum string) (*maquette.Maquette, error)) *desk.Book {
	own := *book
	own.Meshes = brief.Meshes(func(name string) (*maquette.Maquette, string, error) {
		for _, ref := range refs {
			if ref.Name == name {
				model, err := find(ref.Sum)
				return model, ref.Sum, err
			}
		}
		return nil, "", fmt.Errorf("%w: mesh %s of the revision", store.ErrNotFound, name)
	})
	return &own
}
