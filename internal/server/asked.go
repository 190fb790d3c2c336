package server

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/grpc/codes"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/cabinet"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/ledger"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// briefed is a request with a brief and the rate book to reckon it by.
type briefed interface {
	GetBrief() *mouldwrightv1.Brief
	GetRateBook() string
}

// forSomeone is a request that the studio may make for a partner.
type forSomeone interface{ GetPartner() string }

const (
	briefField    = "brief"
	rateBookField = "rateBook"
)

// intake takes what a caller asks: which brief, by which rate book, with whose meshes and on
// whose terms.
type intake struct {
	books  *bookcase.Case
	store  store.Store
	meshes *cabinet.Cabinet
}

// order is a brief that is ready to be priced.
type order struct {
	brief *mouldwrightv1.Brief // with the terms it is priced on
	book  *desk.Book           // with the meshes that it may refer to
	owner string               // whose it is: a partner, or the studio, which is the empty name
	lost  func() error         // why a mesh could not be looked up, which is not the brief's fault; nil where all could
}

// heeded returns meshes, and afterwards why one could not be looked up where that says
// nothing of the mesh: the store is away, or time is up.
func heeded(meshes brief.Meshes) (own brief.Meshes, lost func() error) {
	var failed error
	return func(name string) (*maquette.Maquette, string, error) {
		model, sum, err := meshes(name)
		if err != nil && !errors.Is(err, cabinet.ErrNone) && !errors.Is(err, store.ErrNotFound) && failed == nil {
			failed = err
		}
		return model, sum, err
	}, func() error { return failed }
}

// asked translates the brief of a request and finds its rate book.
func (i *intake) asked(ctx context.Context, r briefed) (*brief.Brief, *desk.Book, error) {
	o, err := i.take(ctx, r)
	if err != nil {
		return nil, nil, err
	}
	asked, err := o.book.Brief(o.brief)
	if err != nil || o.lost() != nil {
		return nil, nil, o.refused(err)
	}
	return asked, o.book, nil
}

// take makes an order of a request. It changes the request: terms that are a partner's are
// put on its brief.
func (i *intake) take(ctx context.Context, r briefed) (*order, error) {
	return i.takeFor(ctx, r, ownerOf(ctx, r))
}

// takeFor makes an order whose owner is known.
func (i *intake) takeFor(ctx context.Context, r briefed, owner string) (*order, error) {
	if err := i.settle(ctx, r, owner); err != nil {
		return nil, err
	}
	book, err := i.book(ctx, r.GetRateBook(), owner)
	if err != nil {
		return nil, err
	}
	o := &order{brief: r.GetBrief(), book: book, owner: owner}
	book.Meshes, o.lost = heeded(book.Meshes)
	return o, nil
}

// book finds a rate book, with the meshes of whoever asks. Which revision prices a partner's
// briefs is the studio's choice.
func (i *intake) book(ctx context.Context, name, owner string) (*desk.Book, error) {
	if callerOf(ctx).Kind != access.Studio && name != "" && name != bookcase.Current {
		return nil, &violations{faults: fault.List{{Path: rateBookField, Message: fmt.Sprintf("got %q; allowed: %s, or none", clip(name), bookcase.Current)}}}
	}
	book, err := i.books.Find(ctx, name)
	if err != nil {
		return nil, err
	}
	own := *book
	own.Meshes = i.meshes.Meshes(ctx, owner, callerOf(ctx).Eyes())
	return &own, nil
}

// asPriced returns a book with the meshes that a revision was priced with.
func (i *intake) asPriced(ctx context.Context, book *desk.Book, c store.Content) *desk.Book {
	return ledger.By(book, c.Meshes, i.meshes.Models(ctx))
}

// ownerOf is whose what is made of a request is: the partner that it names, or the caller.
func ownerOf(ctx context.Context, r any) string {
	if other, ok := r.(forSomeone); ok && other.GetPartner() != "" {
		return wire.PartnerID(other.GetPartner())
	}
	return callerOf(ctx).Owner()
}

// settle puts a partner's terms on its brief.
func (i *intake) settle(ctx context.Context, r briefed, owner string) (err error) {
	if owner == "" || r.GetBrief() == nil {
		return nil
	}
	if r.GetBrief().GetPartnerTerms() != nil {
		return &violations{faults: fault.List{{Path: briefField + ".partnerTerms", Message: "are set by the studio for each partner; allowed: none in the brief"}}}
	}
	r.GetBrief().PartnerTerms, err = i.termsOf(ctx, owner)
	return err
}

// termsOf are the terms agreed with a partner; nil where there are none.
func (i *intake) termsOf(ctx context.Context, owner string) (*mouldwrightv1.PartnerTerms, error) {
	var partner store.Partner
	err := i.store.View(ctx, func(r store.Reader) (err error) {
		partner, err = r.Partner(owner, callerOf(ctx).Eyes())
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return nil, noPartner(wire.PartnerName(owner))
	}
	if err != nil || len(partner.Terms) == 0 {
		return nil, err
	}
	terms := &mouldwrightv1.PartnerTerms{}
	if err := wire.DecodeKept(partner.Terms, terms); err != nil {
		return nil, fmt.Errorf("the terms kept of partner %s: %w", owner, err)
	}
	return terms, nil
}

func noPartner(name string) *problem {
	return &problem{code: codes.NotFound, reason: reasonNoPartner, message: fmt.Sprintf("got %q, which is no partner here", clip(name))}
}

// refused puts the faults that the core found in a brief under the request's field. Faults of
// terms that the caller did not set are the studio's to mend.
func (o *order) refused(err error) error {
	if o.lost() != nil {
		return o.lost()
	}
	var faults fault.List
	if o.owner == "" || !errors.As(err, &faults) {
		return ofBrief(o.brief, err)
	}
	for _, f := range faults {
		if isUnder(f.Path, "partnerTerms") {
			return &problem{
				code: codes.FailedPrecondition, reason: reasonTerms, cause: err,
				message: fmt.Sprintf("the terms kept of %s do not fit rate book %s; the studio has to mend them", wire.PartnerName(o.owner), o.book.Edition.Revision),
			}
		}
	}
	return ofBrief(o.brief, err)
}

// meaning returns what is wrong with a request besides its form and the limits
// of its fields: what contradicts itself or is not in the rate book. A handler
// finds the same; this is for requests that no handler will see.
func (i *intake) meaning(ctx context.Context, request any) fault.List {
	switch r := request.(type) {
	case briefed:
		if r.GetBrief() == nil {
			return nil
		}
		o, err := i.take(ctx, r)
		if err != nil {
			return faultsOf(err)
		}
		// No mesh is studied for a request that is refused anyway: what a brief means with one
		// that is not at hand is told once the rest is sound.
		o.book.Meshes, o.lost = heeded(i.meshes.AtHand(ctx, o.owner, callerOf(ctx).Eyes()))
		faults := o.book.Meaning(o.brief).Under(briefField)
		if o.lost() != nil {
			return nil
		}
		return faults
	case *mouldwrightv1.ApplyMarginRequest:
		book, err := i.book(ctx, r.GetRateBook(), "")
		if err != nil {
			return faultsOf(err)
		}
		_, _, faults := wire.MarginItems(r, book.Edition)
		return faults
	case partnered:
		faults, err := i.unfitPartner(ctx, r)
		return append(faults, faultsOf(err)...)
	case *mouldwrightv1.CreateRateBookRequest:
		return meaningOfBook(r)
	default:
		return nil
	}
}

// faultsOf are the faults that an error tells of a request.
func faultsOf(err error) fault.List {
	var bad *violations
	var missing *bookcase.MissingError
	switch {
	case errors.As(err, &bad):
		return bad.faults
	case errors.As(err, &missing):
		return fault.List{{Path: rateBookField, Message: missing.Error()}}
	default:
		return nil
	}
}

// ofBrief puts the faults that the core found in a brief under the request's
// field.
func ofBrief(pb *mouldwrightv1.Brief, err error) error {
	switch e := err.(type) { //nolint:errorlint // the core returns these two as they are
	case fault.List:
		return &violations{faults: e.Under(briefField), reasons: laterReasons(pb)}
	case estimate.LaterError:
		return estimate.LaterError{Faults: e.Faults.Under(briefField)}
	default:
		return err
	}
}

// briefOf returns the brief of a request; nil where it has none.
func briefOf(request any) *mouldwrightv1.Brief {
	if r, ok := request.(briefed); ok {
		return r.GetBrief()
	}
	return nil
}

// laterReasons gives the paths of what a brief has that is not reckoned yet their
// reason.
func laterReasons(pb *mouldwrightv1.Brief) map[string]string {
	reasons := map[string]string{}
	of, _ := wire.Brief(pb) // its faults are told elsewhere
	for _, f := range of.Later().Under(briefField) {
		reasons[f.Path] = faultLater
	}
	return reasons
}

// isUnder reports whether a path is that of field or leads below it.
func isUnder(path, field string) bool {
	rest, ok := strings.CutPrefix(path, field)
	return ok && (rest == "" || rest[0] == '.' || rest[0] == '[')
}
