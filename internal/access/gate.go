// Package access says who is calling and what they may do: keys with a secret, callers with
// scopes, and the gate that makes one of the other. A key as it was presented goes in; a
// Caller comes out, or a refusal that does not tell why. The clock, the randomness and what
// is kept are passed in.
package access

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	lru "github.com/hashicorp/golang-lru/v2"

	"github.com/mouldwright/mouldwright/internal/store"
)

const (
	freshness = 500 * time.Millisecond // of what was found, unless a gate says otherwise
	keptKeys  = 4096                   // that are remembered, the least used forgotten first; under 2 MB
)

// Gate tells callers by their keys. Its fields are set before its first use; it may then be
// used by several callers at once, and is not copied.
type Gate struct {
	// Find looks a key up by its id; one that is not kept is store.ErrNotFound.
	Find func(ctx context.Context, id string) (store.Key, error)
	// PartnerOf looks up the partner that owns a key; one that is not kept is store.ErrNotFound.
	PartnerOf func(ctx context.Context, id string) (store.Partner, error)
	// Now is the time.
	Now func() time.Time
	// Fresh is how long what was found is believed, and so how long a key that was revoked
	// may still open; 0 for half a second, negative for not at all.
	Fresh time.Duration
	// Note keeps when a key was last used; nil where nobody wants to know. Run calls it. Its
	// error ends there: the next use, a minute on, is noted again.
	Note func(ctx context.Context, id string, at time.Time) error

	once  sync.Once
	known *lru.Cache[string, record]
	turn  atomic.Uint64 // goes up each time that all is forgotten
	notes notes
}

// record is what was found of a key whose secret was presented.
type record struct {
	caller  Caller
	digest  [sha256.Size]byte
	expires time.Time // zero for never
	revoked bool
	closed  bool      // its partner is
	at      time.Time // when the finding began
	turn    uint64    // of the gate then
}

// Authenticate tells who presents a key; who presents none is the public. A key that opens
// nothing is ErrBadKey. Where the store cannot tell, nothing is opened: its error is passed on.
func (g *Gate) Authenticate(ctx context.Context, presented string) (Caller, error) {
	if presented == "" {
		return Caller{}, nil
	}
	key, err := ParseKey(presented)
	if err != nil {
		return Caller{}, refusal{Malformed}
	}
	g.once.Do(g.open)
	now := g.Now()
	found, err := g.recall(ctx, key, now)
	if err != nil {
		return Caller{}, err
	}
	if why := found.refuses(now); why != "" {
		return Caller{}, refusal{why}
	}
	g.used(key.ID(), now)
	return found.caller, nil
}

// Remembers reports whether a key that is presented has been found before, whatever has become
// of it since, and its id: its caller holds a secret that was given out, and the store is not
// asked for it often. Of a key that was made up it says no, and asks nobody.
func (g *Gate) Remembers(presented string) (id string, known bool) {
	key, err := ParseKey(presented)
	if err != nil {
		return "", false
	}
	g.once.Do(g.open)
	found, known := g.known.Peek(key.ID())
	return key.ID(), known && key.Matches(found.digest)
}

func (g *Gate) open() {
	g.known, _ = lru.New[string, record](keptKeys) // fails for sizes below one only
	g.notes.open()
}

// recall gives what is known of a key, from the store where that is not fresh. The record's
// time is the one before the store was asked: what it answers may be as old as that.
func (g *Gate) recall(ctx context.Context, key Key, now time.Time) (record, error) {
	turn := g.turn.Load() // before the store is asked, as the time is
	known, ok := g.known.Get(key.ID())
	if age := now.Sub(known.at); ok && known.turn == turn && age >= 0 && age < cmp.Or(g.Fresh, freshness) {
		if !key.Matches(known.digest) {
			return record{}, refusal{WrongSecret}
		}
		return known, nil
	}
	found, err := g.find(ctx, key, now)
	if err != nil {
		return record{}, err
	}
	found.turn = turn
	g.known.Add(key.ID(), found)
	return found, nil
}

// Forget forgets what was found of all keys, and what is being found meanwhile: whoever calls
// after it is told by what the store holds by then. It is for whoever has changed that.
func (g *Gate) Forget() { g.turn.Add(1) }

// find asks the store. A key that is not kept and one with another secret take the same steps:
// one question, one comparison, nothing remembered.
func (g *Gate) find(ctx context.Context, key Key, now time.Time) (record, error) {
	kept, err := g.Find(ctx, key.ID())
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return record{}, fmt.Errorf("looking up key %s: %w", key.ID(), err)
	}
	matches := key.Matches(kept.Digest) // with zeros where there is none
	switch {
	case err != nil:
		return record{}, refusal{Unknown}
	case !matches:
		return record{}, refusal{WrongSecret}
	}
	closed, err := g.closed(ctx, kept.Owner)
	if err != nil {
		return record{}, err
	}
	return record{
		caller: callerOf(key.ID(), kept), digest: kept.Digest,
		expires: kept.Expires, revoked: !kept.Revoked.IsZero(), closed: closed, at: now,
	}, nil
}

// closed reports whether an owner's keys open nothing.
func (g *Gate) closed(ctx context.Context, owner string) (bool, error) {
	if owner == "" {
		return false, nil // the studio
	}
	partner, err := g.PartnerOf(ctx, owner)
	if errors.Is(err, store.ErrNotFound) {
		return true, nil
	}
	if err != nil {
		return true, fmt.Errorf("looking up partner %s: %w", owner, err)
	}
	return partner.Closed, nil
}

// callerOf reads a kept key. A scope that this edition of the program does not know lets
// nobody do anything.
func callerOf(id string, kept store.Key) Caller {
	kind := Studio
	if kept.Owner != "" {
		kind = Partner
	}
	scopes, _ := ParseScopes(kept.Scopes)
	return Caller{Kind: kind, Partner: kept.Owner, KeyID: id, KeyTitle: kept.Title, Scopes: scopes & kind.Most()}
}

// refuses says why the key opens nothing at a time, or nothing. An expiry is a moment at which
// the key is no longer valid.
func (r record) refuses(now time.Time) Why {
	switch {
	case r.revoked:
		return Revoked
	case r.closed:
		return PartnerClosed
	case !r.expires.IsZero() && !now.Before(r.expires):
		return Expired
	default:
		return ""
	}
}

// Presented reads the key from an Authorization header: the scheme Bearer, in any case (RFC
// 9110 section 11.1), spaces, and the key (RFC 6750 section 2.1). A header that is empty
// presents none; one that is anything else is ErrBadKey, and not a call without a key.
func Presented(header string) (string, error) {
	if header == "" {
		return "", nil
	}
	scheme, rest, _ := strings.Cut(header, " ")
	token := strings.TrimLeft(rest, " ")
	if !strings.EqualFold(scheme, "Bearer") || !isToken(token) {
		return "", refusal{Malformed}
	}
	return token, nil
}

// isToken reports whether a text is a b64token of RFC 6750 section 2.1.
func isToken(text string) bool {
	text = strings.TrimRight(text, "=")
	return text != "" && !strings.ContainsFunc(text, func(r rune) bool {
		letter := 'a' <= r && r <= 'z' || 'A' <= r && r <= 'Z' || '0' <= r && r <= '9'
		return !letter && !strings.ContainsRune("-._~+/", r)
	})
}
