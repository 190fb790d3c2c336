package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/cabinet"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/ledger"
	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

func (p *program) recompute(ctx context.Context, args []string) (err error) {
	f := p.flags("recompute NUMBER ... | --all [flags]", "Prices every revision of the quotes of those numbers again, or of all, and proves that each comes out as it is kept, byte for byte.")
	at := f.String("store", defaultStore, storeHelp)
	all := f.Bool("all", false, "of every quote in the store")
	words, err := p.parse(f, args)
	if err != nil {
		return err
	}
	numbers, err := numbersOf(words)
	if err != nil {
		return p.misused("recompute: " + err.Error())
	}
	if *all == (len(numbers) > 0) {
		return p.misused("recompute takes numbers of quotes, such as Q-2027-0001, or --all; see mouldwright recompute --help")
	}
	kept, err := openKept(ctx, *at)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	proof, err := newProving(kept, p.stdout)
	if err != nil {
		return err
	}
	if *all {
		err = proof.all(ctx)
	} else {
		err = proof.these(ctx, numbers)
	}
	if err != nil {
		return err
	}
	return proof.conclude()
}

func numbersOf(words []string) ([]life.Number, error) {
	numbers := make([]life.Number, len(words))
	for i, word := range words {
		var err error
		if numbers[i], err = life.ParseNumber(word); err != nil {
			return nil, fmt.Errorf("got %q: %w", word, err)
		}
	}
	return numbers, nil
}

// proving proves revisions, one after the other, and counts how they came out.
type proving struct {
	store  store.Store
	books  *bookcase.Case
	meshes *cabinet.Cabinet
	out    io.Writer

	quotes, same, differ, unproven int
}

func newProving(kept store.Store, out io.Writer) (*proving, error) {
	rules, err := wire.NewValidator()
	if err != nil {
		return nil, err
	}
	books, err := bookcase.New(kept, rules, time.Now)
	if err != nil {
		return nil, err
	}
	const models = 512 << 20 // bytes at hand; revisions of one quote are often of the same meshes
	meshes, err := cabinet.New(kept, time.Now, cabinet.Room{Memory: models})
	return &proving{store: kept, books: books, meshes: meshes, out: out}, err
}

// all proves every quote, the newest first.
func (p *proving) all(ctx context.Context) error {
	const page = 100
	for after := (life.Number{}); ; {
		var heads []store.Head
		err := p.store.View(ctx, func(r store.Reader) (err error) {
			heads, err = r.Quotes(store.Filter{}, after, page, store.Studio())
			return err
		})
		if err != nil || len(heads) == 0 {
			return err
		}
		for _, head := range heads {
			if err := p.quote(ctx, head.Number); err != nil {
				return err
			}
			after = head.Number
		}
	}
}

func (p *proving) these(ctx context.Context, numbers []life.Number) error {
	for _, number := range numbers {
		if err := p.quote(ctx, number); err != nil {
			return err
		}
	}
	return nil
}

// quote proves the revisions of a quote. What is wrong with one keeps nobody from the others.
func (p *proving) quote(ctx context.Context, number life.Number) error {
	p.quotes++
	var q store.Quote
	wrong, err := p.reading(ctx, func() error {
		return p.store.View(ctx, func(r store.Reader) (err error) {
			q, err = r.Quote(number, store.Studio())
			return err
		})
	})
	if err != nil {
		return err
	}
	if wrong != nil {
		return p.unproved(number.String(), wrong)
	}
	for _, r := range q.Revisions {
		if err := p.one(ctx, number, r); err != nil {
			return err
		}
	}
	return nil
}

// one proves a revision.
func (p *proving) one(ctx context.Context, number life.Number, r life.Revision) error {
	var proof *ledger.Proof
	wrong, err := p.reading(ctx, func() (err error) {
		proof, err = p.revision(ctx, number, r.Number)
		return err
	})
	name := fmt.Sprintf("%s revision %d, %s", number, r.Number, r.State)
	switch {
	case err != nil:
		return err
	case wrong != nil:
		return p.unproved(name, wrong)
	default:
		return p.proved(name, proof)
	}
}

// reading reads something of the store. What is wrong with that alone comes back as such. An
// error is that the store is away or that time is up, which says nothing of what is kept: what
// failed for the store is tried once more where the store answers, and is damaged if it fails
// again.
func (p *proving) reading(ctx context.Context, read func() error) (wrong, err error) {
	const tries = 2
	for range tries {
		if wrong = read(); errors.Is(wrong, context.Canceled) || errors.Is(wrong, context.DeadlineExceeded) {
			return nil, wrong
		}
		if !errors.Is(wrong, store.ErrUnavailable) {
			return wrong, ctx.Err()
		}
		if err := p.answers(ctx); err != nil {
			return nil, err
		}
	}
	return wrong, nil
}

// answers asks the store for as little as there is.
func (p *proving) answers(ctx context.Context) error {
	return p.store.View(ctx, func(r store.Reader) error {
		_, err := r.RateBooks(store.RateBook{}, 1, store.Studio())
		return err
	})
}

// mostDifferences bounds how many places are named in which a revision differs.
const mostDifferences = 10

func (p *proving) revision(ctx context.Context, number life.Number, revision int) (*ledger.Proof, error) {
	var content store.Content
	err := p.store.View(ctx, func(r store.Reader) (err error) {
		content, err = r.Content(number, revision, store.Studio())
		return err
	})
	if err != nil {
		return nil, err
	}
	book, err := p.books.Revision(ctx, content.RateBook)
	if err != nil {
		return nil, err
	}
	models, lost := heeded(p.meshes.Models(ctx))
	proof, err := ledger.Prove(ledger.By(book, content.Meshes, models), content, mostDifferences)
	if err := lost(); err != nil {
		return nil, err // the brief would be told that it names no such mesh
	}
	return proof, err
}

// heeded returns models, and afterwards why one could not be read.
func heeded(models func(sum string) (*maquette.Maquette, error)) (own func(sum string) (*maquette.Maquette, error), lost func() error) {
	var failed error
	return func(sum string) (*maquette.Maquette, error) {
		model, err := models(sum)
		failed = cmp.Or(failed, err)
		return model, err
	}, func() error { return failed }
}

func (p *proving) proved(name string, proof *ledger.Proof) error {
	if proof.Same {
		p.same++
		return p.say("%s: the same, %s\n", name, amount(proof.Kept))
	}
	p.differ++
	err := p.say("%s: differs; kept %s, now %s\n", name, amount(proof.Kept), amount(proof.Now))
	if proof.Engine != estimate.Engine {
		err = cmp.Or(err, p.say("  it was priced by edition %d of the engine, and this program has edition %d\n", proof.Engine, estimate.Engine))
	}
	for _, place := range proof.Differences {
		err = cmp.Or(err, p.say("  %s\n", place))
	}
	return err
}

// amount is the net price of an entry.
func amount(e *ledger.Entry) string {
	return e.Quote.GetNet().GetAmount() + " " + e.Quote.GetNet().GetCurrencyCode()
}

// unproved notes what could not be proved.
func (p *proving) unproved(name string, why error) error {
	p.unproven++
	return p.say("%s: cannot be proved: %v\n", name, why)
}

func (p *proving) say(format string, values ...any) error {
	_, err := fmt.Fprintf(p.out, format, values...)
	return err
}

// conclude sums up, and fails unless all came out the same.
func (p *proving) conclude() error {
	err := p.say("quotes %d, revisions the same %d, differing %d, not to be proved %d\n", p.quotes, p.same, p.differ, p.unproven)
	if p.differ+p.unproven > 0 {
		err = errors.Join(err, fmt.Errorf("%d of what was to be proved is not as it is kept", p.differ+p.unproven))
	}
	return err
}
