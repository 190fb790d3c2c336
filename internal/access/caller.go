package access

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Kind is what sort of caller someone is. Each may call what those before it may.
type Kind uint8

// The kinds, in order.
const (
	Public  Kind = iota // anyone, without a key
	Partner             // an agency that orders on terms of its own
	Studio
)

// String is the kind in a word, as histories record it.
func (k Kind) String() string {
	switch k {
	case Public:
		return "public"
	case Partner:
		return "partner"
	case Studio:
		return "studio"
	default:
		return fmt.Sprintf("unknown kind %d", uint8(k))
	}
}

// Most is the most that a key of a kind may hold, whatever is written on it: a partner's
// key is no administrator's, and the public has none.
func (k Kind) Most() Scopes {
	switch k {
	case Partner:
		return Write
	case Studio:
		return Admin
	default:
		return 0
	}
}

// Scopes is a set of what a key lets its caller do. Who may write may read, and who may
// administer may do both, so each constant holds those before it. The zero value holds nothing.
type Scopes uint8

// The scopes.
const (
	Read  Scopes = 1 << iota       // look things up, and have prices worked out
	Write Scopes = 1<<iota | Read  // change what is kept
	Admin Scopes = 1<<iota | Write // partners and their keys, and the studio's own
)

// ErrScope says that a name is no scope's.
var ErrScope = errors.New("allowed scopes: read, write, admin")

// ParseScopes makes a set of names, each with what it implies. It holds those that are known
// even where the error tells of one that is not.
func ParseScopes(names []string) (Scopes, error) {
	var set Scopes
	var err error
	for _, name := range names {
		switch name {
		case "read":
			set |= Read
		case "write":
			set |= Write
		case "admin":
			set |= Admin
		default:
			err = errors.Join(err, fmt.Errorf("%q is no scope; %w", name, ErrScope))
		}
	}
	return set, err
}

// Has reports whether all that is wanted is in the set.
func (s Scopes) Has(want Scopes) bool { return s&want == want }

// Names are the scopes' names, the least first.
func (s Scopes) Names() []string {
	names := []string{"read", "write", "admin"}
	for i, scope := range []Scopes{Read, Write, Admin} {
		if !s.Has(scope) {
			return slices.Clip(names[:i])
		}
	}
	return names
}

// String is the names in a list.
func (s Scopes) String() string { return cmp.Or(strings.Join(s.Names(), ", "), "none") }

// Caller is who calls. The zero value is the public, which sees nothing.
type Caller struct {
	Kind     Kind
	Partner  string // the partner's id; empty for the others
	KeyID    string // empty for the public
	KeyTitle string // may be empty
	Scopes   Scopes // counts up to the most of its kind
}

// Eyes are whose eyes the caller reads the store with.
func (c Caller) Eyes() store.Eyes {
	switch c.Kind {
	case Studio:
		return store.Studio()
	case Partner:
		return store.EyesOf(c.Partner)
	default:
		return store.Eyes{}
	}
}

// Owner is to whom belongs what the caller makes: the partner, or the studio, which is the
// empty name. The public owns nothing: what it leaves is the studio's, if May lets it.
func (c Caller) Owner() string {
	if c.Kind == Partner {
		return c.Partner
	}
	return ""
}

// Actor is how a history names the caller: by the key's title, or its id where it has none.
func (c Caller) Actor() life.Actor {
	return life.Actor{Kind: c.Kind.String(), Name: cmp.Or(c.KeyTitle, c.KeyID)}
}

// Need is what a call asks of its caller. The zero value asks nothing.
type Need struct {
	Caller Kind   // the least kind that may call
	Scope  Scopes // all of them
}

// May returns nil where the caller has what is needed, ErrNoKey where a key is needed and
// there is none, and Forbidden where there is one that does not do.
func (c Caller) May(need Need) error {
	has := Grant{Caller: c.Kind, Scopes: c.Scopes & c.Kind.Most()}
	switch {
	case c.Kind >= need.Caller && has.Scopes.Has(need.Scope):
		return nil
	case c.Kind == Public:
		return ErrNoKey
	default:
		return Forbidden{Need: need, Has: has}
	}
}
