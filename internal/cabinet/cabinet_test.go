package cabinet_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/cabinet"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/meshfile"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/store/memory"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// The partners of these tests.
const tamsin, quillmere = "tamsin-row", "quillmere"

// plenty is room for whatever these tests keep.
var plenty = cabinet.Room{Owner: 1 << 30, Memory: 1 << 30}

func march() time.Time { return time.Date(2027, 3, 1, 10, 0, 0, 0, time.UTC) }

// corner is a corner with legs of 300, 200 and some length along x, y and z, as text in STL.
func corner(leg int) []byte {
	o, x, y, z := "0 0 0", "300 0 0", "0 200 0", fmt.Sprint("0 0 ", leg)
	var b strings.Builder
	b.WriteString("solid corner\n")
	for _, f := range [][3]string{{o, y, x}, {o, x, z}, {o, z, y}, {x, y, z}} {
		fmt.Fprintf(&b, "facet normal 0 0 0\nouter loop\nvertex %s\nvertex %s\nvertex %s\nendloop\nendfacet\n", f[0], f[1], f[2])
	}
	b.WriteString("endsolid corner\n")
	return []byte(b.String())
}

func named(id string, leg int) *shelf.Item {
	return shelf.Identify(corner(leg), shelf.Reading{ID: id, Unit: 0.001})
}

// block is of such a size and takes as much room; its model is an icosahedron that was
// studied before, so that nothing is studied.
func block(t testing.TB, id, content string, size int) *shelf.Item {
	t.Helper()
	return withModel(t, shelf.Identify([]byte(content+strings.Repeat(" ", size-len(content))), shelf.Reading{ID: id}))
}

// withModel gives an item a model that is not its own.
func withModel(t testing.TB, i *shelf.Item) *shelf.Item {
	t.Helper()
	model, err := icosahedron()
	if err != nil {
		t.Fatal(err)
	}
	i.Model = model
	return i
}

var icosahedron = sync.OnceValues(func() (*maquette.Maquette, error) { return maquette.Study(meshtest.Icosphere(0.1, 0)) })

// least is the least room that a block takes: 20 triangles of 50 bytes.
const least = 1000

func open(t testing.TB, s store.Store, room cabinet.Room) *cabinet.Cabinet {
	t.Helper()
	c, err := cabinet.New(s, march, room)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func keep(t testing.TB, c *cabinet.Cabinet, owner string, i *shelf.Item) *shelf.Item {
	t.Helper()
	got, err := c.Keep(t.Context(), owner, i)
	if err != nil {
		t.Fatalf("%s: %v", i.Name, err)
	}
	return got
}

func find(t testing.TB, c *cabinet.Cabinet, owner, name string) *shelf.Item {
	t.Helper()
	got, err := c.Find(t.Context(), owner, name, store.Studio())
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return got
}

func fails(t testing.TB, what string, err, want error) {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("%s: got %v, want %v", what, err, want)
	}
}

func names(t testing.TB, c *cabinet.Cabinet, owner string, eyes store.Eyes) []string {
	t.Helper()
	items, more, err := c.List(t.Context(), owner, "", cabinet.Most, eyes)
	if err != nil || more {
		t.Fatal(err, more)
	}
	list := []string{}
	for _, i := range items {
		list = append(list, i.Name)
	}
	return list
}

// watched is a store that tells when a file is read, and may refuse it.
type watched struct {
	store.Store
	reading func(context.Context) error // before a file is read
}

// View watches the reader.
func (w *watched) View(ctx context.Context, do func(store.Reader) error) error {
	return w.Store.View(ctx, func(r store.Reader) error { return do(&watchedReader{r, ctx, w.reading}) })
}

type watchedReader struct {
	store.Reader
	ctx     context.Context
	reading func(context.Context) error
}

// MeshOf tells first.
func (r *watchedReader) MeshOf(sum string) (store.Mesh, error) {
	if err := r.reading(r.ctx); err != nil {
		return store.Mesh{}, err
	}
	return r.Reader.MeshOf(sum)
}

// counted is a store that counts how often a file is read.
func counted(s store.Store) (*watched, *int) {
	n := 0
	var mu sync.Mutex
	return &watched{s, func(context.Context) error {
		mu.Lock()
		defer mu.Unlock()
		n++
		return nil
	}}, &n
}

// The same file read the same way is what is kept already, with its title and at its time. A
// name stands for one file, read one way, until it is dropped.
func TestANameStandsForOneMesh(t *testing.T) {
	c := open(t, memory.New(), plenty)
	first := shelf.Identify(corner(100), shelf.Reading{ID: "leaf", Title: "first", FileName: "leaf.stl", Unit: 0.001})
	again := shelf.Identify(corner(100), shelf.Reading{ID: "leaf", Title: "again", FileName: "leaf.stl", Unit: 0.001})
	one, two := keep(t, c, "", first), keep(t, c, "", again)
	for _, got := range []*shelf.Item{one, two, find(t, c, "", "meshes/leaf")} {
		if got.Reading != (shelf.Reading{ID: "leaf", Title: "first", FileName: "leaf.stl", Unit: 0.001}) {
			t.Errorf("kept %+v", got.Reading)
		}
		if got.Model == nil || got.File != nil || got.Size != int64(len(corner(100))) || got.Format != meshfile.STL || got.Sum != first.Sum || got.FileSum != first.FileSum {
			t.Errorf("kept %+v", got)
		}
	}
	for what, other := range map[string]*shelf.Item{
		"another file":    named("leaf", 101),
		"another unit":    shelf.Identify(corner(100), shelf.Reading{ID: "leaf", Unit: 1}),
		"another up axis": shelf.Identify(corner(100), shelf.Reading{ID: "leaf", Unit: 0.001, Up: shelf.Y}),
	} {
		_, err := c.Keep(t.Context(), "", other)
		fails(t, what, err, store.ErrTaken)
	}
	if err := c.Drop(t.Context(), "", "meshes/leaf", store.Studio()); err != nil {
		t.Fatal(err)
	}
	fails(t, "dropped twice", c.Drop(t.Context(), "", "meshes/leaf", store.Studio()), store.ErrNotFound)
	if got := keep(t, c, "", named("leaf", 101)); got.Sum == first.Sum {
		t.Error("the name still stands for the first")
	}
}

// What is made of a file's own unit and axis is shown, and read again as it was asked for.
func TestAFilesOwnReading(t *testing.T) {
	s := memory.New()
	i := shelf.Identify(corner(100), shelf.Reading{Unit: 0.0254, Up: shelf.X})
	before := keep(t, open(t, s, plenty), "", i)
	if i.Reading.Unit != 0.0254 || i.Model != nil {
		t.Error("the item that was given is another now")
	}
	after := find(t, open(t, s, plenty), "", i.Name)
	if after.Reading != before.Reading || after.Reading != (shelf.Reading{Unit: 0.0254, Up: shelf.X}) {
		t.Errorf("got %+v and %+v", before.Reading, after.Reading)
	}
	if one, two := measures(t, before), measures(t, after); one != two {
		t.Errorf("got %s and %s", one, two)
	}
}

// measures are those of a mesh at twice its size, as an answer has them.
func measures(t testing.TB, i *shelf.Item) string {
	t.Helper()
	sheet, err := i.Model.At(i.Model.Usual(2))
	if err != nil {
		t.Fatal(err)
	}
	text, err := wire.Encode(wire.MeshTakeoff(&sheet))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// Owners' names are apart. A file that two of them have is kept once, and neither is shown
// the other's words for it.
func TestOwnersAreApart(t *testing.T) {
	c := open(t, memory.New(), plenty)
	word := shelf.Reading{ID: "hare", Title: "A hare for Fernhollow", FileName: "fernhollow.stl", Unit: 0.001}
	keep(t, c, tamsin, shelf.Identify(corner(100), word))
	keep(t, c, quillmere, named("hare", 101)) // the name is free
	like := keep(t, c, quillmere, shelf.Identify(corner(100), shelf.Reading{ID: "like", Title: "Ours", Unit: 0.001}))
	unnamed := keep(t, c, quillmere, named("", 100))
	for _, got := range []*shelf.Item{like, unnamed, find(t, c, quillmere, "meshes/like"), find(t, c, quillmere, unnamed.Name)} {
		if strings.Contains(fmt.Sprint(got.Reading), "ernhollow") {
			t.Errorf("%s is shown %+v", got.Name, got.Reading)
		}
	}
	if like.Reading != (shelf.Reading{ID: "like", Title: "Ours", Unit: 0.001}) || unnamed.Reading.ID != "" || like.Model != find(t, c, tamsin, "meshes/hare").Model {
		t.Error("a like file is not the like mesh")
	}
	second := shelf.Reading{ID: "second", Title: "A second hare", FileName: "again.stl", Unit: 0.001}
	keep(t, c, tamsin, shelf.Identify(corner(100), second))
	for name, want := range map[string]shelf.Reading{"meshes/hare": word, "meshes/second": second} {
		if got := find(t, c, tamsin, name).Reading; got != want {
			t.Errorf("its owner is shown %+v, want %+v", got, want)
		}
	}
	for owner, want := range map[string][]string{tamsin: {"meshes/hare", "meshes/second"}, quillmere: {unnamed.Name, "meshes/hare", "meshes/like"}, "": {}} {
		slices.Sort(want)
		if got := names(t, c, owner, store.Studio()); !slices.Equal(got, want) {
			t.Errorf("%q has %q, want %q", owner, got, want)
		}
	}
}

// Eyes that may not see a mesh see none, and cannot drop it.
func TestEyes(t *testing.T) {
	c := open(t, memory.New(), plenty)
	keep(t, c, tamsin, block(t, "hare", "hare", least))
	keep(t, c, "", block(t, "hare", "hare", least))
	for _, eyes := range []store.Eyes{store.EyesOf(quillmere), {}} {
		for _, owner := range []string{tamsin, ""} {
			_, err := c.Find(t.Context(), owner, "meshes/hare", eyes)
			fails(t, "found", err, store.ErrNotFound)
			fails(t, "dropped", c.Drop(t.Context(), owner, "meshes/hare", eyes), store.ErrNotFound)
			_, _, err = c.Meshes(t.Context(), owner, eyes)("meshes/hare")
			fails(t, "in a brief", err, cabinet.ErrNone)
			if got := names(t, c, owner, eyes); len(got) > 0 {
				t.Errorf("listed %q", got)
			}
		}
	}
	if _, err := c.Find(t.Context(), tamsin, "meshes/hare", store.EyesOf(tamsin)); err != nil {
		t.Error(err)
	}
}

// Each owner has room for so many bytes and for so many meshes.
func TestRoomOfAnOwner(t *testing.T) {
	c := open(t, memory.New(), cabinet.Room{Owner: 2*least + 500, Memory: 1 << 20})
	keep(t, c, tamsin, block(t, "a", "a", least+500))
	keep(t, c, tamsin, block(t, "b", "b", least-100)) // takes that of its triangles
	_, err := c.Keep(t.Context(), tamsin, block(t, "c", "c", least))
	fails(t, "a byte too many", err, store.ErrNoRoom)
	keep(t, c, tamsin, block(t, "a", "a", least+500)) // is kept
	keep(t, c, quillmere, block(t, "c", "c", least))
	keep(t, c, "", block(t, "c", "c", least))

	c = open(t, memory.New(), plenty)
	for n := range cabinet.Most {
		keep(t, c, tamsin, block(t, fmt.Sprint(n), "x", least))
	}
	_, err = c.Keep(t.Context(), tamsin, block(t, "more", "x", least))
	fails(t, "one too many", err, store.ErrNoRoom)
	keep(t, c, quillmere, block(t, "more", "x", least))
}

// A file of which nothing can be made is told so, and not kept.
func TestWhatCannotBeUsed(t *testing.T) {
	c := open(t, memory.New(), plenty)
	_, err := c.Keep(t.Context(), "", shelf.Identify([]byte("<!doctype html>"), shelf.Reading{ID: "page", Unit: 1, FileName: "a.stl"}))
	var unusable *cabinet.UnusableError
	var bad *meshfile.Fault
	if !errors.As(err, &unusable) || !errors.As(err, &bad) || bad.Code != meshfile.NotAMesh || unusable.Error() != bad.Error() {
		t.Errorf("got %v", err)
	}
	if got := names(t, c, "", store.Studio()); len(got) > 0 {
		t.Errorf("kept %q", got)
	}
}

// What is kept and cannot be read again is not told as the caller's fault.
func TestWhatCannotBeUsedAnyMore(t *testing.T) {
	s := memory.New()
	for name, m := range map[string]store.Mesh{
		"no mesh":  {Name: "meshes/a", Sum: "a", Reading: []byte(`{"reading":{}}`), File: []byte("solid")},
		"no label": {Name: "meshes/b", Sum: "b", Reading: []byte(`?`), File: corner(100)},
		"no words": {Name: "meshes/c", Sum: "c", Reading: []byte(`{"reading":{"unit":"ELL"}}`), File: corner(100)},
	} {
		if err := s.Update(t.Context(), func(tx store.Tx) error { _, err := tx.KeepMesh(m, 10, 1<<20); return err }); err != nil {
			t.Fatal(err)
		}
		_, err := open(t, s, plenty).Find(t.Context(), "", m.Name, store.Studio())
		var unusable *cabinet.UnusableError
		if err == nil || errors.As(err, &unusable) || errors.Is(err, store.ErrNotFound) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, _, err := open(t, s, plenty).List(t.Context(), "", "", 10, store.Studio()); err == nil {
		t.Error("listed")
	}
}

// A store that cannot be reached is told as that, whatever was asked.
func TestAStoreThatIsAway(t *testing.T) {
	s := memory.New()
	c := open(t, s, plenty)
	i := block(t, "a", "a", least)
	keep(t, c, "", i)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	_, kept := c.Keep(t.Context(), "", i)
	_, found := c.Find(t.Context(), "", i.Name, store.Studio())
	_, _, listed := c.List(t.Context(), "", "", 1, store.Studio())
	_, _, priced := c.Meshes(t.Context(), "", store.Studio())(i.Name)
	_, proved := open(t, s, plenty).Models(t.Context())(i.Sum)
	for what, err := range map[string]error{
		"keep": kept, "find": found, "list": listed, "brief": priced, "by content": proved, "drop": c.Drop(t.Context(), "", i.Name, store.Studio()),
	} {
		fails(t, what, err, store.ErrUnavailable)
	}
}

// Walked page by page, of any size, the list has every name once and in order.
func TestPages(t *testing.T) {
	c := open(t, memory.New(), plenty)
	var all []string
	for n := range 7 {
		all = append(all, keep(t, c, "", block(t, fmt.Sprintf("m%d", n*5%7+5), "x", least)).Name) // m10 before m5: by bytes, not by number
	}
	slices.Sort(all)
	for size := 1; size <= 8; size++ {
		var walked []string
		for after, more := "", true; more; after = walked[len(walked)-1] {
			var page []*shelf.Item
			var err error
			page, more, err = c.List(t.Context(), "", after, size, store.Studio())
			if err != nil || len(page) == 0 || more && len(page) != size {
				t.Fatalf("a page of %d has %d, more %v, %v", size, len(page), more, err)
			}
			for _, i := range page {
				walked = append(walked, i.Name)
			}
		}
		if !slices.Equal(walked, all) {
			t.Fatalf("in pages of %d: %q", size, walked)
		}
	}
}

// plain is a cabinet as simple as can be, for the real one to agree with.
type plain struct {
	room  int64
	items map[[2]string]*shelf.Item // by owner and name
}

func (p *plain) keep(owner string, i *shelf.Item) (*shelf.Item, error) {
	used := int64(0)
	for at, other := range p.items {
		if at[0] == owner {
			used += other.Room()
		}
	}
	switch other := p.items[[2]string{owner, i.Name}]; {
	case other != nil && other.Sum != i.Sum:
		return nil, store.ErrTaken
	case other != nil:
		return other, nil
	case used+i.Room() > p.room:
		return nil, store.ErrNoRoom
	}
	p.items[[2]string{owner, i.Name}] = i
	return i, nil
}

func (p *plain) names(owner string) []string {
	list := []string{}
	for _, at := range slices.SortedFunc(maps.Keys(p.items), func(a, b [2]string) int { return strings.Compare(a[1], b[1]) }) {
		if at[0] == owner {
			list = append(list, at[1])
		}
	}
	return list
}

// A cabinet does what a plain map of names does that adds its bytes up each time, however
// little it has at hand. What is found has the sum that is kept.
func TestACabinetAgreesWithAPlainMap(t *testing.T) {
	blocks := map[string]*shelf.Item{}
	for _, id := range []string{"", "a", "b", "c"} {
		for _, content := range []string{"x", "y"} {
			for _, size := range []int{least, 2 * least} {
				blocks[fmt.Sprint(id, content, size)] = block(t, id, content, size)
			}
		}
	}
	keys := slices.Sorted(maps.Keys(blocks))
	rapid.Check(t, func(rt *rapid.T) {
		room := int64(rapid.IntRange(0, 5*least).Draw(rt, "room"))
		c, p := open(t, memory.New(), cabinet.Room{Owner: room, Memory: 2 * least}), &plain{room, map[[2]string]*shelf.Item{}}
		owners := rapid.SampledFrom([]string{"", tamsin, quillmere})
		rt.Repeat(map[string]func(*rapid.T){
			"keep": func(rt *rapid.T) {
				owner, i := owners.Draw(rt, "owner"), blocks[rapid.SampledFrom(keys).Draw(rt, "item")]
				got, err := c.Keep(t.Context(), owner, i)
				want, wanted := p.keep(owner, i)
				if !errors.Is(err, wanted) || err == nil && (got.Name != want.Name || got.Sum != want.Sum) {
					rt.Fatalf("Keep(%s, %s): %v, %v; want %v, %v", owner, i.Name, got, err, want, wanted)
				}
			},
			"drop": func(rt *rapid.T) {
				at := [2]string{owners.Draw(rt, "owner"), blocks[rapid.SampledFrom(keys).Draw(rt, "item")].Name}
				_, there := p.items[at]
				if err := c.Drop(t.Context(), at[0], at[1], store.EyesOf(at[0])); at[0] != "" && there != (err == nil) {
					rt.Fatalf("Drop(%s): %v, it was there: %v", at, err, there)
				} else if at[0] != "" {
					delete(p.items, at)
				}
			},
			"": func(rt *rapid.T) {
				for _, owner := range []string{"", tamsin, quillmere} {
					if got, want := names(t, c, owner, store.Studio()), p.names(owner); !slices.Equal(got, want) {
						rt.Fatalf("%q has %q, want %q", owner, got, want)
					}
				}
			},
		})
	})
}
