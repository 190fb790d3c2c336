package mesh_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
)

// tool is the path of a reference program; a test that needs one is skipped in plain
// words where it is not installed, and fails where the checks are to be whole.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("MOULDWRIGHT_CI") != "" {
			t.Fatalf("%s is not installed, and must be here", name)
		}
		t.Skipf("%s is not installed: nothing to compare with", name)
	}
	return path
}

// Random solids measured by admesh 0.98.4 (Debian): its sums are in single precision,
// so that 1e-5 of the volume is what it can be held to.
func TestVolumesBesideAdmesh(t *testing.T) {
	admesh := tool(t, "admesh")
	random := meshtest.Random(7)
	volume := regexp.MustCompile(`Volume +: +([-0-9.]+)`)
	for i := range 12 {
		size := func() float64 { return 20 + 80*random.Float() }
		parts := []*mesh.Mesh{meshtest.Box(size(), size(), size())}
		ball := meshtest.Icosphere(size(), 3)
		turned := meshtest.Moved(meshtest.Torus(size()+100, size()/2, 48, 24), meshtest.About(mesh.Point{random.Float(), random.Float(), 1}, random.Float()), mesh.Point{500, 0, 0})
		parts = append(parts, meshtest.Moved(ball, meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{-400, 0, 0}), turned)
		m := meshtest.Join(parts[:1+i%3]...)
		file := filepath.Join(t.TempDir(), "solid.stl")
		out, err := os.Create(file)
		if err != nil {
			t.Fatal(err)
		}
		if err := meshtest.WriteSTL(out, m); err != nil {
			t.Fatal(err)
		}
		if err := out.Close(); err != nil {
			t.Fatal(err)
		}
		said, err := exec.CommandContext(t.Context(), admesh, file).CombinedOutput()
		found := volume.FindStringSubmatch(string(said))
		if err != nil || found == nil {
			t.Fatalf("admesh: %v\n%s", err, said)
		}
		want, _ := strconv.ParseFloat(found[1], 64)
		s, err := mesh.Examine(m)
		if err != nil {
			t.Fatal(err)
		}
		if off := s.Volume/want - 1; off > 1e-5 || off < -1e-5 {
			t.Errorf("solid %d: %v, admesh says %v", i, s.Volume, want)
		}
		if parts := strings.Contains(string(said), "Number of parts       :     "+strconv.Itoa(len(s.Components))); !parts {
			t.Errorf("solid %d: %d parts; admesh says\n%s", i, len(s.Components), said)
		}
	}
}
