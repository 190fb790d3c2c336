package server

import (
	"context"
	"errors"
	"iter"
	"strconv"
	"strings"
	"time"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
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
		book, faults := s.usable(r.GetRateBook(), nil)
		if len(faults) > 0 {
			return nil, &violations{faults: faults.Under(rateBookField)}
		}
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

// usable opens a book of whose form something may be known to be wrong already, as it would be
// kept: what could not be opened again would leave every brief without a price.
func (s *rateBookService) usable(pb *mouldwrightv1.RateBook, form fault.List) (*desk.Book, fault.List) {
	if _, faults := desk.CheckBook(pb, form, s.rules); len(faults) > 0 {
		return nil, faults
	}
	return s.books.Rehearse(pb)
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
// quotes and the partners' terms; that faults are many or bad is no error. What was wrong with
// the book's form, at the door, is among them.
func (s *rateBookService) CheckRateBook(ctx context.Context, r *mouldwrightv1.CheckRateBookRequest) (*mouldwrightv1.CheckRateBookResponse, error) {
	faults := ofTheBook(callFrom(ctx).form)
	var book *desk.Book
	if r.GetRateBook() != nil {
		book, faults = s.usable(r.GetRateBook(), faults)
	} else if len(faults) == 0 {
		faults = fault.List{{Path: checkedBook, Message: "missing: there is no rate book to check"}}
	}
	answer := &mouldwrightv1.CheckRateBookResponse{Usable: len(faults) == 0, Faults: bookFaults(faults)}
	if !answer.Usable {
		return answer, nil
	}
	haste, cancel := halfTheTime(ctx)
	defer cancel()
	if err := s.partnersOf(ctx, haste, book, answer); err != nil {
		return nil, err
	}
	return answer, s.reprice(ctx, haste, book, answer)
}

// TryRateBook tells what a rate book would make of the open quotes and the partners' terms that
// a configuration's store keeps, as CheckRateBook does for the studio.
func TryRateBook(ctx context.Context, c Config, book *mouldwrightv1.RateBook) (*mouldwrightv1.CheckRateBookResponse, error) {
	s, err := rateBooksOf(c)
	if err != nil {
		return nil, err
	}
	return s.CheckRateBook(ofTheStudio(ctx), &mouldwrightv1.CheckRateBookRequest{RateBook: book})
}

// UnfitPartners lists the partners that a configuration's store keeps whose terms do not fit a
// rate book: at most 200, and whether there are more.
func UnfitPartners(ctx context.Context, c Config, book *desk.Book) (unfit []*mouldwrightv1.PartnerFaults, more bool, err error) {
	s, err := rateBooksOf(c)
	if err != nil {
		return nil, false, err
	}
	answer := &mouldwrightv1.CheckRateBookResponse{}
	err = s.partnersOf(ctx, ctx, book, answer)
	return answer.GetPartnerFaults(), answer.GetMorePartnerFaults(), err
}

func rateBooksOf(c Config) (*rateBookService, error) {
	rules, err := wire.NewValidator()
	if err != nil {
		return nil, err
	}
	r, err := newRoom(c.withDefaults(), rules)
	if err != nil {
		return nil, err
	}
	return &rateBookService{books: r.books, intake: r.intake, keep: r.keep, rules: rules}, nil
}

// ofTheStudio is the context of who has the store itself before him, and needs no key to it.
func ofTheStudio(ctx context.Context) context.Context {
	return withCall(ctx, &call{caller: access.Caller{Kind: access.Studio, Scopes: access.Admin}})
}

// mostPartners bounds how many partners a check lists.
const mostPartners = 200

// partnersOf lists the partners whose terms do not fit a book, until haste ends; then the answer
// says that there may be more.
func (s *rateBookService) partnersOf(ctx, haste context.Context, book *desk.Book, answer *mouldwrightv1.CheckRateBookResponse) error {
	for partner, err := range s.partners(haste) {
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case haste.Err() != nil:
			answer.MorePartnerFaults = true
			return nil
		case err != nil:
			return err
		}
		faults := unfitFor(partner, book)
		if len(faults) == 0 {
			continue
		}
		if len(answer.GetPartnerFaults()) == mostPartners {
			answer.MorePartnerFaults = true
			return nil
		}
		answer.PartnerFaults = append(answer.PartnerFaults, &mouldwrightv1.PartnerFaults{Partner: wire.PartnerName(partner.ID), Faults: firstFaults(faults)})
	}
	return nil
}

// partners walks the partners that are not closed, by their ids. It ends with the first error.
func (s *rateBookService) partners(ctx context.Context) iter.Seq2[store.Partner, error] {
	const page = 200
	return func(yield func(store.Partner, error) bool) {
		for after, more := "", true; more; {
			var partners []store.Partner
			err := s.keep.store.View(ctx, func(tx store.Reader) (err error) {
				partners, err = tx.Partners(after, page, store.Studio())
				return err
			})
			if err != nil {
				yield(store.Partner{}, err)
				return
			}
			for _, p := range partners {
				if after = p.ID; !p.Closed && !yield(p, nil) {
					return
				}
			}
			more = len(partners) == page
		}
	}
}

// unfitFor says what of a partner's terms does not fit a book, by paths in the partner.
func unfitFor(p store.Partner, book *desk.Book) fault.List {
	terms, err := wire.DecodeTerms(p.Terms)
	if err != nil {
		return fault.List{{Path: "terms", Message: "what is kept of them cannot be read; set them anew"}}
	}
	const own = "partnerTerms"
	var faults fault.List
	for _, f := range book.Meaning(&mouldwrightv1.Brief{PartnerTerms: terms}) { // which lacks all else that a brief needs
		if isUnder(f.Path, own) {
			faults = append(faults, fault.Fault{Path: "terms" + strings.TrimPrefix(f.Path, own), Message: f.Message})
		}
	}
	return faults
}

// firstFaults are as many faults as are told of each quote and each partner.
func firstFaults(faults fault.List) []*mouldwrightv1.RateBookFault {
	const most = 10
	return bookFaults(faults[:min(len(faults), most)])
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
	head     store.Head
	revision int // the draft, or the offer where there is none; 0 where it could not be read
	content  store.Content
	damaged  bool // what is kept of it cannot be read
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
				open, err = s.opened(ctx, head)
			}
			if err == nil && open.revision == 0 && !open.damaged {
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

// damaged reports whether an error is of what is kept of one thing, and the store goes on
// answering otherwise: that is no reason to tell nothing of the rest.
func (s *rateBookService) damaged(ctx context.Context, err error) bool {
	if errors.Is(err, ledger.ErrDamaged) {
		return true
	}
	return errors.Is(err, store.ErrUnavailable) && s.keep.store.View(ctx, func(tx store.Reader) error {
		_, err := tx.RateBooks(store.RateBook{}, 1, store.Studio())
		return err
	}) == nil
}

// opened reads what a quote would be issued or accepted as; revision 0 where it is closed.
func (s *rateBookService) opened(ctx context.Context, head store.Head) (open openQuote, err error) {
	open.head = head
	err = s.keep.store.View(ctx, func(tx store.Reader) error {
		q, err := tx.Quote(head.Number, callerOf(ctx).Eyes())
		if err != nil {
			return err
		}
		if open.revision = openRevision(q, s.keep.today()); open.revision > 0 {
			open.content, err = tx.Content(head.Number, open.revision, callerOf(ctx).Eyes())
		}
		return err
	})
	if err != nil && s.damaged(ctx, err) {
		open.damaged, err = true, nil
	}
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

// changed says what another book makes of a quote. That what is kept of the quote cannot be
// read is a fault of the quote, and no error.
func (s *rateBookService) changed(ctx context.Context, book *desk.Book, open openQuote) (*mouldwrightv1.OpenQuoteChange, error) {
	change := &mouldwrightv1.OpenQuoteChange{
		Quote: wire.QuoteName(open.head.Number), Revision: int32(open.revision), //nolint:gosec // counted from 1
		Title: open.head.Summary.Title, Client: open.head.Summary.Client,
	}
	var err error
	if !open.damaged {
		err = s.priced(ctx, book, open.content, change)
	}
	if open.damaged || err != nil && s.damaged(ctx, err) {
		change.Faults = bookFaults(fault.List{{Message: "what is kept of the quote cannot be read, so it is not priced"}})
		return change, nil
	}
	return change, err
}

// priced prices a revision's brief, with the terms that were kept on it, by another book.
func (s *rateBookService) priced(ctx context.Context, book *desk.Book, c store.Content, change *mouldwrightv1.OpenQuoteChange) error {
	entry, err := ledger.Read(c, ledger.Client)
	if err != nil {
		return err
	}
	kept := entry.Quote
	change.Title, change.Client, change.NetKept = kept.GetTitle(), kept.GetClient(), kept.GetNet()
	by := s.intake.asPriced(ctx, book, c)
	meshes, lost := heeded(by.Meshes)
	by.Meshes = meshes
	then, err := by.Price(entry.Brief)
	switch {
	case lost() != nil:
		return lost()
	case err != nil:
		change.Faults, err = whyNot(err)
		return err
	}
	change.NetThen = wire.Quote(then, false).GetNet()
	change.Difference, err = difference(change.GetNetKept(), change.GetNetThen())
	return err
}

// whyNot says why a book cannot price a brief.
func whyNot(err error) ([]*mouldwrightv1.RateBookFault, error) {
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
	return firstFaults(faults), nil
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
