package mesh_test

import (
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/meshfile"
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

// primitive is what OpenSCAD builds from: rings of so many corners one above another,
// between flat ends; a ring is its radius and its height, mm.
type primitive struct {
	scad    string
	corners int
	rings   [][2]float64
}

// brick is a square prism, so that all three are stacks of rings.
func brick(side, height float64) primitive {
	r := side / math.Sqrt2
	scad := fmt.Sprintf("translate([%g,%g,0]) cube([%g,%g,%g]);", -side/2, -side/2, side, side, height)
	return primitive{scad, 4, [][2]float64{{r, 0}, {r, height}}}
}

func drum(radius, height float64, n int) primitive {
	return primitive{fmt.Sprintf("cylinder(r=%g,h=%g,$fn=%d);", radius, height, n), n, [][2]float64{{radius, 0}, {radius, height}}}
}

// globe is OpenSCAD's sphere: half as many rings as it has corners round, none at a
// pole, half a step from it (as its 2021.01 builds it; seen in its output).
func globe(radius float64, n int) primitive {
	p := primitive{fmt.Sprintf("sphere(r=%g,$fn=%d);", radius, n), n, nil}
	count := (n + 1) / 2
	for i := range count {
		sin, cos := math.Sincos(math.Pi * (float64(i) + 0.5) / float64(count))
		p.rings = append(p.rings, [2]float64{radius * sin, -radius * cos})
	}
	return p
}

// size is surface and volume by hand: trapezia between the rings, polygons of n/2
// sin(2 pi/n) r2 at the ends, and prismoids (elementary).
func (p primitive) size() (area, volume float64) {
	n := float64(p.corners)
	face := n / 2 * math.Sin(2*math.Pi/n)
	sin, cos := math.Sincos(math.Pi / n)
	first, last := p.rings[0], p.rings[len(p.rings)-1]
	area = face * (first[0]*first[0] + last[0]*last[0])
	for i := 1; i < len(p.rings); i++ {
		low, high := p.rings[i-1], p.rings[i]
		rise := high[1] - low[1]
		area += n * sin * (low[0] + high[0]) * math.Hypot(rise, cos*(low[0]-high[0]))
		volume += face * rise / 3 * (low[0]*low[0] + low[0]*high[0] + high[0]*high[0])
	}
	return area, volume
}

// scadPair is two primitives, turned and moved, and what is said of them.
type scadPair struct {
	a, b   primitive
	placed string // before b
}

// scadPairs draws pairs that overlap, then adds one that does not, one that makes a void
// and one that makes a hole right through.
func scadPairs() []scadPair {
	random := meshtest.Random(11)
	from := func(low, high float64) float64 { return math.Round(100*(low+(high-low)*random.Float())) / 100 }
	draw := func(kind int) primitive {
		n := 5 + int(12*random.Float())
		switch kind % 3 {
		case 0:
			return brick(from(30, 50), from(30, 50))
		case 1:
			return drum(from(12, 25), from(40, 70), n)
		}
		return globe(from(20, 30), n)
	}
	var pairs []scadPair
	for i := range 6 {
		moved := fmt.Sprintf("translate([%g,%g,%g]) rotate([%g,%g,%g])", from(-15, 15), from(-15, 15), from(0, 25), from(0, 90), from(0, 90), from(0, 90))
		pairs = append(pairs, scadPair{draw(i), draw(i/2 + i), moved})
	}
	return append(pairs,
		scadPair{brick(60, 60), globe(20, 12), "translate([1,2,29]) rotate([10,20,30])"},
		scadPair{brick(40, 40), drum(9, 80, 7), "translate([3,4,-20])"},
		scadPair{drum(15, 40, 9), globe(20, 11), "translate([60,0,0])"})
}

// scad runs OpenSCAD over three solids side by side, 250 mm apart: both together, what
// they share, and the first without the second. It gives the mesh and what was said.
func scad(t *testing.T, program string, p scadPair) (*mesh.Mesh, string) {
	t.Helper()
	text := fmt.Sprintf("module a(){%s}\nmodule b(){%s %s}\nunion(){a();b();}\ntranslate([250,0,0]) intersection(){a();b();}\ntranslate([500,0,0]) difference(){a();b();}\n", p.a.scad, p.placed, p.b.scad)
	in, out := filepath.Join(t.TempDir(), "in.scad"), filepath.Join(t.TempDir(), "out.stl")
	if err := os.WriteFile(in, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	said, err := exec.CommandContext(t.Context(), program, "-o", out, "--export-format", "binstl", in).CombinedOutput()
	if err != nil {
		t.Fatalf("openscad: %v\n%s", err, said)
	}
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	file, err := meshfile.Read(data, meshfile.Options{Unit: 1}) // mm taken for m
	if err != nil {
		t.Fatal(err)
	}
	return file.Mesh, string(said)
}

// Random solids put together by OpenSCAD 2021.01 (Debian), which works in exact
// numbers and writes single precision. Its count of corners and of the volumes into
// which the surfaces part space (the outside is one) are what Examine must find; areas
// and volumes come by inclusion and exclusion from the two parts, worked by hand.
func TestSolidsFromOpenSCAD(t *testing.T) {
	program := tool(t, "openscad")
	said := func(text, name string) int {
		found := regexp.MustCompile(name + `: +([0-9]+)`).FindStringSubmatch(text)
		if found == nil {
			t.Fatalf("openscad does not say %s:\n%s", name, text)
		}
		n, _ := strconv.Atoi(found[1])
		return n
	}
	for i, p := range scadPairs() {
		m, text := scad(t, program, p)
		s := examine(t, m)
		if !strings.Contains(text, "Simple:        yes") {
			t.Fatalf("pair %d is no simple solid:\n%s", i, text)
		}
		same(t, fmt.Sprintf("pair %d: closed", i), s.Enclosed, mesh.ByEdges)
		same(t, fmt.Sprintf("pair %d: branching", i), s.Branching, 0)
		same(t, fmt.Sprintf("pair %d: parts", i), len(s.Components), said(text, "Volumes")-1)
		same(t, fmt.Sprintf("pair %d: corners", i), len(s.Mesh.Vertices), said(text, "Vertices"))
		p.inclusionAndExclusion(t, i, s.Mesh)
	}
}

// inclusionAndExclusion holds both together and what they share to the sum of the two,
// in volume, in surface and in corners less edges plus faces (Euler: 2 for each convex
// body), and the rest of the first to what is left of it.
func (p scadPair) inclusionAndExclusion(t *testing.T, i int, m *mesh.Mesh) {
	t.Helper()
	var sums [3]mesh.Sum
	corners, half := map[uint32]bool{}, 0 // of the first two
	for f, face := range m.Faces {
		tri := m.Triangle(f)
		part := min(max(int(math.Round(tri[0][0]/250)), 0), 2)
		sums[part].Add(tri)
		if part < 2 {
			corners[face[0]], corners[face[1]], corners[face[2]] = true, true, true
			half++ // each face has half of three edges
		}
	}
	var volume [3]float64
	for k := range sums {
		volume[k], _ = sums[k].Volume()
	}
	areaA, volumeA := p.a.size()
	areaB, volumeB := p.b.size()
	near(t, fmt.Sprintf("pair %d: volume of both and what they share", i), volume[0]+volume[1], volumeA+volumeB, 2e-6)
	near(t, fmt.Sprintf("pair %d: surface of both and what they share", i), sums[0].Area+sums[1].Area, areaA+areaB, 2e-6)
	near(t, fmt.Sprintf("pair %d: volume of the first", i), volume[1]+volume[2], volumeA, 2e-6)
	same(t, fmt.Sprintf("pair %d: Euler's number", i), len(corners)-half/2, 4)
}
