package server

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"strconv"
	"strings"
	"time"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/ledger"
	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/unit"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// rateBookService shows, checks and keeps the studio's rate books.
type rateBookService struct {
	mouldwrightv1.UnimplementedRateBookServiceServer
	books  *bookcase.Case
	intake *intake
	keep   *keeping
	rules  *wire.Validator
}

func (s *rateBookService) GetRateBook(ctx context.Context, r *mouldwrightv1.GetRateBookRequest) (*mouldwrightv1.GetRateBookResponse, error) {
	book, err := s.books.Find(ctx, r.GetName())
	if err != nil {
		return nil, err
	}
	return &mouldwrightv1.GetRateBookResponse{RateBook: book.Document}, nil
}

// ListRateBooks lists the revisions, a page at a time.
func (s *rateBookService) ListRateBooks(ctx context.Context, r *mouldwrightv1.ListRateBooksRequest) (*mouldwrightv1.ListRateBooksResponse, error) {
	after, err := tokenBook(r.GetPageToken())
	if err != nil {
		return nil, err
	}
	size := pageSize(r.GetPageSize())
	var books, newest []store.RateBook
	err = s.keep.store.View(ctx, func(tx store.Reader) (err error) {
		if newest, err = tx.RateBooks(store.RateBook{}, 1, callerOf(ctx).Eyes()); err != nil {
			return err
		}
		books, err = tx.RateBooks(after, size+1, callerOf(ctx).Eyes())
		return err
	})
	if err != nil {
		return nil, err
	}
	answer := &mouldwrightv1.ListRateBooksResponse{}
	if len(books) > size {
		books = books[:size]
		answer.NextPageToken = bookToken(books[size-1])
	}
	for _, b := range books {
		answer.RateBooks = append(answer.RateBooks, revisionOf(b, newest))
	}
	return answer, nil
}

// revisionOf is a revision without its content; the newest is the current one.
func revisionOf(b store.RateBook, newest []store.RateBook) *mouldwrightv1.RateBookRevision {
	return &mouldwrightv1.RateBookRevision{
		Name: bookcase.Prefix + b.Revision, Sha256: b.Sum, CreateTime: wire.Time(b.At),
		Current: len(newest) > 0 && newest[0].Revision == b.Revision,
	}
}

// bookToken names the place of a revision in the list: its time and its name.
func bookToken(b store.RateBook) string {
	return pageToken(strconv.FormatInt(b.At.UnixMicro(), 10) + " " + b.Revision)
}

func tokenBook(token string) (store.RateBook, error) {
	text, err := tokenText(token)
	if err != nil || text == "" {
		return store.RateBook{}, err
	}
	at, revision, _ := strings.Cut(text, " ")
	micros, err := strconv.ParseInt(at, 10, 64)
	after := store.RateBook{Revision: revision, At: time.UnixMicro(micros)}
	if err != nil || revision == "" || bookToken(after) != token {
		return store.RateBook{}, strangeToken(token)
	}
	return after, nil
}

// CreateRateBook keeps a rate book as the revision that is in force from then on.
func (s *rateBookService) CreateRateBook(ctx context.Context, r *mouldwrightv1.CreateRateBookRequest) (*mouldwrightv1.CreateRateBookResponse, error) {
	defer s.books.Forget() // also where nobody knows whether it is kept
	reply := &mouldwrightv1.CreateRateBookResponse{}
	err := s.keep.once(ctx, r, reply, func(context.Context) (func(store.Tx) error, error) {
		edition, faults := desk.CheckBook(r.GetRateBook(), nil, s.rules)
		if len(faults) > 0 {
			return nil, &violations{faults: faults.Under(rateBookField)}
		}
		book := &desk.Book{Edition: edition, Document: r.GetRateBook()}
		return func(tx store.Tx) error {
			kept, err := s.books.Keep(tx, book)
			if err != nil {
				return err
			}
			reply.RateBook = revisionOf(kept, []store.RateBook{kept})
			return nil
		}, nil
	})
	return reply, err
}

// meaningOfBook returns what is wrong with a rate book that is to be kept, besides its form
// and the limits of its fields.
func meaningOfBook(r *mouldwrightv1.CreateRateBookRequest) fault.List {
	if r.GetRateBook() == nil {
		return nil
	}
	book, untranslated := wire.RateBook(r.GetRateBook())
	_, inconsistent := ratebook.Open(book)
	return append(untranslated, inconsistent...).Under(rateBookField)
}

// CheckRateBook answers with a book's faults, and with what a sound one makes of the open
// quotes; that they are many or bad is no error. What was wrong with the book's form, at the
// door, is among them.
func (s *rateBookService) CheckRateBook(ctx context.Context, r *mouldwrightv1.CheckRateBookRequest) (*mouldwrightv1.CheckRateBookResponse, error) {
	faults := ofTheBook(callFrom(ctx).form)
	var edition *ratebook.Edition
	if r.GetRateBook() != nil {
		edition, faults = desk.CheckBook(r.GetRateBook(), faults, s.rules)
	} else if len(faults) == 0 {
		faults = fault.List{{Path: checkedBook, Message: "missing: there is no rate book to check"}}
	}
	answer := &mouldwrightv1.CheckRateBookResponse{Usable: len(faults) == 0, Faults: bookFaults(faults)}
	if !answer.Usable {
		return answer, nil
	}
	haste, cancel := halfTheTime(ctx)
	defer cancel()
	return answer, s.reprice(ctx, haste, &desk.Book{Edition: edition, Document: r.GetRateBook()}, answer)
}

func bookFaults(faults fault.List) (out []*mouldwrightv1.RateBookFault) {
	for _, f := range faults {
		out = append(out, &mouldwrightv1.RateBookFault{Path: f.Path, Message: f.Message})
	}
	return out
}

// halfTheTime is half of the time that a call has left: a brief that is being priced is not
// cut short, and the answer has to be sent.
func halfTheTime(ctx context.Context) (context.Context, context.CancelFunc) {
	deadline, ok := ctx.Deadline()
	if !ok {
		return context.WithCancel(ctx)
	}
	return context.WithTimeout(ctx, time.Until(deadline)/2)
}

// mostOpenQuotes bounds how many quotes a check prices again.
const mostOpenQuotes = 200

// reprice prices the open quotes by a book, the newest first, until haste ends; then the
// answer says that there are more.
func (s *rateBookService) reprice(ctx, haste context.Context, book *desk.Book, answer *mouldwrightv1.CheckRateBookResponse) error {
	for open, err := range s.openQuotes(haste) {
		if err == nil && len(answer.GetOpenQuotes()) == mostOpenQuotes {
			answer.MoreOpenQuotes = true
			return nil
		}
		var change *mouldwrightv1.OpenQuoteChange
		if err == nil {
			change, err = s.changed(haste, book, open)
		}
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case haste.Err() != nil:
			answer.MoreOpenQuotes = true
			return nil
		case err != nil:
			return err
		}
		answer.OpenQuotes = append(answer.OpenQuotes, change)
		if change.GetNetThen() != nil {
			answer.PricedQuoteCount++
		}
	}
	return nil
}

// openQuote is a quote that may yet be issued or accepted.
type openQuote struct {
	number   life.Number
	revision int // the draft, or the offer where there is none
	content  store.Content
}

// openQuotes walks the open quotes, the newest first. It ends with the first error.
func (s *rateBookService) openQuotes(ctx context.Context) iter.Seq2[openQuote, error] {
	return func(yield func(openQuote, error) bool) {
		for head, err := range s.heads(ctx) {
			if err == nil && !mayBeOpen(head) {
				continue
			}
			var open openQuote
			if err == nil {
				open, err = s.opened(ctx, head.Number)
			}
			if err == nil && open.revision == 0 {
				continue
			}
			if !yield(open, err) || err != nil {
				return
			}
		}
	}
}

// heads walks all quotes, the newest first. It ends with the first error.
func (s *rateBookService) heads(ctx context.Context) iter.Seq2[store.Head, error] {
	const page = 200
	return func(yield func(store.Head, error) bool) {
		for after, more := (life.Number{}), true; more; {
			var heads []store.Head
			err := s.keep.store.View(ctx, func(tx store.Reader) (err error) {
				heads, err = tx.Quotes(store.Filter{}, after, page, callerOf(ctx).Eyes())
				return err
			})
			if err != nil {
				yield(store.Head{}, err)
				return
			}
			for _, h := range heads {
				if !yield(h, nil) {
					return
				}
				after = h.Number
			}
			more = len(heads) == page
		}
	}
}

// mayBeOpen tells from its head whether a quote may be open. Beside an offer that was
// declined or has lapsed a draft may be left, which makes it two revisions at least.
func mayBeOpen(h store.Head) bool {
	switch h.State {
	case life.Draft, life.Issued:
		return true
	case life.Declined, life.Expired:
		return h.Revisions > 1
	default:
		return false // what was agreed is settled
	}
}

// opened reads what a quote would be issued or accepted as; revision 0 where it is closed.
func (s *rateBookService) opened(ctx context.Context, number life.Number) (open openQuote, err error) {
	open.number = number
	err = s.keep.store.View(ctx, func(tx store.Reader) error {
		q, err := tx.Quote(number, callerOf(ctx).Eyes())
		if err != nil {
			return err
		}
		if open.revision = openRevision(q, s.keep.today()); open.revision > 0 {
			open.content, err = tx.Content(number, open.revision, callerOf(ctx).Eyes())
		}
		return err
	})
	return open, err
}

// openRevision is the draft, or the offer that stands on a day; 0 where there is neither.
func openRevision(q store.Quote, on life.Day) int {
	if draft, ok := q.Drafting(); ok {
		return draft.Number
	}
	if offer, ok := q.Offer(); ok && q.StateOn(on) == life.Issued {
		return offer.Number
	}
	return 0
}

// changed prices a quote's brief, with the terms that were kept on it, by another book.
func (s *rateBookService) changed(ctx context.Context, book *desk.Book, open openQuote) (*mouldwrightv1.OpenQuoteChange, error) {
	entry, err := ledger.Read(open.content, ledger.Client)
	if err != nil {
		return nil, fmt.Errorf("quote %s: %w", open.number, err)
	}
	kept := entry.Quote
	change := &mouldwrightv1.OpenQuoteChange{
		Quote: wire.QuoteName(open.number), Revision: int32(open.revision), //nolint:gosec // counted from 1
		Title: kept.GetTitle(), Client: kept.GetClient(), NetKept: kept.GetNet(),
	}
	by := s.intake.asPriced(ctx, book, open.content)
	meshes, lost := heeded(by.Meshes)
	by.Meshes = meshes
	then, err := by.Price(entry.Brief)
	switch {
	case lost() != nil:
		return nil, lost()
	case err != nil:
		change.Faults, err = whyNot(err)
		return change, err
	}
	change.NetThen = wire.Quote(then, false).GetNet()
	change.Difference, err = difference(change.GetNetKept(), change.GetNetThen())
	return change, err
}

// whyNot says why a book cannot price a brief: at most ten faults.
func whyNot(err error) ([]*mouldwrightv1.RateBookFault, error) {
	const most = 10
	var faults fault.List
	var later estimate.LaterError
	switch {
	case errors.As(err, &faults):
	case errors.As(err, &later):
		faults = later.Faults
	case errors.Is(err, estimate.ErrTooLarge):
		faults = fault.List{{Path: "pieces", Message: err.Error()}}
	default:
		return nil, err
	}
	return bookFaults(faults[:min(len(faults), most)]), nil
}

// difference is what one amount has more than another; nil where they are of two currencies.
func difference(kept, then *mouldwrightv1.Money) (*mouldwrightv1.Money, error) {
	if kept.GetCurrencyCode() != then.GetCurrencyCode() {
		return nil, nil
	}
	currency, err := unit.ParseCurrency(kept.GetCurrencyCode())
	if err != nil {
		return nil, err
	}
	before, err := unit.ParseDecimal(kept.GetAmount())
	if err != nil {
		return nil, err
	}
	after, err := unit.ParseDecimal(then.GetAmount())
	if err != nil {
		return nil, err
	}
	return &mouldwrightv1.Money{CurrencyCode: kept.GetCurrencyCode(), Amount: currency.Format(after.Sub(before))}, nil
}

// checkedBook is the field of CheckRateBookRequest whose faults are the answer.
const checkedBook = "rateBook"

// ofTheBook returns the faults in the book to check, by their paths in the book.
func ofTheBook(form fault.List) fault.List {
	var own fault.List
	for _, f := range form {
		if isUnder(f.Path, checkedBook) {
			own = append(own, fault.Fault{Path: strings.TrimPrefix(strings.TrimPrefix(f.Path, checkedBook), "."), Message: f.Message})
		}
	}
	return own
}

// besideTheBook returns the faults that are not in the book to check.
func besideTheBook(form fault.List) fault.List {
	var rest fault.List
	for _, f := range form {
		if !isUnder(f.Path, checkedBook) {
			rest = append(rest, f)
		}
	}
	return rest
}
