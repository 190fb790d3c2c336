package access_test

import (
	"errors"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

func anyScopes() *rapid.Generator[access.Scopes] {
	return rapid.Custom(func(t *rapid.T) access.Scopes {
		names := rapid.SliceOf(rapid.SampledFrom([]string{"read", "write", "admin"})).Draw(t, "names")
		set, err := access.ParseScopes(names)
		if err != nil {
			t.Fatal(err)
		}
		return set
	})
}

func anyKind() *rapid.Generator[access.Kind] {
	return rapid.SampledFrom([]access.Kind{access.Public, access.Partner, access.Studio})
}

// The sets are a lattice: union and intersection, as bits, are its join and meet, and having is its order (the laws are those of
// any lattice; common practice, no source).
func TestScopesAreALattice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c := anyScopes().Draw(t, "a"), anyScopes().Draw(t, "b"), anyScopes().Draw(t, "c")
		laws := map[string]bool{
			"it has itself":             a.Has(a),
			"one of two alike":          implies(a.Has(b) && b.Has(a), a == b),
			"it has what its own has":   implies(a.Has(b) && b.Has(c), a.Has(c)),
			"the union has both":        (a | b).Has(a) && (a | b).Has(b),
			"and no more than needed":   implies(c.Has(a) && c.Has(b), c.Has(a|b)),
			"both have what they share": a.Has(a&b) && b.Has(a&b),
			"and that is the most":      implies(a.Has(c) && b.Has(c), (a & b).Has(c)),
			"absorbed":                  a|(a&b) == a && a&(a|b) == a,
			"admin implies write":       implies(a.Has(access.Admin), a.Has(access.Write)),
			"write implies read":        implies(a.Has(access.Write), a.Has(access.Read)),
			"all have nothing":          a.Has(0),
			"all are in admin":          access.Admin.Has(a),
		}
		for law, holds := range laws {
			if !holds {
				t.Errorf("%s: %s, %s, %s", law, a, b, c)
			}
		}
		if again, err := access.ParseScopes(a.Names()); err != nil || again != a {
			t.Errorf("%s is read as %s, %v", a, again, err)
		}
	})
}

func implies(a, b bool) bool { return !a || b }

func TestScopesByName(t *testing.T) {
	for _, c := range []struct {
		names []string
		all   []string
		text  string
	}{
		{nil, []string{}, "none"},
		{[]string{"read"}, []string{"read"}, "read"},
		{[]string{"write"}, []string{"read", "write"}, "read, write"},
		{[]string{"admin"}, []string{"read", "write", "admin"}, "read, write, admin"},
	} {
		set, err := access.ParseScopes(c.names)
		if err != nil || !slices.Equal(set.Names(), c.all) || set.String() != c.text {
			t.Errorf("%q: %q, %s, %v", c.names, set.Names(), set, err)
		}
	}
	set, err := access.ParseScopes([]string{"Admin", "read", ""})
	want := "\"Admin\" is no scope; allowed scopes: read, write, admin\n\"\" is no scope; allowed scopes: read, write, admin"
	if !errors.Is(err, access.ErrScope) || err.Error() != want || set != access.Read {
		t.Errorf("%s, %v", set, err)
	}
}

func TestCallers(t *testing.T) {
	tamsin := access.Caller{Kind: access.Partner, Partner: "tamsin-row", KeyID: "k1", KeyTitle: "orders", Scopes: access.Read}
	wren := access.Caller{Kind: access.Studio, KeyID: "k2", Scopes: access.Admin}
	for _, c := range []struct {
		name   string
		caller access.Caller
		sees   []string // of the studio's, two partners' and nobody's things
		owner  string
		actor  life.Actor
	}{
		{"public", access.Caller{}, nil, "", life.Actor{Kind: "public"}},
		{"public of a partner", access.Caller{Partner: "tamsin-row"}, nil, "", life.Actor{Kind: "public"}},
		{"partner", tamsin, []string{"tamsin-row"}, "tamsin-row", life.Actor{Kind: "partner", Name: "orders"}},
		{"partner of no name", access.Caller{Kind: access.Partner}, nil, "", life.Actor{Kind: "partner"}},
		{"studio", wren, []string{"", "tamsin-row", "quillmere"}, "", life.Actor{Kind: "studio", Name: "k2"}},
		{"no kind", access.Caller{Kind: 9}, nil, "", life.Actor{Kind: "unknown kind 9"}},
	} {
		var sees []string
		for _, owner := range []string{"", "tamsin-row", "quillmere"} {
			if c.caller.Eyes().Sees(owner) {
				sees = append(sees, owner)
			}
		}
		if !slices.Equal(sees, c.sees) || c.caller.Owner() != c.owner || c.caller.Actor() != c.actor {
			t.Errorf("%s: sees %q, owner %q, actor %v", c.name, sees, c.caller.Owner(), c.caller.Actor())
		}
	}
	if (access.Caller{}).Eyes() != (store.Eyes{}) {
		t.Error("the public has eyes")
	}
}

func TestMay(t *testing.T) {
	const no, key, yes = "forbidden", "no key", "yes"
	public := access.Caller{Scopes: access.Admin} // scopes of nobody's
	partner := func(s access.Scopes) access.Caller { return access.Caller{Kind: access.Partner, Scopes: s} }
	studio := func(s access.Scopes) access.Caller { return access.Caller{Kind: access.Studio, Scopes: s} }
	for _, c := range []struct {
		caller access.Caller
		need   access.Need
		want   string
	}{
		{public, access.Need{}, yes},
		{public, access.Need{Scope: access.Read}, key},
		{public, access.Need{Caller: access.Partner}, key},
		{public, access.Need{Caller: access.Studio, Scope: access.Admin}, key},
		{partner(0), access.Need{}, yes},
		{partner(0), access.Need{Caller: access.Partner, Scope: access.Read}, no},
		{partner(access.Read), access.Need{Caller: access.Partner, Scope: access.Read}, yes},
		{partner(access.Read), access.Need{Caller: access.Partner, Scope: access.Write}, no},
		{partner(access.Write), access.Need{Caller: access.Partner, Scope: access.Read}, yes},
		{partner(access.Write), access.Need{Caller: access.Studio, Scope: access.Read}, no},
		{partner(access.Admin), access.Need{Caller: access.Partner, Scope: access.Write}, yes},
		{partner(access.Admin), access.Need{Caller: access.Partner, Scope: access.Admin}, no},
		{studio(access.Read), access.Need{Caller: access.Partner, Scope: access.Read}, yes},
		{studio(access.Read), access.Need{Caller: access.Studio, Scope: access.Write}, no},
		{studio(access.Write), access.Need{Caller: access.Studio, Scope: access.Admin}, no},
		{studio(access.Admin), access.Need{Caller: access.Studio, Scope: access.Admin}, yes},
	} {
		if got := verdict(t, c.caller, c.need); got != c.want {
			t.Errorf("%s with %s, needed %s with %s: %s, want %s", c.caller.Kind, c.caller.Scopes, c.need.Caller, c.need.Scope, got, c.want)
		}
	}
}

// verdict checks that an error is one of the closed set, and names it.
func verdict(t interface{ Errorf(string, ...any) }, caller access.Caller, need access.Need) string {
	err := caller.May(need)
	var forbidden access.Forbidden
	switch {
	case err == nil:
		return "yes"
	case errors.Is(err, access.ErrNoKey) && !errors.Is(err, access.ErrForbidden):
		return "no key"
	case errors.Is(err, access.ErrForbidden) && errors.As(err, &forbidden):
		if has := forbidden.Has; forbidden.Need != need || has.Caller != caller.Kind || !caller.Scopes.Has(has.Scopes) {
			t.Errorf("forbidden with %+v", forbidden)
		}
		return "forbidden"
	default:
		t.Errorf("%v", err)
		return "?"
	}
}

// Whoever is let in is let in by more of everything, and to less of everything.
func TestMoreIsNeverLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		caller := access.Caller{Kind: anyKind().Draw(t, "kind"), Scopes: anyScopes().Draw(t, "scopes")}
		need := access.Need{Caller: anyKind().Draw(t, "least"), Scope: anyScopes().Draw(t, "needed")}
		may := verdict(t, caller, need) == "yes"
		if may && (caller.Kind < need.Caller || !caller.Scopes.Has(need.Scope) || !caller.Kind.Most().Has(need.Scope)) {
			t.Fatal("let in with less than is needed")
		}
		more := access.Caller{Kind: max(caller.Kind, anyKind().Draw(t, "other")), Scopes: caller.Scopes | anyScopes().Draw(t, "further")}
		less := access.Need{Caller: min(need.Caller, anyKind().Draw(t, "lower")), Scope: need.Scope & anyScopes().Draw(t, "fewer")}
		if may && verdict(t, more, less) != "yes" {
			t.Fatal("refused with more")
		}
	})
}

func TestForbiddenInWords(t *testing.T) {
	caller := access.Caller{Kind: access.Partner, Scopes: access.Write}
	err := caller.May(access.Need{Caller: access.Studio, Scope: access.Admin})
	want := "this access key does not allow the call: it needs a key of kind studio or higher with the scopes read, write, admin; " +
		"this one is of kind partner with read, write"
	if err == nil || err.Error() != want {
		t.Errorf("%v", err)
	}
}
