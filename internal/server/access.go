package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// accessService keeps partners with their terms, and the keys by which callers are known.
type accessService struct {
	mouldwrightv1.UnimplementedAccessServiceServer
	intake *intake
	keep   *keeping
	gate   *access.Gate // which is told when keys or partners change
	random io.Reader    // of secrets
}

// CreatePartner takes a partner on.
func (s *accessService) CreatePartner(ctx context.Context, r *mouldwrightv1.CreatePartnerRequest) (*mouldwrightv1.CreatePartnerResponse, error) {
	reply := &mouldwrightv1.CreatePartnerResponse{}
	err := s.keep.once(ctx, r, reply, func(ctx context.Context) (func(store.Tx) error, error) {
		p, err := s.newPartner(ctx, r)
		if err != nil {
			return nil, err
		}
		return func(tx store.Tx) (err error) {
			added, err := tx.AddPartner(p)
			if err != nil {
				return err
			}
			reply.Partner, err = wire.Partner(added)
			return err
		}, nil
	})
	return reply, err
}

func (s *accessService) newPartner(ctx context.Context, r *mouldwrightv1.CreatePartnerRequest) (store.Partner, error) {
	faults, err := s.intake.unfitPartner(ctx, r)
	if err != nil {
		return store.Partner{}, err
	}
	if len(faults) > 0 {
		return store.Partner{}, &violations{faults: faults}
	}
	return keptAs(store.Partner{ID: r.GetPartnerId(), At: s.keep.now()}, r.GetPartner())
}

// partnered is a request that sets fields of a partner.
type partnered interface {
	proto.Message
	GetPartner() *mouldwrightv1.Partner
}

// pathsOf are the fields that a request sets, of those that wire.PartnerPaths names: all of a
// new partner; of another those that the mask names or, without one, those that are set.
func pathsOf(r partnered) ([]string, fault.List) {
	update, ok := r.(*mouldwrightv1.UpdatePartnerRequest)
	if !ok {
		return wire.PartnerPaths(), nil
	}
	var faults fault.List
	paths := wire.SetPaths(r.GetPartner())
	if mask := update.GetUpdateMask().GetPaths(); len(mask) > 0 {
		paths, faults = unmasked(mask)
	}
	if r.GetPartner() != nil && len(paths) == 0 && len(faults) == 0 {
		faults.Add(fault.Path{}, "nothing to change; %s; updateMask has to name what is to be emptied, and closed where a partner is opened again",
			fault.Allowed("", wire.PartnerPaths()))
		faults = faults.Under("partner")
	}
	return paths, faults
}

// unmasked reads a mask. A field that there is not, passed over, would not be changed, and
// nobody would know.
func unmasked(mask []string) (paths []string, faults fault.List) {
	for _, masked := range mask {
		path, ok := wire.PartnerPath(masked)
		if !ok {
			faults = append(faults, fault.Fault{Path: "updateMask", Message: fmt.Sprintf("got %q; %s", clip(masked), fault.Allowed(masked, wire.PartnerPaths()))})
			continue
		}
		paths = append(paths, path)
	}
	return paths, faults
}

// unfitPartner says what is wrong with a request that sets fields of a partner, beside what is
// kept of that partner.
func (i *intake) unfitPartner(ctx context.Context, r partnered) (fault.List, error) {
	book, err := i.books.Find(ctx, bookcase.Current)
	if err != nil {
		return nil, err
	}
	var kept store.Partner
	if update, ok := r.(*mouldwrightv1.UpdatePartnerRequest); ok {
		err = i.store.View(ctx, func(tx store.Reader) (err error) {
			kept, err = tx.Partner(wire.PartnerID(update.GetPartner().GetName()), callerOf(ctx).Eyes())
			return err
		})
	}
	if err != nil && !errors.Is(err, store.ErrNotFound) { // of one that there is not the request is held to nothing but itself
		return nil, err
	}
	return unfit(book, r, kept)
}

// unfit says what is wrong with a request that sets fields of a partner as it is kept: the
// terms that come of it have to fit the rate book.
func unfit(book *desk.Book, r partnered, kept store.Partner) (fault.List, error) {
	paths, faults := pathsOf(r)
	faults = append(faults, unfitName(r)...)
	if slices.Contains(paths, "title") {
		faults = append(faults, unfitTitle("partner.title", r.GetPartner().GetTitle())...)
	}
	if slices.ContainsFunc(paths, wire.IsTerms) {
		to, err := changed(kept, r.GetPartner(), paths)
		if err != nil {
			return nil, err
		}
		faults = append(faults, unfitTerms(book, to.GetTerms()).Under("partner")...)
	}
	return wire.InOrder(r.ProtoReflect().Descriptor(), faults), nil
}

// unfitName looks at whose fields are set: the name of a new partner is the service's to give.
func unfitName(r partnered) fault.List {
	name := r.GetPartner().GetName()
	create, ok := r.(*mouldwrightv1.CreatePartnerRequest)
	if own := wire.PartnerName(create.GetPartnerId()); ok && name != "" && name != own {
		return fault.List{{Path: "partner.name", Message: fmt.Sprintf("got %q beside partnerId %q; allowed: %s, or none", name, create.GetPartnerId(), own)}}
	}
	if !ok && name == "" {
		return fault.List{{Path: "partner.name", Message: "missing; allowed: " + wire.PartnerPrefix + " and the partner's id"}}
	}
	return nil
}

// unfitTerms says what is wrong with terms beside a rate book. The studio is told which
// finishes there are; a partner, who may have the same fault in a brief, is not.
func unfitTerms(book *desk.Book, terms *mouldwrightv1.PartnerTerms) fault.List {
	const own, each = "partnerTerms", "partnerTerms.finishes["
	faults := brief.UnknownFinishes(book.Edition, terms.GetFinishes()).Under("terms")
	for _, f := range book.Meaning(&mouldwrightv1.Brief{PartnerTerms: terms}) { // which lacks all else that a brief needs
		if isUnder(f.Path, own) && !strings.HasPrefix(f.Path, each) {
			faults = append(faults, fault.Fault{Path: "terms" + strings.TrimPrefix(f.Path, own), Message: f.Message})
		}
	}
	return faults
}

func unfitTitle(path, title string) fault.List {
	switch {
	case title == "":
		return fault.List{{Path: path, Message: "missing; allowed: 1 to 200 characters"}}
	case strings.ContainsFunc(title, unicode.IsControl):
		return fault.List{{Path: path, Message: fmt.Sprintf("got %q; allowed: one line of text", clip(title))}}
	default:
		return nil
	}
}

// changed is a partner with some of its fields set.
func changed(kept store.Partner, from *mouldwrightv1.Partner, paths []string) (*mouldwrightv1.Partner, error) {
	to, err := wire.Partner(kept)
	if err != nil {
		return nil, err
	}
	wire.SetPartner(to, from, paths)
	return to, nil
}

// keptAs is what is kept of a partner that was changed.
func keptAs(kept store.Partner, to *mouldwrightv1.Partner) (_ store.Partner, err error) {
	kept.Title, kept.Closed = to.GetTitle(), to.GetClosed()
	kept.Terms, err = wire.EncodeTerms(to.GetTerms())
	return kept, err
}

// GetPartner shows a partner.
func (s *accessService) GetPartner(ctx context.Context, r *mouldwrightv1.GetPartnerRequest) (*mouldwrightv1.GetPartnerResponse, error) {
	var kept store.Partner
	err := s.keep.store.View(ctx, func(tx store.Reader) (err error) {
		kept, err = tx.Partner(wire.PartnerID(r.GetName()), callerOf(ctx).Eyes())
		return err
	})
	if err != nil {
		return nil, err
	}
	pb, err := wire.Partner(kept)
	return &mouldwrightv1.GetPartnerResponse{Partner: pb}, err
}

// ListPartners lists the partners, a page at a time.
func (s *accessService) ListPartners(ctx context.Context, r *mouldwrightv1.ListPartnersRequest) (*mouldwrightv1.ListPartnersResponse, error) {
	after, err := tokenID(r.GetPageToken())
	if err != nil {
		return nil, err
	}
	size := pageSize(r.GetPageSize())
	var kept []store.Partner
	err = s.keep.store.View(ctx, func(tx store.Reader) (err error) {
		kept, err = tx.Partners(after, size+1, callerOf(ctx).Eyes())
		return err
	})
	answer := &mouldwrightv1.ListPartnersResponse{}
	if len(kept) > size {
		kept = kept[:size]
		answer.NextPageToken = pageToken(kept[size-1].ID)
	}
	for _, p := range kept {
		pb, unreadable := wire.Partner(p)
		err = errors.Join(err, unreadable)
		answer.Partners = append(answer.Partners, pb)
	}
	return answer, err
}

// UpdatePartner changes what the request names of a partner.
func (s *accessService) UpdatePartner(ctx context.Context, r *mouldwrightv1.UpdatePartnerRequest) (*mouldwrightv1.UpdatePartnerResponse, error) {
	reply := &mouldwrightv1.UpdatePartnerResponse{}
	err := s.keep.once(ctx, r, reply, func(ctx context.Context) (func(store.Tx) error, error) {
		book, err := s.intake.books.Find(ctx, bookcase.Current)
		return func(tx store.Tx) error {
			kept, err := change(tx, book, r, callerOf(ctx).Eyes())
			if err != nil {
				return err
			}
			reply.Partner, err = wire.Partner(kept)
			return err
		}, err
	})
	s.gate.Forget() // even where it failed: it may have been kept before its answer was lost
	return reply, err
}

// change changes a partner. One that is so already stays as it was, with its etag.
func change(tx store.Tx, book *desk.Book, r *mouldwrightv1.UpdatePartnerRequest, eyes store.Eyes) (store.Partner, error) {
	kept, err := sought(tx, book, r, eyes)
	if err != nil {
		return store.Partner{}, err
	}
	before, err := wire.Partner(kept)
	if err != nil {
		return store.Partner{}, err
	}
	paths, _ := pathsOf(r)
	after, err := changed(kept, r.GetPartner(), paths)
	if err != nil || proto.Equal(before, after) {
		return kept, err
	}
	to, err := keptAs(kept, after)
	if err != nil {
		return store.Partner{}, err
	}
	return tx.ChangePartner(to, kept.Version)
}

// sought is the partner that a request is to change, where the request is sound and fits what is
// kept. What is wrong with it is told even where there is no such partner.
func sought(tx store.Reader, book *desk.Book, r *mouldwrightv1.UpdatePartnerRequest, eyes store.Eyes) (store.Partner, error) {
	kept, absent := tx.Partner(wire.PartnerID(r.GetPartner().GetName()), eyes)
	if absent != nil && !errors.Is(absent, store.ErrNotFound) {
		return store.Partner{}, absent
	}
	if etag := r.GetPartner().GetEtag(); absent == nil && etag != "" && etag != wire.PartnerEtag(kept) {
		return store.Partner{}, fmt.Errorf("%s: %w", r.GetPartner().GetName(), store.ErrStale)
	}
	faults, err := unfit(book, r, kept)
	switch {
	case err != nil:
		return store.Partner{}, err
	case len(faults) > 0:
		return store.Partner{}, &violations{faults: faults}
	default:
		return kept, absent
	}
}

// reasonClosed says that nothing new is begun for a partner that is closed.
const reasonClosed = "PARTNER_CLOSED"

// openFor refuses a partner that is closed, or that there is not. The studio is always open.
func openFor(r store.Reader, owner string, eyes store.Eyes) error {
	if owner == "" {
		return nil
	}
	p, err := r.Partner(owner, eyes)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return noPartner(wire.PartnerName(owner))
	case err != nil || !p.Closed:
		return err
	default:
		return &problem{code: codes.FailedPrecondition, reason: reasonClosed, message: wire.PartnerName(owner) + " is closed; allowed: another, or this one once it is opened again"}
	}
}

// CreateKey makes a key. Its text is in the first answer alone: what is kept of that, to be
// given again, is without.
func (s *accessService) CreateKey(ctx context.Context, r *mouldwrightv1.CreateKeyRequest) (*mouldwrightv1.CreateKeyResponse, error) {
	reply := &mouldwrightv1.CreateKeyResponse{}
	var secret access.Key
	err := s.keep.once(ctx, r, reply, func(ctx context.Context) (func(store.Tx) error, error) {
		if faults := unfitKey(r); len(faults) > 0 {
			return nil, &violations{faults: faults}
		}
		var err error
		if secret, err = access.NewKey(s.random); err != nil {
			return nil, err
		}
		key := s.newKey(r, secret)
		return func(tx store.Tx) error {
			if err := openFor(tx, key.Owner, callerOf(ctx).Eyes()); err != nil {
				return err
			}
			kept, err := tx.AddKey(key)
			reply.Key = wire.Key(kept, false, key.Made)
			return err
		}, nil
	})
	if err != nil {
		return nil, err
	}
	// Another server may have answered the request while this one worked on it: then the key
	// in the answer is not the one that was made here, which nobody keeps.
	if reply.GetKey().GetName() == wire.KeyPrefix+secret.ID() {
		reply.Text = secret.Reveal()
	}
	return reply, nil
}

func unfitKey(r *mouldwrightv1.CreateKeyRequest) fault.List {
	faults := unfitTitle("title", r.GetTitle())
	if r.GetPartner() != "" && !access.Partner.Most().Has(scopes(r.GetScope())) {
		faults = append(faults, fault.Fault{Path: "scope", Message: fmt.Sprintf("got %v for a partner; allowed: %v or %v", r.GetScope(), mouldwrightv1.Scope_SCOPE_READ, mouldwrightv1.Scope_SCOPE_WRITE)})
	}
	return faults
}

// newKey is what is kept of a key.
func (s *accessService) newKey(r *mouldwrightv1.CreateKeyRequest, secret access.Key) store.Key {
	key := store.Key{
		ID: secret.ID(), Digest: secret.Digest(), Owner: wire.PartnerID(r.GetPartner()), Title: r.GetTitle(),
		Scopes: scopes(r.GetScope()).Names(), Made: s.keep.now(),
	}
	if r.LifetimeDays != nil {
		const day = 24 * time.Hour
		key.Expires = key.Made.Add(time.Duration(r.GetLifetimeDays()) * day)
	}
	return key
}

// scopes is all that a scope of the contract lets its caller do.
func scopes(pb mouldwrightv1.Scope) access.Scopes {
	switch pb {
	case mouldwrightv1.Scope_SCOPE_READ:
		return access.Read
	case mouldwrightv1.Scope_SCOPE_WRITE:
		return access.Write
	case mouldwrightv1.Scope_SCOPE_ADMIN:
		return access.Admin
	default:
		return 0
	}
}

// ListKeys lists the keys, a page at a time.
func (s *accessService) ListKeys(ctx context.Context, r *mouldwrightv1.ListKeysRequest) (*mouldwrightv1.ListKeysResponse, error) {
	after, err := tokenID(r.GetPageToken())
	if err != nil {
		return nil, err
	}
	var owner *string
	if r.GetPartner() != "" {
		id := wire.PartnerID(r.GetPartner())
		owner = &id
	}
	size := pageSize(r.GetPageSize())
	var kept []store.Key
	var closed map[string]bool
	err = s.keep.store.View(ctx, func(tx store.Reader) (err error) {
		if kept, err = tx.Keys(owner, after, size+1, callerOf(ctx).Eyes()); err != nil {
			return err
		}
		closed, err = access.ClosedOwners(tx, kept, callerOf(ctx).Eyes())
		return err
	})
	answer := &mouldwrightv1.ListKeysResponse{}
	if len(kept) > size {
		kept = kept[:size]
		answer.NextPageToken = pageToken(kept[size-1].ID)
	}
	for _, k := range kept {
		answer.Keys = append(answer.Keys, wire.Key(k, closed[k.Owner], s.keep.now()))
	}
	return answer, err
}

// tokenID reads a page token that stands for an id; empty for none.
func tokenID(token string) (string, error) {
	id, err := tokenText(token)
	strange := func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-' }
	if err != nil || strings.ContainsFunc(id, strange) {
		return "", strangeToken(token)
	}
	return id, nil
}

// RevokeKey shuts a key out for good: on this server from now on, on others once they have
// forgotten what they found of it.
func (s *accessService) RevokeKey(ctx context.Context, r *mouldwrightv1.RevokeKeyRequest) (*mouldwrightv1.RevokeKeyResponse, error) {
	reply := &mouldwrightv1.RevokeKeyResponse{}
	err := s.keep.once(ctx, r, reply, func(ctx context.Context) (func(store.Tx) error, error) {
		return func(tx store.Tx) error {
			k, err := tx.RevokeKey(strings.TrimPrefix(r.GetName(), wire.KeyPrefix), s.keep.now(), callerOf(ctx).Eyes())
			reply.Key = wire.Key(k, false, s.keep.now())
			return err
		}, nil
	})
	s.gate.Forget() // as in UpdatePartner
	return reply, err
}
