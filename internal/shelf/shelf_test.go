package shelf_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/shelf"
)

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

// A short file of a large model takes the room of the model: a ball of 5120 triangles is
// 256 000 bytes as a binary STL (50 bytes a triangle). A long file of a small one takes its own.
func TestALargeModelInAShortFile(t *testing.T) {
	model, err := maquette.Study(meshtest.Icosphere(0.1, 4))
	if err != nil {
		t.Fatal(err)
	}
	for size, want := range map[int]int64{100: 256_000, 256_001: 256_001} {
		i := shelf.Identify(make([]byte, size), shelf.Reading{})
		if got := i.Room(); got != int64(size) {
			t.Errorf("%d bytes, before the study: %d", size, got)
		}
		i.Model = model
		if got := i.Room(); got != want {
			t.Errorf("%d bytes: got %d, want %d", size, got, want)
		}
	}
}

// A mesh without a name of its own has the first half of its sum.
func TestANameOfASum(t *testing.T) {
	i := shelf.Identify([]byte("abc"), shelf.Reading{})
	if got := shelf.NameOf(i.Sum); got != i.Name || !shelf.IsName(got) {
		t.Errorf("got %s, want %s", got, i.Name)
	}
	if got := shelf.NameOf("a"); got != "meshes/a" {
		t.Errorf("got %s", got)
	}
}
