package meshtest_test

import (
	"bytes"
	"flag"
	"math"
	"os"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/meshfile"
)

var update = flag.Bool("update", false, "write the hare's file again")

const hareFile = "../../../testdata/meshes/hare.glb"

// The hare in testdata is the one that is described here: go test -update writes it.
func TestTheHareInTestdataIsThisOne(t *testing.T) {
	m := meshtest.Hare()
	var out bytes.Buffer
	if err := meshtest.WriteGLB(&out, m); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(hareFile, out.Bytes(), 0o644); err != nil { //nolint:gosec // for all to read
			t.Fatal(err)
		}
	}
	doc, err := os.ReadFile(hareFile)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := meshfile.Read(doc, meshfile.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(kept.Mesh.Faces) != len(m.Faces) || len(kept.Mesh.Vertices) != len(m.Vertices) {
		t.Fatalf("%d faces and %d vertices, described: %d and %d", len(kept.Mesh.Faces), len(kept.Mesh.Vertices), len(m.Faces), len(m.Vertices))
	}
	for i := range m.Faces { // processors differ in the last digit of a float32
		a, b := m.Triangle(i), kept.Mesh.Triangle(i)
		for j := range a {
			want := [3]float64{a[j][0], a[j][2], -a[j][1]}
			for axis := range want {
				if math.Abs(want[axis]-b[j][axis]) > 1e-6 {
					t.Fatalf("face %d: %v, described: %v", i, b[j], want)
				}
			}
		}
	}
}
