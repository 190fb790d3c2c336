package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"google.golang.org/genproto/googleapis/api/httpbody"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/document"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/ledger"
	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// quoteService prices briefs, and keeps quotes.
type quoteService struct {
	mouldwrightv1.UnimplementedQuoteServiceServer
	intake *intake
	keep   *keeping
}

// viewed is a request that says how much of a quote it wants.
type viewed interface {
	GetView() mouldwrightv1.QuoteView
}

// viewOf is how much of a quote comes back. The workings are the studio's.
func viewOf(ctx context.Context, r viewed) (ledger.View, error) {
	switch {
	case r.GetView() != mouldwrightv1.QuoteView_QUOTE_VIEW_WORKINGS:
		return ledger.Client, nil
	case callerOf(ctx).Kind != access.Studio:
		return ledger.Client, &violations{faults: fault.List{{Path: "view", Message: fmt.Sprintf("got %v, which is the studio's own; allowed: %v", r.GetView(), mouldwrightv1.QuoteView_QUOTE_VIEW_PRICE)}}}
	default:
		return ledger.Studio, nil
	}
}

// PreviewQuote prices a brief.
func (s *quoteService) PreviewQuote(ctx context.Context, r *mouldwrightv1.PreviewQuoteRequest) (*mouldwrightv1.PreviewQuoteResponse, error) {
	view, err := viewOf(ctx, r)
	if err != nil {
		return nil, err
	}
	o, err := s.intake.take(ctx, r)
	if err != nil {
		return nil, err
	}
	q, err := o.book.Price(o.brief)
	if err != nil {
		return nil, o.refused(err)
	}
	return &mouldwrightv1.PreviewQuoteResponse{Quote: wire.Quote(q, view == ledger.Studio)}, nil
}

// CreateQuote keeps a draft.
func (s *quoteService) CreateQuote(ctx context.Context, r *mouldwrightv1.CreateQuoteRequest) (*mouldwrightv1.CreateQuoteResponse, error) {
	reply := &mouldwrightv1.CreateQuoteResponse{}
	err := s.keep.once(ctx, r, reply, func(ctx context.Context) (func(store.Tx) error, error) {
		owner := ownerOf(ctx, r)
		err := s.keep.store.View(ctx, func(tx store.Reader) error { return openFor(tx, owner, callerOf(ctx).Eyes()) })
		if err != nil {
			return nil, err
		}
		d, err := s.draft(ctx, r, owner)
		if err != nil {
			return nil, err
		}
		return func(tx store.Tx) error {
			q, err := tx.Create(d.owner, yearOf(d.mark.On), d.content, d.mark)
			reply.Quote = d.of(q)
			return err
		}, nil
	})
	return reply, err
}

// ReviseQuote replaces the draft, or writes another beside the offer.
func (s *quoteService) ReviseQuote(ctx context.Context, r *mouldwrightv1.ReviseQuoteRequest) (*mouldwrightv1.ReviseQuoteResponse, error) {
	var reply *mouldwrightv1.ReviseQuoteResponse
	err := persist(r.GetEtag(), func() error {
		reply = &mouldwrightv1.ReviseQuoteResponse{}
		return s.revise(ctx, proto.CloneOf(r), reply) // which changes the request
	})
	return reply, err
}

// persist does again what somebody else's change came between, for a caller who names no etag.
func persist(etag string, do func() error) error {
	const tries = 3
	for try := 1; ; try++ {
		err := do()
		if err == nil || etag != "" || !errors.Is(err, store.ErrStale) || try == tries {
			return err
		}
	}
}

func (s *quoteService) revise(ctx context.Context, r *mouldwrightv1.ReviseQuoteRequest, reply *mouldwrightv1.ReviseQuoteResponse) error {
	return s.keep.once(ctx, r, reply, func(ctx context.Context) (func(store.Tx) error, error) {
		kept, err := s.find(ctx, r.GetName())
		if err != nil {
			return nil, err
		}
		if err := s.takeBack(ctx, r.GetBrief(), kept); err != nil {
			return nil, err
		}
		d, err := s.draft(ctx, r, kept.Owner)
		if err != nil {
			return nil, err
		}
		return func(tx store.Tx) error {
			q, err := alter(ctx, tx, kept.Number, r.GetEtag(), life.Revise(""), d.content, d.mark)
			reply.Quote = d.of(q)
			return err
		}, nil
	})
}

// reasonStudios says that a draft is the studio's to revise, since the studio wrote it last.
const reasonStudios = "DRAFT_OF_STUDIO"

// alter makes a change of a quote that is its caller's to make. A partner does not write over
// what the studio wrote, which the studio might then issue unread.
func alter(ctx context.Context, tx store.Tx, number life.Number, etag string, change life.Change, content store.Content, mark life.Mark) (store.Quote, error) {
	caller := callerOf(ctx)
	if caller.Kind == access.Studio {
		return tx.Change(number, etag, caller.Eyes(), change, content, mark)
	}
	q, err := tx.Quote(number, caller.Eyes())
	if err != nil {
		return store.Quote{}, err
	}
	if change.Act == life.Revising {
		if ofStudio(q) {
			return store.Quote{}, &problem{
				code: codes.FailedPrecondition, reason: reasonStudios,
				message: "the studio wrote the draft of this quote last, and it is the studio's to revise; ask for the change, or begin a quote of your own",
			}
		}
		etag = cmp.Or(etag, q.Etag()) // the studio may write a draft meanwhile
	}
	after, err := tx.Change(number, etag, caller.Eyes(), change, content, mark)
	var refused life.Refused
	if errors.As(err, &refused) {
		refused.Allowed = may(caller, q, refused.Allowed)
		return store.Quote{}, refused
	}
	return after, err
}

// may is what a caller may do, of what may be done to a quote: issuing is the studio's, and so
// is revising a draft of the studio's.
func may(caller access.Caller, q store.Quote, acts []life.Act) []life.Act {
	if caller.Kind == access.Studio {
		return acts
	}
	return slices.DeleteFunc(slices.Clone(acts), func(act life.Act) bool {
		return act == life.Issuing || act == life.Revising && ofStudio(q)
	})
}

// ofStudio reports whether a quote has a draft that the studio wrote last.
func ofStudio(q store.Quote) bool {
	if _, drafting := q.Drafting(); !drafting {
		return false
	}
	for _, e := range slices.Backward(q.History) {
		if e.Act == life.Creating || e.Act == life.Revising {
			return e.By.Kind == access.Studio.String()
		}
	}
	return false
}

// takeBack takes off a brief what the caller read of the quote and sends back unchanged, though
// it is not the caller's to set: the partner's terms and the day, which are set anew.
func (s *quoteService) takeBack(ctx context.Context, pb *mouldwrightv1.Brief, q store.Quote) error {
	if q.Owner == "" || pb.GetPartnerTerms() == nil && pb.GetPreparedOn() == "" {
		return nil
	}
	for _, revision := range []int{len(q.Revisions), usual(q)} {
		kept, err := s.briefOf(ctx, q.Number, revision)
		if err != nil {
			return err
		}
		if proto.Equal(pb.GetPartnerTerms(), kept.GetPartnerTerms()) {
			pb.PartnerTerms = nil
		}
		if pb.GetPreparedOn() == kept.GetPreparedOn() {
			pb.PreparedOn = ""
		}
	}
	return nil
}

// briefOf is the brief of a revision as the caller reads it.
func (s *quoteService) briefOf(ctx context.Context, number life.Number, revision int) (*mouldwrightv1.Brief, error) {
	var content store.Content
	err := s.keep.store.View(ctx, func(r store.Reader) (err error) {
		content, err = r.Content(number, revision, callerOf(ctx).Eyes())
		return err
	})
	pb := &mouldwrightv1.Brief{}
	if err == nil {
		err = wire.DecodeKept(content.Brief, pb)
	}
	if err != nil {
		return nil, err
	}
	return pb, wire.NewMasker().Mask(pb, audienceOf(callerOf(ctx).Kind))
}

// draft is a revision that is about to be kept.
type draft struct {
	caller  access.Caller
	owner   string
	content store.Content
	entry   *ledger.Entry
	view    ledger.View
	mark    life.Mark
}

// drafted is a request that a draft is made of.
type drafted interface {
	briefed
	viewed
}

// draft prices a request's brief, on today's day where it gives none.
func (s *quoteService) draft(ctx context.Context, r drafted, owner string) (*draft, error) {
	d := &draft{caller: callerOf(ctx), owner: owner, mark: s.keep.mark(ctx)}
	var err error
	if d.view, err = viewOf(ctx, r); err != nil {
		return nil, err
	}
	if err := date(ctx, r.GetBrief(), d.mark.On); err != nil {
		return nil, err
	}
	o, err := s.intake.takeFor(ctx, r, owner)
	if err != nil {
		return nil, err
	}
	d.content, d.entry, err = ledger.Price(o.book, o.brief)
	if err != nil {
		return nil, o.refused(err)
	}
	return d, nil
}

// date gives a brief its day. From it runs how long the offer stands, which is not a
// partner's to choose.
func date(ctx context.Context, pb *mouldwrightv1.Brief, today life.Day) error {
	if pb.GetPreparedOn() == "" {
		pb.PreparedOn = string(today)
	}
	if callerOf(ctx).Kind != access.Studio && pb.GetPreparedOn() != string(today) {
		return &violations{faults: fault.List{{
			Path: briefField + ".preparedOn", Message: fmt.Sprintf("got %q; allowed: today at the studio, which is %s, or none", pb.GetPreparedOn(), today),
		}}}
	}
	return nil
}

// of is the draft as an answer.
func (d *draft) of(q store.Quote) *mouldwrightv1.KeptQuote {
	return shown(d.caller, q, len(q.Revisions), &written{d.content, d.entry}, d.view, d.mark.On)
}

// shown is a quote with one of its revisions as an answer to a caller.
func shown(caller access.Caller, q store.Quote, revision int, w *written, view ledger.View, on life.Day) *mouldwrightv1.KeptQuote {
	pb, e := wire.KeptQuote(q, on, may(caller, q, q.Allowed(on))), w.entry
	pb.ShownRevision = int32(revision) //nolint:gosec // counted from 1
	pb.RateBook = bookcase.Prefix + w.content.RateBook
	pb.Brief, pb.Quote = e.Brief, e.Quote
	if view == ledger.Studio {
		pb.Quote = e.Full
	}
	pb.Title, pb.Client, pb.Reference, pb.Net = e.Quote.GetTitle(), e.Quote.GetClient(), e.Quote.GetReference(), e.Quote.GetNet()
	return pb
}

func yearOf(day life.Day) int {
	year, _ := strconv.Atoi(string(day[:4])) // a day is written as 2027-01-31
	return year
}

// find returns a quote that the caller may see.
func (s *quoteService) find(ctx context.Context, name string) (q store.Quote, err error) {
	number, err := wire.QuoteNumber(name)
	if err != nil {
		return store.Quote{}, err
	}
	err = s.keep.store.View(ctx, func(r store.Reader) (err error) {
		q, err = r.Quote(number, callerOf(ctx).Eyes())
		return err
	})
	return q, err
}

// GetQuote shows a quote.
func (s *quoteService) GetQuote(ctx context.Context, r *mouldwrightv1.GetQuoteRequest) (*mouldwrightv1.GetQuoteResponse, error) {
	view, err := viewOf(ctx, r)
	if err != nil {
		return nil, err
	}
	l, err := s.look(ctx, r, view)
	if err != nil {
		return nil, err
	}
	return &mouldwrightv1.GetQuoteResponse{Quote: shown(callerOf(ctx), l.quote, l.revision, l.written, view, s.keep.today())}, nil
}

// named is a request for a revision of a quote.
type named interface {
	GetName() string
	GetRevision() int32
}

// look is a revision of a quote that was looked up.
type look struct {
	quote    store.Quote
	revision int
	*written
}

// look looks a revision up: the one that is named, the offer, or the draft.
func (s *quoteService) look(ctx context.Context, r named, view ledger.View) (*look, error) {
	number, err := wire.QuoteNumber(r.GetName())
	if err != nil {
		return nil, err
	}
	l := &look{}
	err = s.keep.store.View(ctx, func(tx store.Reader) (err error) {
		eyes := callerOf(ctx).Eyes()
		if l.quote, err = tx.Quote(number, eyes); err != nil {
			return err
		}
		l.revision = cmp.Or(int(r.GetRevision()), usual(l.quote))
		l.written, err = read(tx, number, l.revision, eyes, view)
		return err
	})
	return l, err
}

// usual is the revision that is shown where none is named: the offer, or the draft.
func usual(q store.Quote) int {
	if offer, ok := q.Offer(); ok {
		return offer.Number
	}
	return len(q.Revisions)
}

// ListQuotes lists quotes, a page at a time.
func (s *quoteService) ListQuotes(ctx context.Context, r *mouldwrightv1.ListQuotesRequest) (*mouldwrightv1.ListQuotesResponse, error) {
	after, err := tokenNumber(r.GetPageToken())
	if err != nil {
		return nil, err
	}
	today := s.keep.today()
	by := store.Filter{State: wire.QuoteState(r.GetState()), On: today, Year: int(r.GetYear())}
	if r.GetReference() != "" {
		reference := r.GetReference()
		by.Reference = &reference
	}
	if r.GetPartner() != "" {
		owner := wire.PartnerID(r.GetPartner())
		by.Owner = &owner
	}
	size := pageSize(r.GetPageSize())
	var heads []store.Head
	err = s.keep.store.View(ctx, func(tx store.Reader) (err error) {
		heads, err = tx.Quotes(by, after, size+1, callerOf(ctx).Eyes())
		return err
	})
	if err != nil {
		return nil, err
	}
	answer := &mouldwrightv1.ListQuotesResponse{}
	if len(heads) > size {
		heads = heads[:size]
		answer.NextPageToken = pageToken(heads[size-1].Number.String())
	}
	for _, h := range heads {
		answer.Quotes = append(answer.Quotes, wire.QuoteHead(h, today))
	}
	return answer, nil
}

func tokenNumber(token string) (life.Number, error) {
	text, err := tokenText(token)
	if err != nil || text == "" {
		return life.Number{}, err
	}
	number, err := life.ParseNumber(text)
	if err != nil {
		return life.Number{}, strangeToken(token)
	}
	return number, nil
}

// IssueQuote makes the draft the offer.
func (s *quoteService) IssueQuote(ctx context.Context, r *mouldwrightv1.IssueQuoteRequest) (*mouldwrightv1.IssueQuoteResponse, error) {
	var reply *mouldwrightv1.IssueQuoteResponse
	err := persist(r.GetEtag(), func() error {
		reply = &mouldwrightv1.IssueQuoteResponse{}
		return s.change(ctx, r, reply, &reply.Quote, func(tx store.Tx, number life.Number, mark life.Mark) (store.Quote, *written, error) {
			return s.issue(ctx, tx, number, r, mark)
		})
	})
	return reply, err
}

// reasonEarly says that a draft is priced on a day to come.
const reasonEarly = "QUOTE_EARLY"

// issue issues a draft until the day that its own document says.
func (s *quoteService) issue(ctx context.Context, tx store.Tx, number life.Number, r *mouldwrightv1.IssueQuoteRequest, mark life.Mark) (store.Quote, *written, error) {
	view, err := viewOf(ctx, r)
	if err != nil {
		return store.Quote{}, nil, err
	}
	eyes := callerOf(ctx).Eyes()
	q, err := tx.Quote(number, eyes)
	if err != nil {
		return store.Quote{}, nil, err
	}
	until, w := mark.On, (*written)(nil) // where there is no draft, life says so
	if draft, ok := q.Drafting(); ok {
		if w, err = read(tx, number, draft.Number, eyes, view); err != nil {
			return store.Quote{}, nil, err
		}
		until = life.Day(w.entry.Quote.GetValidUntil())
		if day := life.Day(w.entry.Quote.GetPreparedOn()); day > mark.On { // from which on the offer stands: nobody could tell when it was made
			return store.Quote{}, nil, &problem{
				code: codes.FailedPrecondition, reason: reasonEarly,
				message: fmt.Sprintf("the draft is priced on a day to come, %s; allowed: to issue it then, or to revise it, which prices it on today's day, %s, where its brief gives none", day, mark.On),
			}
		}
	}
	// The etag of the draft that was read, where the caller has none: another one may say another day.
	q, err = tx.Change(number, cmp.Or(r.GetEtag(), q.Etag()), eyes, life.Issue(until), store.Content{}, mark)
	return q, w, err
}

// written is a revision as it was written down.
type written struct {
	content store.Content
	entry   *ledger.Entry
}

// read reads a revision.
func read(r store.Reader, number life.Number, revision int, eyes store.Eyes, view ledger.View) (*written, error) {
	content, err := r.Content(number, revision, eyes)
	if err != nil {
		return nil, err
	}
	entry, err := ledger.Read(content, view)
	return &written{content, entry}, err
}

// AcceptQuote takes the offer.
func (s *quoteService) AcceptQuote(ctx context.Context, r *mouldwrightv1.AcceptQuoteRequest) (*mouldwrightv1.AcceptQuoteResponse, error) {
	reply := &mouldwrightv1.AcceptQuoteResponse{}
	err := s.change(ctx, r, reply, &reply.Quote, func(tx store.Tx, number life.Number, mark life.Mark) (store.Quote, *written, error) {
		q, err := alter(ctx, tx, number, r.GetEtag(), life.Accept(), store.Content{}, mark)
		return q, nil, err
	})
	return reply, err
}

// DeclineQuote turns the offer down.
func (s *quoteService) DeclineQuote(ctx context.Context, r *mouldwrightv1.DeclineQuoteRequest) (*mouldwrightv1.DeclineQuoteResponse, error) {
	reply := &mouldwrightv1.DeclineQuoteResponse{}
	err := s.change(ctx, r, reply, &reply.Quote, func(tx store.Tx, number life.Number, mark life.Mark) (store.Quote, *written, error) {
		q, err := alter(ctx, tx, number, r.GetEtag(), life.Decline(), store.Content{}, mark)
		return q, nil, err
	})
	return reply, err
}

// changing is a request to change a quote that is kept.
type changing interface {
	repeatable
	viewed
	GetName() string
}

// change changes a quote and answers with the revision that it was about, which is read where
// the change has not read it.
func (s *quoteService) change(ctx context.Context, r changing, reply proto.Message, answer **mouldwrightv1.KeptQuote,
	do func(store.Tx, life.Number, life.Mark) (store.Quote, *written, error),
) error {
	return s.keep.once(ctx, r, reply, func(ctx context.Context) (func(store.Tx) error, error) {
		view, err := viewOf(ctx, r)
		if err != nil {
			return nil, err
		}
		number, err := wire.QuoteNumber(r.GetName())
		mark := s.keep.mark(ctx)
		return func(tx store.Tx) error {
			q, w, err := do(tx, number, mark)
			if err == nil && w == nil {
				w, err = read(tx, number, usual(q), callerOf(ctx).Eyes(), view)
			}
			if err != nil {
				return err
			}
			*answer = shown(callerOf(ctx), q, usual(q), w, view, mark.On)
			return nil
		}, err
	})
}

// RecomputeQuote proves that a revision still comes out as it is kept.
func (s *quoteService) RecomputeQuote(ctx context.Context, r *mouldwrightv1.RecomputeQuoteRequest) (*mouldwrightv1.RecomputeQuoteResponse, error) {
	const most = 50
	l, err := s.look(ctx, r, ledger.Client)
	if err != nil {
		return nil, err
	}
	book, err := s.intake.books.Revision(ctx, l.content.RateBook)
	if err != nil {
		return nil, err
	}
	by := s.intake.asPriced(ctx, book, l.content)
	meshes, lost := heeded(by.Meshes)
	by.Meshes = meshes
	proof, err := ledger.Prove(by, l.content, most)
	switch {
	case lost() != nil:
		return nil, lost()
	case err != nil:
		return nil, &problem{code: codes.FailedPrecondition, reason: reasonRecompute, message: "this program cannot price it again: " + err.Error()}
	}
	return &mouldwrightv1.RecomputeQuoteResponse{
		Revision: int32(l.revision), Same: proof.Same, EngineKept: int32(proof.Engine), EngineNow: estimate.Engine, //nolint:gosec // small
		NetKept: proof.Kept.Quote.GetNet(), NetNow: proof.Now.Quote.GetNet(), Differences: proof.Differences,
	}, nil
}

// GetQuoteDocument writes a quote down for its caller: the client's document, or the studio's.
func (s *quoteService) GetQuoteDocument(ctx context.Context, r *mouldwrightv1.GetQuoteDocumentRequest) (*httpbody.HttpBody, error) {
	view, err := viewOf(ctx, r)
	if err != nil {
		return nil, err
	}
	l, err := s.look(ctx, r, view)
	if err != nil {
		return nil, err
	}
	text := l.entry.Client
	if view == ledger.Studio {
		text = l.entry.Studio
	}
	head := document.Headed(l.quote.Number.String(), standing(l.quote, l.revision, s.keep.today()))
	return &httpbody.HttpBody{ContentType: "text/plain; charset=utf-8", Data: []byte(head + text)}, nil
}

// standing says of a revision what it is worth on a day.
func standing(q store.Quote, revision int, on life.Day) document.Standing {
	r := q.Revisions[revision-1]
	return document.Standing{Revision: r.Number, State: string(r.StateOn(on)), ValidUntil: string(r.ValidUntil)}
}
