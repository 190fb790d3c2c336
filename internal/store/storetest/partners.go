package storetest

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/store"
)

func add(t testing.TB, s store.Store, p store.Partner) (kept store.Partner) {
	t.Helper()
	update(t, s, func(tx store.Tx) (err error) {
		kept, err = tx.AddPartner(p)
		return err
	})
	return kept
}

func changePartner(t testing.TB, s store.Store, p store.Partner, version int) (kept store.Partner, err error) {
	t.Helper()
	err = s.Update(t.Context(), func(tx store.Tx) (err error) {
		kept, err = tx.ChangePartner(p, version)
		return err
	})
	return kept, err
}

func readPartner(t testing.TB, s store.Store, id string) (p store.Partner) {
	t.Helper()
	view(t, s, func(r store.Reader) (err error) {
		p, err = r.Partner(id, store.Studio())
		return err
	})
	return p
}

// tamsinRow is an invented agency.
func tamsinRow() store.Partner {
	return store.Partner{ID: "tamsin-row", Title: "Tamsin Row Events", Terms: []byte(`{"discountPercent":"5"}`), At: january(1).At}
}

func partners(t *testing.T, s store.Store) {
	first := add(t, s, tamsinRow())
	want := tamsinRow()
	want.Version = 1
	equal(t, "as added", first, want)
	equal(t, "as read", readPartner(t, s, want.ID), want)
	fails(t, s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.AddPartner(tamsinRow()); return err }), store.ErrTaken)

	change := tamsinRow()
	change.Title, change.Terms, change.Closed, change.At = "Tamsin Row", []byte("{}"), true, january(9).At
	changed, err := changePartner(t, s, change, 1)
	if err != nil {
		t.Fatal(err)
	}
	change.Version, change.At = 2, first.At // when it was added stays
	equal(t, "as changed", changed, change)
	equal(t, "as read again", readPartner(t, s, want.ID), change)
	_, err = changePartner(t, s, store.Partner{ID: "quillmere"}, 0)
	fails(t, err, store.ErrNotFound)
	equal(t, "without terms", len(add(t, s, store.Partner{ID: "quillmere"}).Terms)+len(readPartner(t, s, "quillmere").Terms), 0)
	equal(t, "without a time", readPartner(t, s, "quillmere").At, time.Time{})
}

func partnersChange(t *testing.T, s store.Store) {
	p := add(t, s, tamsinRow())
	errs := make([]error, writers)
	together(func(w int) {
		mine := p
		mine.Title = fmt.Sprint("writer ", w)
		_, errs[w] = changePartner(t, s, mine, 1)
	})
	won := ""
	for w, err := range errs {
		if err == nil {
			won += fmt.Sprint("writer ", w)
		} else {
			fails(t, err, store.ErrStale)
		}
	}
	p.Title, p.Version = won, 2
	equal(t, "the one that won", readPartner(t, s, p.ID), p)
	for _, version := range []int{-1, 1, 3, 1 << 40} {
		_, err := changePartner(t, s, p, version)
		fails(t, err, store.ErrStale)
	}
	together(func(int) {
		if _, err := changePartner(t, s, p, 0); err != nil {
			t.Error(err)
		}
	})
	equal(t, "the version after any", readPartner(t, s, p.ID).Version, 2+writers)
}

func idsOfPartners(t testing.TB, s store.Store, eyes store.Eyes) (ids []string) {
	t.Helper()
	view(t, s, func(r store.Reader) error {
		for after := ""; ; after = ids[len(ids)-1] {
			page, err := r.Partners(after, 2, eyes)
			if len(page) == 0 {
				return err
			}
			for _, p := range page {
				ids = append(ids, p.ID)
			}
		}
	})
	return ids
}

func partnersEyes(t *testing.T, s store.Store) {
	for _, id := range []string{"b", "a", "d", "c"} {
		add(t, s, store.Partner{ID: id})
	}
	equal(t, "the studio's", idsOfPartners(t, s, store.Studio()), []string{"a", "b", "c", "d"})
	equal(t, "a partner's own", idsOfPartners(t, s, store.EyesOf("b")), []string{"b"})
	equal(t, "of one that is not kept", len(idsOfPartners(t, s, store.EyesOf("e"))), 0)
	equal(t, "nobody's", len(idsOfPartners(t, s, store.EyesOf("")))+len(idsOfPartners(t, s, store.Eyes{})), 0)
	view(t, s, func(r store.Reader) error {
		for _, limit := range []int{0, -1} {
			page, err := r.Partners("", limit, store.Studio())
			equal(t, fmt.Sprintf("at most %d", limit), []any{len(page), err}, []any{0, error(nil)})
			page, err = r.Partners("", limit, store.EyesOf("a"))
			equal(t, fmt.Sprintf("at most %d of its own", limit), []any{len(page), err}, []any{0, error(nil)})
		}
		for _, eyes := range []store.Eyes{store.EyesOf("b"), store.EyesOf(""), {}} {
			_, err := r.Partner("a", eyes)
			fails(t, err, store.ErrNotFound)
			_, missing := r.Partner("e", eyes)
			equal(t, "the words", strings.ReplaceAll(err.Error(), "partner a", "partner e"), missing.Error())
		}
		_, err := r.Partner("b", store.EyesOf("b"))
		return err
	})
}

func addKey(t testing.TB, s store.Store, k store.Key) (kept store.Key) {
	t.Helper()
	update(t, s, func(tx store.Tx) (err error) {
		kept, err = tx.AddKey(k)
		return err
	})
	return kept
}

func readKey(t testing.TB, s store.Store, id string) (k store.Key) {
	t.Helper()
	view(t, s, func(r store.Reader) (err error) {
		k, err = r.Key(id)
		return err
	})
	return k
}

func idsOfKeys(t testing.TB, s store.Store, owner *string, eyes store.Eyes) (ids []string) {
	t.Helper()
	view(t, s, func(r store.Reader) error {
		for after := ""; ; after = ids[len(ids)-1] {
			page, err := r.Keys(owner, after, 2, eyes)
			if len(page) == 0 {
				return err
			}
			for _, k := range page {
				ids = append(ids, k.ID)
			}
		}
	})
	return ids
}

func accessKeys(t *testing.T, s store.Store) {
	add(t, s, tamsinRow())
	zone := time.FixedZone("", -7*3600)
	full := store.Key{
		ID: "full", Owner: "tamsin-row", Title: "A desk", Scopes: []string{"write", "read"}, Digest: [32]byte{1, 31: 255},
		Made: january(1).At, Expires: january(20).At.In(zone).Add(999), Used: january(2).At,
	}
	kept := addKey(t, s, full)
	full.Expires = january(20).At // in UTC and cut to the microsecond
	equal(t, "as added", kept, full)
	equal(t, "as read", readKey(t, s, "full"), full)
	bare := store.Key{ID: "bare", Scopes: []string{}} // the studio's, which is no partner
	addKey(t, s, bare)
	bare.Scopes = nil
	equal(t, "as read", readKey(t, s, "bare"), bare)
	for id, owner := range map[string]string{"bare": "", "full": "", "another": "quillmere"} {
		want := store.ErrTaken
		if owner == "quillmere" {
			want = store.ErrNotFound
		}
		fails(t, s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.AddKey(store.Key{ID: id, Owner: owner}); return err }), want)
	}
	fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.Key("FULL"); return err }), store.ErrNotFound)
	view(t, s, func(r store.Reader) error {
		list, err := r.Keys(nil, "", 10, store.Studio())
		full.Digest = [32]byte{}
		equal(t, "in a list, without the digest", list, []store.Key{bare, full})
		return err
	})
}

func accessKeysEyes(t *testing.T, s store.Store) {
	for _, id := range []string{"tamsin-row", "quillmere"} {
		add(t, s, store.Partner{ID: id})
	}
	studio, tamsin, quill := "", "tamsin-row", "quillmere"
	for id, owner := range map[string]string{"a": tamsin, "b": quill, "c": studio, "d": tamsin, "e": studio, "f": tamsin} {
		addKey(t, s, store.Key{ID: id, Owner: owner})
	}
	for name, c := range map[string]struct {
		owner *string
		eyes  store.Eyes
		want  string
	}{
		"all":                {nil, store.Studio(), "abcdef"},
		"the studio's own":   {&studio, store.Studio(), "ce"},
		"of a partner":       {&quill, store.Studio(), "b"},
		"a partner's own":    {nil, store.EyesOf(tamsin), "adf"},
		"its own, asked for": {&tamsin, store.EyesOf(tamsin), "adf"},
		"another's":          {&quill, store.EyesOf(tamsin), ""},
		"the studio's":       {&studio, store.EyesOf(tamsin), ""},
		"nobody's":           {nil, store.Eyes{}, ""},
		"without a name":     {&studio, store.EyesOf(""), ""},
	} {
		equal(t, name, strings.Join(idsOfKeys(t, s, c.owner, c.eyes), ""), c.want)
	}
	for _, eyes := range []store.Eyes{store.EyesOf(quill), store.EyesOf(""), {}} {
		for _, id := range []string{"a", "c", "none"} {
			_, err := revoke(t, s, id, 2, eyes)
			fails(t, err, store.ErrNotFound)
			equal(t, "the words", err.Error(), "key "+id+": not found")
		}
	}
	equal(t, "not revoked", readKey(t, s, "a").Revoked.IsZero() && readKey(t, s, "c").Revoked.IsZero(), true)
	if _, err := revoke(t, s, "a", 2, store.EyesOf(tamsin)); err != nil {
		t.Error(err)
	}
}

func revoke(t testing.TB, s store.Store, id string, day int, eyes store.Eyes) (k store.Key, err error) {
	t.Helper()
	err = s.Update(t.Context(), func(tx store.Tx) (err error) {
		k, err = tx.RevokeKey(id, january(day).At, eyes)
		return err
	})
	return k, err
}

func accessKeysEnd(t *testing.T, s store.Store) {
	want := addKey(t, s, store.Key{ID: "k", Title: "A desk", Digest: [32]byte{1}, Made: january(1).At})
	use := func(id string, at time.Time) {
		update(t, s, func(tx store.Tx) error { return tx.UseKey(id, at) })
	}
	use("k", january(5).At)
	use("k", january(4).At)
	use("k", time.Time{})
	use("none", january(5).At)
	use("a\x00b", january(5).At)
	want.Used = january(5).At
	equal(t, "as used", readKey(t, s, "k"), want)
	want.Revoked = january(6).At
	for _, day := range []int{6, 7, 3} {
		got, err := revoke(t, s, "k", day, store.Studio())
		equal(t, "as revoked", []any{got, err}, []any{want, error(nil)})
	}
	equal(t, "as read", readKey(t, s, "k"), want)
	fails(t, s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.RevokeKey("k", time.Time{}, store.Studio()); return err }), store.ErrUnfit)
	use("k", january(8).At) // somebody still tries it
	equal(t, "used", readKey(t, s, "k").Used, january(8).At)

	addKey(t, s, store.Key{ID: "many"})
	ends := make([]time.Time, writers)
	together(func(w int) {
		k, err := revoke(t, s, "many", 1+w, store.Studio())
		ends[w] = k.Revoked
		if err := errors.Join(err, s.Update(t.Context(), func(tx store.Tx) error { return tx.UseKey("many", january(1+w).At) })); err != nil {
			t.Error(err)
		}
	})
	got := readKey(t, s, "many")
	equal(t, "last used", got.Used, january(writers).At)
	for _, end := range ends {
		equal(t, "revoked once for all", end, got.Revoked)
	}
}

func partnersUnfit(t *testing.T, s store.Store) {
	long := strings.Repeat("a", 801)
	for name, write := range map[string]func(store.Tx) error{
		"no id":              func(tx store.Tx) error { _, err := tx.AddPartner(store.Partner{}); return err },
		"a long id":          func(tx store.Tx) error { _, err := tx.AddPartner(store.Partner{ID: long[:256]}); return err },
		"a long title":       func(tx store.Tx) error { _, err := tx.AddPartner(store.Partner{ID: "a", Title: long}); return err },
		"a title of two":     func(tx store.Tx) error { _, err := tx.AddPartner(store.Partner{ID: "a", Title: "a\nb"}); return err },
		"changed to NUL":     func(tx store.Tx) error { _, err := tx.ChangePartner(store.Partner{ID: "a\x00"}, 0); return err },
		"no key id":          func(tx store.Tx) error { _, err := tx.AddKey(store.Key{}); return err },
		"a long owner":       func(tx store.Tx) error { _, err := tx.AddKey(store.Key{ID: "a", Owner: long[:256]}); return err },
		"a key's long title": func(tx store.Tx) error { _, err := tx.AddKey(store.Key{ID: "a", Title: long}); return err },
		"an empty scope":     func(tx store.Tx) error { _, err := tx.AddKey(store.Key{ID: "a", Scopes: []string{""}}); return err },
		"a scope of two":     func(tx store.Tx) error { _, err := tx.AddKey(store.Key{ID: "a", Scopes: []string{"a b"}}); return err },
		"a scope of NUL":     func(tx store.Tx) error { _, err := tx.AddKey(store.Key{ID: "a", Scopes: []string{"\x00"}}); return err },
		"many scopes": func(tx store.Tx) error {
			_, err := tx.AddKey(store.Key{ID: "a", Scopes: []string{long[:200], long[:55]}})
			return err
		},
	} {
		t.Run(name, func(t *testing.T) { fails(t, s.Update(t.Context(), write), store.ErrUnfit) })
	}
	for _, key := range []string{"a\x00b", "a\xff", long, ""} {
		view(t, s, func(r store.Reader) error {
			_, partner := r.Partner(key, store.Studio())
			_, itself := r.Partner(key, store.EyesOf(key))
			_, opened := r.Key(key)
			for _, err := range []error{partner, itself, opened} {
				fails(t, err, store.ErrNotFound)
			}
			if key == "" {
				return nil
			}
			some, _ := r.Partners(key, 10, store.Studio())
			mine, _ := r.Partners("", 10, store.EyesOf(key))
			keys, _ := r.Keys(&key, "", 10, store.Studio())
			beyond, _ := r.Keys(nil, key, 10, store.EyesOf(key))
			equal(t, "listed", len(some)+len(mine)+len(keys)+len(beyond), 0)
			return nil
		})
		_, err := revoke(t, s, key, 2, store.Studio())
		fails(t, err, store.ErrNotFound)
	}
}
