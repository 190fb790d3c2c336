package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// hare is a mesh that nobody could print.
func hare(owner, name, file string) store.Mesh {
	return store.Mesh{
		Owner: owner, Name: name, Sum: "sum of " + file, Format: "stl", Reading: []byte(`{"unit":"mm"}`),
		Room: 10, File: []byte(file), At: january(1).At,
	}
}

// keep keeps a mesh where there is room for any.
func keep(ctx context.Context, s store.Store, m store.Mesh) (kept store.Mesh, err error) {
	err = s.Update(ctx, func(tx store.Tx) (err error) {
		kept, err = tx.KeepMesh(m, 1000, 1_000_000_000)
		return err
	})
	return kept, err
}

func mustKeep(t testing.TB, s store.Store, m store.Mesh) store.Mesh {
	t.Helper()
	kept, err := keep(t.Context(), s, m)
	if err != nil {
		t.Fatal(err)
	}
	return kept
}

func drop(ctx context.Context, s store.Store, owner, name string) error {
	return s.Update(ctx, func(tx store.Tx) error { return tx.DropMesh(owner, name, store.Studio()) })
}

func mustDrop(t testing.TB, s store.Store, owner, name string) {
	t.Helper()
	if err := drop(t.Context(), s, owner, name); err != nil {
		t.Fatal(err)
	}
}

// isThere reports whether a file is kept.
func isThere(t testing.TB, s store.Store, sum string) bool {
	t.Helper()
	err := s.View(t.Context(), func(r store.Reader) error { _, err := r.MeshOf(sum); return err })
	if err != nil {
		fails(t, err, store.ErrNotFound)
	}
	return err == nil
}

func meshes(t *testing.T, s store.Store) {
	// The SHA-256 of "abc" is the first example of FIPS 180-2, appendix B.1.
	const abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	kept := mustKeep(t, s, hare("tamsin-row", "meshes/hare", "abc"))
	want := hare("tamsin-row", "meshes/hare", "")
	want.Sum, want.FileSum, want.Size, want.File = "sum of abc", abc, 3, nil
	equal(t, "as kept", kept, want)
	again := hare("tamsin-row", "meshes/hare", "abc")
	again.At, again.Room = january(9).At, 99
	equal(t, "kept again", mustKeep(t, s, again), want)
	for _, other := range []store.Mesh{
		hare("tamsin-row", "meshes/hare", "ab"),
		{Owner: "tamsin-row", Name: "meshes/hare", Sum: "sum of abc", File: []byte("ab")},
		{Owner: "tamsin-row", Name: "meshes/hare", Sum: "the same file, read otherwise", File: []byte("abc")},
	} {
		_, err := keep(t.Context(), s, other)
		fails(t, err, store.ErrTaken)
	}
	view(t, s, func(r store.Reader) error {
		head, err := r.MeshHead("tamsin-row", "meshes/hare", store.Studio())
		equal(t, "without the file", head, want)
		list, listed := r.Meshes("tamsin-row", "", 10, store.Studio())
		equal(t, "in a list", list, []store.Mesh{want})
		theirs, read := r.MeshHead("tamsin-row", "meshes/hare", store.EyesOf("tamsin-row"))
		equal(t, "as its owner sees it", theirs, want)
		nameless, found := r.MeshOf("sum of abc")
		equal(t, "by content", nameless, store.Mesh{Sum: want.Sum, FileSum: abc, Format: "stl", Reading: want.Reading, Size: 3, File: []byte("abc")})
		return errors.Join(err, listed, read, found)
	})
	large := hare("", "meshes/large", string(bytes.Repeat([]byte{0, 255, 'a'}, 700_000)))
	large.Sum = "large"
	mustKeep(t, s, large)
	view(t, s, func(r store.Reader) error {
		got, err := r.MeshOf("large")
		equal(t, "every byte", bytes.Equal(got.File, large.File), true)
		return err
	})
	_, err := keep(t.Context(), s, store.Mesh{Name: "meshes/other", Sum: "large", File: []byte("another")})
	fails(t, err, store.ErrUnfit)
}

func meshLists(t *testing.T, s store.Store) {
	for _, name := range variants() {
		mustKeep(t, s, hare("a", name, name))
		mustKeep(t, s, hare(name, "x", "shared"))
	}
	var got []string
	view(t, s, func(r store.Reader) error {
		for after := ""; ; after = got[len(got)-1] {
			page, err := r.Meshes("a", after, 2, store.EyesOf("a"))
			if len(page) == 0 {
				return err
			}
			for _, m := range page {
				got = append(got, m.Name)
			}
		}
	})
	equal(t, "order", got, slices.Sorted(slices.Values(append(variants(), "x")))) // Go compares bytes
	view(t, s, func(r store.Reader) error {
		for _, limit := range []int{0, -1} {
			page, err := r.Meshes("a", "", limit, store.Studio())
			equal(t, fmt.Sprintf("at most %d", limit), []any{len(page), err}, []any{0, error(nil)})
		}
		none, err := r.Meshes("b", "", 10, store.Studio())
		equal(t, "of one who has none", len(none), 0)
		return err
	})
}

func meshEyes(t *testing.T, s store.Store) {
	mustKeep(t, s, hare("tamsin-row", "x", "a"))
	mustKeep(t, s, hare("", "x", "a"))
	for _, c := range []struct {
		owner, name string
		eyes        store.Eyes
	}{
		{"tamsin-row", "x", store.EyesOf("quillmere")},
		{"", "x", store.EyesOf("quillmere")},
		{"", "x", store.EyesOf("")},
		{"tamsin-row", "x", store.Eyes{}},
		{"quillmere", "x", store.EyesOf("quillmere")},
		{"tamsin-row", "y", store.EyesOf("tamsin-row")},
		{"tamsin-row", "X", store.Studio()},
		{"tamsin-row", "a\x00b", store.Studio()},
	} {
		view(t, s, func(r store.Reader) error {
			_, head := r.MeshHead(c.owner, c.name, c.eyes)
			dropped := s.Update(t.Context(), func(tx store.Tx) error { return tx.DropMesh(c.owner, c.name, c.eyes) })
			for _, err := range []error{head, dropped} {
				fails(t, err, store.ErrNotFound)
				equal(t, "the words", err.Error(), "mesh "+c.name+": not found")
			}
			return nil
		})
	}
	view(t, s, func(r store.Reader) error {
		for _, eyes := range []store.Eyes{store.EyesOf("quillmere"), store.EyesOf(""), {}} {
			theirs, _ := r.Meshes("tamsin-row", "", 10, eyes)
			studios, _ := r.Meshes("", "", 10, eyes)
			equal(t, "listed", len(theirs)+len(studios), 0)
		}
		return nil
	})
	fails(t, s.View(t.Context(), func(r store.Reader) error { _, err := r.MeshOf("a\x00b"); return err }), store.ErrNotFound)
	if err := s.Update(t.Context(), func(tx store.Tx) error { return tx.DropMesh("tamsin-row", "x", store.EyesOf("tamsin-row")) }); err != nil {
		t.Error(err)
	}
}

func meshRoom(t *testing.T, s store.Store) {
	try := func(most, room int, m store.Mesh) error {
		return s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.KeepMesh(m, most, room); return err })
	}
	for _, c := range []struct {
		name       string
		most, room int
		want       error
	}{
		{"x", 0, 100, store.ErrNoRoom},
		{"x", 1, 9, store.ErrNoRoom},
		{"x", 1, 10, nil},
		{"y", 1, 100, store.ErrNoRoom},
		{"y", 2, 19, store.ErrNoRoom},
		{"x", 0, 0, nil}, // it is kept already
		{"y", 2, 20, nil},
	} {
		if err := try(c.most, c.room, hare("tamsin-row", c.name, c.name)); !errors.Is(err, c.want) {
			t.Errorf("%s beside %d of %d: got %v, want %v", c.name, c.most, c.room, err, c.want)
		}
	}
	if err := try(1, 10, hare("quillmere", "x", "x")); err != nil {
		t.Errorf("of another owner: %v", err)
	}
	mustDrop(t, s, "tamsin-row", "x")
	if err := try(2, 20, hare("tamsin-row", "z", "z")); err != nil {
		t.Errorf("in the room of what was dropped: %v", err)
	}
	for name, m := range map[string]store.Mesh{
		"no name": {Sum: "a"}, "no sum": {Name: "a"}, "less than nothing": {Name: "a", Sum: "a", Room: -1}, "too much": {Name: "a", Sum: "a", Room: 1 << 50},
		"two lines": {Name: "a", Sum: "a", Format: "a\nb"}, "an owner with NUL": {Owner: "\x00", Name: "a", Sum: "a"},
	} {
		if err := try(1000, 1<<60, m); !errors.Is(err, store.ErrUnfit) {
			t.Errorf("%s: %v", name, err)
		}
	}
	meshRoomTogether(t, s)
}

// Many at once keep no more than there is room for.
func meshRoomTogether(t *testing.T, s store.Store) {
	full := make([]int, writers)
	together(func(w int) {
		for i := range 3 {
			err := s.Update(t.Context(), func(tx store.Tx) error {
				_, err := tx.KeepMesh(hare("many", fmt.Sprint(w, i), fmt.Sprint(w, i)), 1000, 100)
				return err
			})
			if errors.Is(err, store.ErrNoRoom) {
				full[w]++
			} else if err != nil {
				t.Error(err)
			}
		}
	})
	view(t, s, func(r store.Reader) error {
		list, err := r.Meshes("many", "", 1000, store.Studio())
		equal(t, "how many, of 10 bytes each, found room", len(list), 10)
		return err
	})
	sum := 0
	for _, n := range full {
		sum += n
	}
	equal(t, "how many found none", sum, 3*writers-10)
}

// A file is kept once, for as long as it has a name.
func meshShared(t *testing.T, s store.Store) {
	mustKeep(t, s, hare("tamsin-row", "x", "a"))
	mustKeep(t, s, hare("tamsin-row", "y", "a"))
	mustKeep(t, s, hare("quillmere", "x", "a"))
	for _, owner := range []string{"tamsin-row", "quillmere"} {
		mustDrop(t, s, owner, "x")
		equal(t, "with a name left", isThere(t, s, "sum of a"), true)
		fails(t, drop(t.Context(), s, owner, "x"), store.ErrNotFound)
	}
	mustDrop(t, s, "tamsin-row", "y")
	equal(t, "without a name", isThere(t, s, "sum of a"), false)
	mustKeep(t, s, hare("quillmere", "x", "a"))
	equal(t, "kept again", isThere(t, s, "sum of a"), true)
}

// The words of a mesh are those of whoever gave it the name; the file has those it came with.
func meshWords(t *testing.T, s store.Store) {
	first, second, other := hare("tamsin-row", "x", "a"), hare("tamsin-row", "y", "a"), hare("quillmere", "x", "a")
	second.Reading, other.Reading = []byte(`{"title":"A second name"}`), nil
	for _, m := range []store.Mesh{first, second, other} {
		kept := mustKeep(t, s, m)
		equal(t, "as kept", string(kept.Reading), string(m.Reading))
	}
	again := first
	again.Reading = []byte(`{"title":"again"}`)
	equal(t, "kept again", string(mustKeep(t, s, again).Reading), string(first.Reading))
	mustDrop(t, s, "tamsin-row", "x")
	view(t, s, func(r store.Reader) error {
		head, err := r.MeshHead("tamsin-row", "y", store.Studio())
		another, read := r.MeshHead("quillmere", "x", store.Studio())
		list, listed := r.Meshes("tamsin-row", "", 10, store.Studio())
		nameless, found := r.MeshOf("sum of a")
		equal(t, "of the second name", string(head.Reading), string(second.Reading))
		equal(t, "of another owner", string(another.Reading), "")
		equal(t, "in a list", []int{len(list)}, []int{1})
		equal(t, "in a list", string(list[0].Reading), string(second.Reading))
		equal(t, "of the file", string(nameless.Reading), string(first.Reading))
		return errors.Join(err, read, listed, found)
	})
}

// pricedWith is content that refers to meshes by the texts of their files.
func pricedWith(files ...string) store.Content {
	c := content("priced with " + strings.Join(files, ", "))
	for _, file := range files {
		c.Meshes = append(c.Meshes, store.MeshRef{Name: "meshes/" + file, Sum: "sum of " + file})
	}
	return c
}

func revise(ctx context.Context, s store.Store, n life.Number, c store.Content, day int) error {
	return s.Update(ctx, func(tx store.Tx) error {
		_, err := tx.Change(n, "", store.Studio(), life.Revise(""), c, january(day))
		return err
	})
}

// What a revision was priced with stays with it, whoever drops the name.
func meshesOfRevisions(t *testing.T, s store.Store) {
	withBook(t, s)
	for _, file := range []string{"a", "b", "c", "d"} {
		mustKeep(t, s, hare("tamsin-row", file, file))
	}
	var q store.Quote
	unordered := pricedWith("b", "a")
	unordered.Meshes = append(unordered.Meshes, store.MeshRef{Name: "meshes/again", Sum: "sum of a"})
	update(t, s, func(tx store.Tx) (err error) {
		q, err = tx.Create("tamsin-row", 2027, unordered, january(1))
		return err
	})
	ordered := unordered
	ordered.Meshes = []store.MeshRef{{Name: "meshes/a", Sum: "sum of a"}, {Name: "meshes/again", Sum: "sum of a"}, {Name: "meshes/b", Sum: "sum of b"}}
	holds(t, s, q, 1, ordered)
	for _, file := range []string{"a", "b", "c", "d"} {
		mustDrop(t, s, "tamsin-row", file)
		equal(t, file+" without a name", isThere(t, s, "sum of "+file), file < "c")
	}
	for _, c := range []store.Content{pricedWith("a", "b"), pricedWith("a", "b"), pricedWith("b")} { // once with what it has
		if err := revise(t.Context(), s, q.Number, c, 2); err != nil {
			t.Fatal(err)
		}
		holds(t, s, q, 1, c)
	}
	equal(t, "what the draft let go", isThere(t, s, "sum of a"), false)
	fails(t, revise(t.Context(), s, q.Number, pricedWith("a"), 2), store.ErrNotFound)
	fails(t, s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.Create("", 2027, pricedWith("b", "a"), january(1)); return err }), store.ErrNotFound)
	must(t, s, read(t, s, q.Number), life.Issue(on(20)), 2)
	if err := revise(t.Context(), s, q.Number, pricedWith(), 3); err != nil {
		t.Fatal(err)
	}
	must(t, s, read(t, s, q.Number), life.Issue(on(20)), 4)
	holds(t, s, q, 1, pricedWith("b"))
	holds(t, s, q, 2, pricedWith())
	equal(t, "what was issued once", isThere(t, s, "sum of b"), true)
	mustKeep(t, s, hare("quillmere", "b", "b"))
	mustDrop(t, s, "quillmere", "b")
	equal(t, "and dropped by another", isThere(t, s, "sum of b"), true)
}

func refsUnfit(t *testing.T, s store.Store) {
	withBook(t, s)
	mustKeep(t, s, hare("", "x", "a"))
	many := make([]store.MeshRef, 1001)
	for i := range many {
		many[i] = store.MeshRef{Name: fmt.Sprint(i), Sum: "sum of a"}
	}
	for name, refs := range map[string][]store.MeshRef{
		"twice": {{Name: "x", Sum: "sum of a"}, {Name: "x", Sum: "sum of a"}}, "no name": {{Sum: "sum of a"}}, "no sum": {{Name: "x"}},
		"NUL": {{Name: "x\x00", Sum: "sum of a"}}, "many": many,
	} {
		c := content("any")
		c.Meshes = refs
		if err := s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.Create("", 2027, c, january(1)); return err }); !errors.Is(err, store.ErrUnfit) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// One file is named, priced with and dropped by many at once: whoever found it has it.
func meshesTogether(t *testing.T, s store.Store) {
	withBook(t, s)
	together(func(w int) {
		for i := range 6 {
			if err := keepPriceDrop(t.Context(), s, fmt.Sprint("owner ", w), i%2 == 0); err != nil {
				t.Error(err)
			}
		}
	})
	equal(t, "what drafts refer to", isThere(t, s, "sum of a"), true)
	equal(t, "what nothing refers to", isThere(t, s, "sum of b"), false)
	for _, h := range list(t, s, store.Filter{}, store.Studio()) {
		view(t, s, func(r store.Reader) error {
			_, err := r.Content(h.Number, 1, store.Studio())
			return err
		})
	}
}

// keepPriceDrop prices a quote with file a, and drops it, and keeps file b only for a moment.
func keepPriceDrop(ctx context.Context, s store.Store, owner string, let bool) error {
	var n life.Number
	err := s.Update(ctx, func(tx store.Tx) error {
		if _, err := tx.KeepMesh(hare(owner, "x", "a"), 10, 100); err != nil {
			return err
		}
		q, err := tx.Create("", 2027, pricedWith("a"), january(1))
		n = q.Number
		return err
	})
	if err == nil {
		err = drop(ctx, s, owner, "x")
	}
	if err == nil && let {
		err = revise(ctx, s, n, pricedWith(), 2)
	}
	if err == nil {
		_, err = keep(ctx, s, hare(owner, "y", "b"))
	}
	if err == nil {
		err = drop(ctx, s, owner, "y")
	}
	return err
}
