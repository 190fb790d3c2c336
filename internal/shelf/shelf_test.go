package shelf_test

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/shelf"
)

// item is a file of so many bytes under a name, told apart by its content; a shelf
// does not look into it.
func item(id, content string, size int) *shelf.Item {
	return shelf.Identify([]byte(content+strings.Repeat(" ", size-len(content))), shelf.Reading{ID: id})
}

func kept(t testing.TB, s *shelf.Shelf, i *shelf.Item) *shelf.Item {
	t.Helper()
	got, err := s.Keep(i)
	if err != nil {
		t.Fatalf("%s: %v", i.Name, err)
	}
	return got
}

func names(items []*shelf.Item) []string {
	list := make([]string, len(items))
	for i, item := range items {
		list[i] = item.Name
	}
	return list
}

// The sum of a file is its SHA-256, in hexadecimal: "abc" is the first example of FIPS
// 180-2, appendix B.1.
func TestTheSumOfAFileIsItsSHA256(t *testing.T) {
	const published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if got := shelf.Identify([]byte("abc"), shelf.Reading{}).FileSum; got != published {
		t.Errorf("got %s, want %s", got, published)
	}
}

// Whatever measures depend on is in the sum, and with it in a name made from content:
// each of these readings of one file is a mesh of its own.
func TestReadingsThatAreMeshesOfTheirOwn(t *testing.T) {
	const text = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n" // OBJ only by its name
	seen := map[string]string{}
	for name, i := range map[string]*shelf.Item{
		"plain":       shelf.Identify([]byte(text), shelf.Reading{FileName: "a.obj"}),
		"millimetres": shelf.Identify([]byte(text), shelf.Reading{FileName: "a.obj", Unit: 0.001}),
		"metres":      shelf.Identify([]byte(text), shelf.Reading{FileName: "a.obj", Unit: 1}),
		"x up":        shelf.Identify([]byte(text), shelf.Reading{FileName: "a.obj", Up: shelf.X}),
		"y up":        shelf.Identify([]byte(text), shelf.Reading{FileName: "a.obj", Up: shelf.Y}),
		"z up":        shelf.Identify([]byte(text), shelf.Reading{FileName: "a.obj", Up: shelf.Z}),
		"as STL":      shelf.Identify([]byte(text), shelf.Reading{FileName: "a.stl"}),
		"another":     shelf.Identify([]byte(text+"\n"), shelf.Reading{FileName: "a.obj"}),
	} {
		if other := seen[i.Sum]; other != "" {
			t.Errorf("%s and %s have one sum", name, other)
		}
		seen[i.Sum] = name
		if want := shelf.Prefix + i.Sum[:32]; i.Name != want {
			t.Errorf("%s is named %s, want %s", name, i.Name, want)
		}
	}
}

// What measures do not depend on is not in the sum: a title, and of a file's name all
// but the format that it settles.
func TestReadingsThatAreOneMesh(t *testing.T) {
	text := []byte("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
	one := shelf.Identify(text, shelf.Reading{FileName: "a.obj", Unit: 1})
	for _, r := range []shelf.Reading{
		{FileName: "b.obj", Unit: 1}, {FileName: "dir/c.OBJ", Unit: 1}, {FileName: "a.obj", Unit: 1, Title: "A leaf"}, {FileName: "a.obj", Unit: 1, ID: "leaf"},
	} {
		if got := shelf.Identify(text, r); got.Sum != one.Sum {
			t.Errorf("%+v has another sum", r)
		}
	}
	if got := shelf.Identify(text, shelf.Reading{ID: "leaf"}).Name; got != "meshes/leaf" {
		t.Errorf("an item with a name of its own is named %s", got)
	}
}

// The same bytes read the same way are one item: the first stays, with its title, and
// takes room once.
func TestTheSameTwiceIsOneItem(t *testing.T) {
	s := shelf.New(10)
	first := kept(t, s, shelf.Identify([]byte("0123456789"), shelf.Reading{Title: "first"}))
	again := kept(t, s, shelf.Identify([]byte("0123456789"), shelf.Reading{Title: "again"}))
	if first != again || again.Reading.Title != "first" {
		t.Errorf("kept %q beside %q", again.Reading.Title, first.Reading.Title)
	}
	if items, more := s.List("", 10); len(items) != 1 || more {
		t.Errorf("%d items, more %v", len(items), more)
	}
}

// A name stands for one file, read one way, until it is deleted.
func TestATakenName(t *testing.T) {
	s := shelf.New(100)
	mm := shelf.Identify([]byte("file"), shelf.Reading{ID: "leaf", Unit: 0.001})
	kept(t, s, mm)
	for what, other := range map[string]*shelf.Item{
		"another file":    shelf.Identify([]byte("elif"), shelf.Reading{ID: "leaf", Unit: 0.001}),
		"another unit":    shelf.Identify([]byte("file"), shelf.Reading{ID: "leaf", Unit: 1}),
		"another up axis": shelf.Identify([]byte("file"), shelf.Reading{ID: "leaf", Unit: 0.001, Up: shelf.Y}),
	} {
		for door, try := range map[string]func(*shelf.Item) (*shelf.Item, error){"Keep": s.Keep, "Kept": s.Kept} {
			got, err := try(other)
			if got != nil || !errors.Is(err, shelf.ErrTaken) || !strings.Contains(err.Error(), "meshes/leaf") {
				t.Errorf("%s, %s: %v, %v", door, what, got, err)
			}
		}
	}
	if s.Find("meshes/leaf") != mm {
		t.Error("what was kept is there no more")
	}
	s.Delete("meshes/leaf")
	kept(t, s, shelf.Identify([]byte("elif"), shelf.Reading{ID: "leaf"}))
}

// Kept asks without keeping.
func TestKeptKeepsNothing(t *testing.T) {
	s := shelf.New(100)
	i := item("leaf", "a", 4)
	if got, err := s.Kept(i); got != nil || err != nil {
		t.Errorf("an empty shelf has %v, %v", got, err)
	}
	if s.Find(i.Name) != nil {
		t.Error("asking kept it")
	}
	kept(t, s, i)
	if got, err := s.Kept(item("leaf", "a", 4)); got != i || err != nil {
		t.Errorf("got %v, %v", got, err)
	}
}

// Room is of the bytes of all files: exactly full is not too full, what is deleted
// gives its room back, and a full shelf still knows what it has.
func TestRoom(t *testing.T) {
	s := shelf.New(10)
	kept(t, s, item("a", "a", 6))
	if _, err := s.Keep(item("b", "b", 5)); !errors.Is(err, shelf.ErrFull) {
		t.Errorf("11 bytes of 10: %v", err)
	}
	kept(t, s, item("b", "b", 4))
	if _, err := s.Keep(item("c", "c", 1)); !errors.Is(err, shelf.ErrFull) {
		t.Errorf("11 bytes of 10: %v", err)
	}
	kept(t, s, item("a", "a", 6))
	if _, err := s.Keep(item("a", "z", 6)); !errors.Is(err, shelf.ErrTaken) {
		t.Errorf("a taken name on a full shelf: %v", err)
	}
	if !s.Delete("meshes/a") || s.Delete("meshes/a") || s.Delete("meshes/none") {
		t.Error("a mesh is deleted once, and only where it is")
	}
	kept(t, s, item("c", "c", 6))
	if _, err := s.Keep(item("d", "d", 1)); !errors.Is(err, shelf.ErrFull) {
		t.Errorf("11 bytes of 10: %v", err)
	}
}

func TestAShelfKeepsSoManyAndNoMore(t *testing.T) {
	s := shelf.New(1 << 20)
	for n := range shelf.Most {
		kept(t, s, item(fmt.Sprint(n), "x", 1))
	}
	if _, err := s.Keep(item("more", "x", 1)); !errors.Is(err, shelf.ErrFull) {
		t.Errorf("the %dst: %v", shelf.Most+1, err)
	}
	s.Delete("meshes/7")
	kept(t, s, item("more", "x", 1))
}

// Walked page by page, of any size, the list has every name once and in order,
// whatever was kept in which order.
func TestPages(t *testing.T) {
	s := shelf.New(1 << 20)
	var all []string
	for n := range 23 {
		i := item(fmt.Sprintf("m%d", n*7%23), "x", 1) // m10 before m2: by bytes, not by number
		kept(t, s, i)
		all = append(all, i.Name)
	}
	slices.Sort(all)
	for size := 1; size <= 24; size++ {
		var walked []string
		for after, more := "", true; more; after = walked[len(walked)-1] {
			var page []*shelf.Item
			page, more = s.List(after, size)
			if len(page) == 0 || more && len(page) != size {
				t.Fatalf("a page of %d has %d, more %v", size, len(page), more)
			}
			walked = append(walked, names(page)...)
		}
		if !slices.Equal(walked, all) {
			t.Fatalf("in pages of %d: %q", size, walked)
		}
	}
	if items, more := s.List(all[22], 5); len(items) != 0 || more {
		t.Errorf("after the last: %d, more %v", len(items), more)
	}
}

// A place in the list holds though what stood there is gone, and something new came
// before and after it.
func TestAPageFollowsAnItemThatIsGone(t *testing.T) {
	s := shelf.New(100)
	for _, id := range []string{"b", "d", "f"} {
		kept(t, s, item(id, id, 1))
	}
	page, _ := s.List("", 2)
	s.Delete(page[1].Name)
	kept(t, s, item("a", "a", 1))
	kept(t, s, item("e", "e", 1))
	next, more := s.List(page[1].Name, 2)
	if got := names(next); more || !slices.Equal(got, []string{"meshes/e", "meshes/f"}) {
		t.Errorf("got %q, more %v", got, more)
	}
}

// plain is a shelf as simple as can be, for the real one to agree with.
type plain struct {
	room  int
	items map[string]*shelf.Item
}

func (p *plain) keep(i *shelf.Item) (*shelf.Item, error) {
	used := 0
	for _, other := range p.items {
		used += len(other.File)
	}
	switch other := p.items[i.Name]; {
	case other != nil && other.Sum != i.Sum:
		return nil, shelf.ErrTaken
	case other != nil:
		return other, nil
	case used+len(i.File) > p.room:
		return nil, shelf.ErrFull
	}
	p.items[i.Name] = i
	return i, nil
}

func (p *plain) list() []string { return slices.Sorted(maps.Keys(p.items)) }

// A shelf does what a plain map of names does that adds its bytes up each time.
func TestAShelfAgreesWithAPlainMap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		room := rapid.IntRange(0, 40).Draw(t, "room")
		s, p := shelf.New(int64(room)), &plain{room, map[string]*shelf.Item{}}
		ids := rapid.SampledFrom([]string{"", "a", "b", "c", "d"})
		t.Repeat(map[string]func(*rapid.T){
			"keep": func(t *rapid.T) {
				i := item(ids.Draw(t, "id"), rapid.SampledFrom([]string{"x", "y"}).Draw(t, "content"), rapid.IntRange(1, 15).Draw(t, "size"))
				got, err := s.Keep(i)
				want, wanted := p.keep(i)
				if got != want || !errors.Is(err, wanted) {
					t.Fatalf("Keep(%s): %v, %v; want %v, %v", i.Name, got, err, want, wanted)
				}
			},
			"delete": func(t *rapid.T) {
				name := shelf.Prefix + ids.Draw(t, "id")
				if _, there := p.items[name]; s.Delete(name) != there {
					t.Fatalf("Delete(%s): it was there: %v", name, there)
				}
				delete(p.items, name)
			},
			"": func(t *rapid.T) {
				if items, more := s.List("", shelf.Most); more || !slices.Equal(names(items), p.list()) {
					t.Fatalf("got %q, want %q", names(items), p.list())
				}
				for name, want := range p.items {
					if s.Find(name) != want {
						t.Fatalf("Find(%s) found something else", name)
					}
				}
			},
		})
	})
}

// Many callers at once: one item for the same file, never more than there is room
// for, and when all is deleted all of the room is there again.
func TestManyCallersAtOnce(t *testing.T) {
	const callers, rounds, room = 8, 200, 64
	s := shelf.New(room)
	var all sync.WaitGroup
	for caller := range callers {
		all.Go(func() {
			for n := range rounds {
				mine := item("", fmt.Sprint(n%11), 8)
				if got, err := s.Keep(mine); err == nil && got.Sum != mine.Sum {
					t.Errorf("kept %s for %s", got.Name, mine.Name)
				}
				items, _ := s.List("", shelf.Most)
				if len(items) > room/8 || !slices.IsSorted(names(items)) {
					t.Errorf("%d items of 8 bytes in %d, listed %q", len(items), room, names(items))
				}
				if found := s.Find(mine.Name); found != nil && sha256.Sum256(found.File) != sha256.Sum256(mine.File) {
					t.Errorf("%s is another file", mine.Name)
				}
				if (n+caller)%3 == 0 {
					s.Delete(mine.Name)
				}
			}
		})
	}
	all.Wait()
	items, _ := s.List("", shelf.Most)
	for _, i := range items {
		s.Delete(i.Name)
	}
	kept(t, s, item("whole", "x", room))
}

// Of callers who race for the last room one gets it.
func TestTheLastRoomGoesOnce(t *testing.T) {
	s := shelf.New(8)
	got := make(chan error, 8)
	for n := range 8 {
		go func() {
			_, err := s.Keep(item(fmt.Sprint(n), "x", 8))
			got <- err
		}()
	}
	in := 0
	for range 8 {
		if err := <-got; err == nil {
			in++
		} else if !errors.Is(err, shelf.ErrFull) {
			t.Error(err)
		}
	}
	if in != 1 {
		t.Errorf("%d got the room of one", in)
	}
}

// A name that nothing is kept under has no model.
func TestModelsByName(t *testing.T) {
	i := shelf.Identify(tetrahedron(), shelf.Reading{ID: "corner", Unit: 0.001})
	if err := i.Study(); err != nil {
		t.Fatal(err)
	}
	s := shelf.New(int64(len(i.File)))
	kept(t, s, i)
	if model, sum, err := s.Model("meshes/corner"); model != i.Model || sum != i.Sum || err != nil {
		t.Errorf("got %v with %q", model, sum)
	}
	if model, sum, err := s.Model("meshes/none"); model != nil || sum != "" || err == nil || !strings.Contains(err.Error(), "uploaded") {
		t.Errorf("got %v with %q for nothing", model, sum)
	}
}

// A short file of a large model takes the room of the model: a ball of 5120 triangles is
// 256 000 bytes as a binary STL (50 bytes a triangle). Deleted, it gives back as much.
func TestALargeModelInAShortFile(t *testing.T) {
	model, err := maquette.Study(meshtest.Icosphere(0.1, 4))
	if err != nil {
		t.Fatal(err)
	}
	short := func(id string) *shelf.Item {
		i := item(id, id, 100)
		i.Model = model
		return i
	}
	s := shelf.New(3 * 256_000)
	for round := range 2 {
		for _, id := range []string{"a", "b", "c"} {
			kept(t, s, short(id))
		}
		if _, err := s.Keep(short("d")); !errors.Is(err, shelf.ErrFull) {
			t.Errorf("round %d: a fourth: %v", round, err)
		}
		for _, id := range []string{"a", "b", "c"} {
			s.Delete(shelf.Prefix + id)
		}
	}
	kept(t, s, item("all", "x", 3*256_000))
}
