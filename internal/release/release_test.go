package release_test

import (
	"fmt"
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/release"
)

func studyOf(t testing.TB, m *mesh.Mesh) *release.Study {
	t.Helper()
	s, err := release.NewStudy(m, release.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func reach(t testing.TB, s *release.Study, ds ...release.Direction) float64 {
	t.Helper()
	a, err := s.Reach(release.NoDraft, ds...)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Worked by hand from plane faces, or exact for the mesh: values.json beside the meshes,
// "release"; what is sampled passes within 0.5 % of the area, or 1 % for an undercut.
func TestReachedAreasWorkedByHand(t *testing.T) {
	up, down := release.Direction{0, 0, 1}, release.Direction{0, 0, -1}
	right, left := release.Direction{1, 0, 0}, release.Direction{-1, 0, 0}
	front, back := release.Direction{0, -1, 0}, release.Direction{0, 1, 0}
	for _, row := range []struct {
		file    string
		pulls   []release.Direction
		reached float64 // in the file's units, squared
		within  float64 // of the area
	}{
		{"p06_undercut_hook.stl", []release.Direction{up}, 57800, 0.005},
		{"p06_undercut_hook.stl", []release.Direction{up, down}, 100800 - 23000, 0.0023},
		{"p06_undercut_hook.stl", []release.Direction{right, left}, 100800, 0.005},
		{"p06_undercut_hook.stl", []release.Direction{front, back}, 100800, 0.005},
		// values.json has 48595.886, which leaves out the cap's lowest row: 2217.285 of
		// upright faces whose n.d is nothing but rounding. At zero draft they come off.
		{"p01_dome_stem.stl", []release.Direction{up}, 48595.886 + 2217.285, 0.005},
		{"p01_dome_stem.stl", []release.Direction{down}, 57733.259, 0.005},
		{"p01_dome_stem.stl", []release.Direction{up, down}, 106329.145, 0.005},
		{"p11_stepped_mound.stl", []release.Direction{up}, 410000, 0.005},
		{"p11_stepped_mound.stl", []release.Direction{up, down}, 530000, 0.005},
		{"p03_half_relief_open.stl", []release.Direction{up}, 92075.882, 0.005},
	} {
		s := studyOf(t, public(t, row.file))
		if got := reach(t, s, row.pulls...); math.Abs(got-row.reached) > row.within*s.Area() {
			t.Errorf("%s %v: reaches %.1f, by hand %.1f", row.file, row.pulls, got, row.reached)
		}
	}
}

// Least pieces at zero draft: values.json. With 2 degrees: 3 for the relief and 4 for
// the column, and 4 at zero draft for the ring, whose best pair reaches 93.5 %
// (measured by another program of the same method, so within one piece and 1 %).
func TestSuggestedPieces(t *testing.T) {
	for _, row := range []struct {
		file   string
		draft  release.Draft
		pieces int
		within int
	}{
		{"p01_dome_stem.stl", release.NoDraft, 2, 0},
		{"p06_undercut_hook.stl", release.NoDraft, 2, 0},
		{"p03_half_relief_open.stl", release.NoDraft, 1, 0},
		{"p03_half_relief_open.stl", release.TwoDegrees, 3, 1},
		{"p02_fluted_column.stl", release.TwoDegrees, 4, 1},
		{"p04_twisted_torus.stl", release.NoDraft, 4, 1},
	} {
		s, err := studyOf(t, public(t, row.file)).Split(row.draft)
		if err != nil {
			t.Fatal(err)
		}
		if d := s.Pieces - row.pieces; d > row.within || d < -row.within || s.Locked > 0 {
			t.Errorf("%s: %d pieces, %v locked; %d suggested elsewhere", row.file, s.Pieces, s.Locked, row.pieces)
		}
		if row.file == "p04_twisted_torus.stl" {
			if share := s.BestPair.Reaches / studyOf(t, public(t, row.file)).Area(); math.Abs(share-0.935) > 0.01 {
				t.Errorf("the best pair reaches %.4f of the ring, 0.935 elsewhere", share)
			}
		}
	}
}

// The line along which a ball is parted: a great circle, 2 pi r (elementary). What another
// program of the same method measured with 10 passes of smoothing bounds the error: 1.0009
// times for a clean ball of 20,480 triangles, 1.0017 with noise of 0.1 % of the radius,
// 1.011 with 0.3 % and 1.11 with 1 %; the last two with 5 passes. The clean ball of 5,120
// and noise along the surface as well were not measured there: bounds of our own.
func TestABallIsPartedAlongAGreatCircle(t *testing.T) {
	for _, row := range []struct {
		level  int
		noise  float64
		along  bool // the surface, not only off it
		within float64
	}{
		{5, 0, false, 0.0009},
		{4, 0, false, 0.002},
		{5, 0.001, false, 0.0017},
		{5, 0.001, true, 0.004},
		{5, 0.003, false, 0.011},
		{5, 0.003, true, 0.011},
		{6, 0.003, false, 0.011},
		{4, 0.01, false, 0.11},
		{5, 0.01, false, 0.11},
		{5, 0.01, true, 0.11},
	} {
		for seed := range seeds(row.noise, row.along) {
			name := fmt.Sprintf("level %d, noise %v, along %v, seed %d", row.level, row.noise, row.along, seed)
			s := studyOf(t, scanned(meshtest.Icosphere(1, row.level), row.noise, row.along, seed))
			free, err := s.Split(release.NoDraft)
			if err != nil || free.Pieces != 2 || free.Locked != 0 {
				t.Errorf("%s: %d pieces suggested, %v locked (%v)", name, free.Pieces, free.Locked, err)
			}
			for _, d := range []release.Direction{{0, 0, 1}, {1, 0, 0}, {0, 1, 0}, {0.6, 0, 0.8}} {
				if off := parted(t, s, d, release.Direction{-d[0], -d[1], -d[2]})/(2*math.Pi) - 1; math.Abs(off) > row.within {
					t.Errorf("%s, pulled %v: parting line %.5f of the great circle", name, d, 1+off)
				}
			}
		}
	}
}

// seeds is of how many scans a row is tried.
func seeds(noise float64, along bool) uint64 {
	if noise < 0.003 || along || testing.Short() {
		return 1
	}
	return 3
}

// scanned is a mesh with noise: of a share of the distance from the origin, or of each
// coordinate.
func scanned(m *mesh.Mesh, noise float64, along bool, seed uint64) *mesh.Mesh {
	if noise == 0 {
		return m
	}
	if along {
		return meshtest.Noisy(m, noise, seed)
	}
	random, out := meshtest.Random(seed), meshtest.Moved(m, meshtest.About(mesh.Point{0, 0, 1}, 0), mesh.Point{})
	for i := range out.Vertices {
		k := 1 + noise*random.Normal()
		for axis := range out.Vertices[i] {
			out.Vertices[i][axis] *= k
		}
	}
	return out
}

// parted is the parting line of a mould with these pulls and no others.
func parted(t testing.TB, s *release.Study, ds ...release.Direction) float64 {
	t.Helper()
	split, err := s.Split(release.NoDraft, ds...)
	if err != nil {
		t.Fatal(err)
	}
	if split.Pieces != len(ds) {
		t.Fatalf("%d pieces for pulls %v", split.Pieces, ds)
	}
	return split.Parting
}

// Three pulls 120 degrees apart part a ball along three half great circles, from pole to
// pole: where n.a = n.b stands square to a - b, and n.c is less than both on one half of
// it. 3 pi r in all (elementary).
func TestThreePullsPartABallAlongThreeMeridians(t *testing.T) {
	c, s := math.Cos(2*math.Pi/3), math.Sin(2*math.Pi/3)
	for _, noise := range []float64{0, 0.003, 0.01} {
		study := studyOf(t, scanned(meshtest.Icosphere(1, 5), noise, false, 4))
		for _, ds := range [][]release.Direction{
			{{1, 0, 0}, {c, s, 0}, {c, -s, 0}},
			{{0, 0, 1}, {s, 0, c}, {-s, 0, c}},
			{{0.6, 0, 0.8}, {c * 0.6, s, c * 0.8}, {c * 0.6, -s, c * 0.8}},
		} {
			if off := parted(t, study, ds...)/(3*math.Pi) - 1; math.Abs(off) > 0.02 {
				t.Errorf("noise %v, pulls %v: parting line %.4f of three meridians", noise, ds, 1+off)
			}
		}
	}
}

// A groove, open at both ends, in the side of a cube of 1 m: what pulls up and down leave,
// its floor and its two sides, is worked by hand. Grain does not hide it, and asks for no further pieces: two pull along it.
func TestAGrooveInAScanIsStillThere(t *testing.T) {
	const n, deep, high = 48, 3, 6
	clean := carved(n, func(c [3]int) bool { return c[0] >= n-deep && c[2] >= 21 && c[2] < 21+high })
	exact := float64(2*deep+high) / n
	for _, noise := range []float64{0, 0.001, 0.003, 0.006} {
		s := studyOf(t, scanned(clean, noise, true, 5))
		left := s.Area() - reach(t, s, release.Direction{0, 0, 1}, release.Direction{0, 0, -1})
		if math.Abs(left/exact-1) > 0.03 {
			t.Errorf("noise %v: %.5f m2 out of reach, by hand %.5f", noise, left, exact)
		}
		split, err := s.Split(release.NoDraft)
		if err != nil || split.Pieces != 2 || split.Locked != 0 {
			t.Errorf("noise %v: %d pieces, %v locked (%v)", noise, split.Pieces, split.Locked, err)
		}
	}
}

// A slot under a narrower mouth, closed at both ends: no straight pull reaches its roof, its
// long sides, strips of its floor and parts of its ends, 2,176 squares of the grid, worked by
// hand for pulls every way. The studied directions reach less, by up to 8 %, and a scan as
// much of it as the clean cube.
func TestALockedSlotInAScanIsStillLocked(t *testing.T) {
	const n = 48
	clean := carved(n, func(c [3]int) bool {
		x, y, z := c[0], c[1], c[2]
		mouth, below := z >= 40 && x >= 20 && x < 28, z >= 32 && z < 40 && x >= 8 && x < 40
		return y >= 4 && y < 44 && (mouth || below)
	})
	want := 0.0
	for _, noise := range []float64{0, 0.001, 0.003, 0.006} {
		s, err := studyOf(t, scanned(clean, noise, true, 6)).Split(release.NoDraft)
		if err != nil {
			t.Fatal(err)
		}
		if noise == 0 {
			want = s.Locked
			if hand := 2176.0 / n / n; want < hand || want > 1.08*hand {
				t.Errorf("clean: %v m2 locked, by hand %v", want, hand)
			}
		}
		if math.Abs(s.Locked/want-1) > 0.03 {
			t.Errorf("noise %v: %v m2 locked, %v without", noise, s.Locked, want)
		}
	}
}

// A cube pulled two ways is parted along the four edges of a side, 4 m, and not along the
// bumps of its walls. A corner, where folds meet, keeps its grain, and one that stands out
// four times as far as most may turn the wall beside it: the worst of these scans reads
// 5.9 % high.
func TestAScannedCubeIsPartedAlongItsEdges(t *testing.T) {
	cube := carved(48, func([3]int) bool { return false })
	for _, row := range []struct {
		noise, within float64
		seed          uint64
	}{{0, 1e-9, 0}, {0.001, 0.02, 1}, {0.003, 0.02, 1}, {0.003, 0.02, 2}, {0.003, 0.07, 7}} {
		s, err := release.NewStudy(scanned(cube, row.noise, true, row.seed), release.Options{Pairs: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range []release.Direction{{0, 0, 1}, {1, 0, 0}, {0, -1, 0}} {
			if line := parted(t, s, d, release.Direction{-d[0], -d[1], -d[2]}); math.Abs(line/4-1) > row.within {
				t.Errorf("noise %v, seed %d, pulled %v: parting line %v m, want 4", row.noise, row.seed, d, line)
			}
		}
	}
}

// Shapes with folds, pleats and uneven faces are as they were meant.
func TestOnlyGrainIsSmoothed(t *testing.T) {
	uneven := meshtest.Noisy(meshtest.Icosphere(1, 3), 0.04, 1) // moved along the ball only
	for i, p := range uneven.Vertices {
		l := math.Sqrt(p[0]*p[0] + p[1]*p[1] + p[2]*p[2])
		uneven.Vertices[i] = mesh.Point{p[0] / l, p[1] / l, p[2] / l}
	}
	cube := carved(48, func([3]int) bool { return false })
	grainy := meshtest.Noisy(meshtest.Icosphere(1, 5), 0.003, 1)
	for name, row := range map[string]struct {
		mesh     *mesh.Mesh
		smoothed bool
	}{
		"uneven ball": {uneven, false}, "coarse ball": {meshtest.Icosphere(1, 3), false}, "hare": {meshtest.Hare(), false},
		"twisted ring": {public(t, "p04_twisted_torus.stl"), false}, "horn": {public(t, "p08a_horn_left.stl"), false},
		"relief": {public(t, "p03_half_relief_open.stl"), false}, "cube": {cube, false},
		"scanned ball": {grainy, true}, "scanned cube": {meshtest.Noisy(cube, 0.003, 1), true},
	} {
		s, err := release.NewStudy(row.mesh, release.Options{Pairs: 1, Samples: 1024, Pixels: 64})
		if err != nil || s.Smoothed() != row.smoothed {
			t.Errorf("%s: smoothed %v (%v)", name, s.Smoothed(), err)
		}
	}
	both, err := release.NewStudy(meshtest.Join(grainy, meshtest.Moved(cube, meshtest.About(mesh.Point{0, 0, 1}, 1), mesh.Point{3, 0, 0})), release.Options{})
	if area := 4*math.Pi + 6; err != nil || !both.Smoothed() || math.Abs(both.Area()/area-1) > 0.002 {
		t.Errorf("a scanned ball beside a clean cube: %v m2, want %v (%v)", both.Area(), area, err)
	}
}

// A vertex that no face has is not there.
func TestVerticesWithoutAFaceDoNotCount(t *testing.T) {
	ball := meshtest.Icosphere(1, 4)
	stray := &mesh.Mesh{Vertices: append([]mesh.Point{{900, -700, 500}}, ball.Vertices...)}
	for _, f := range ball.Faces {
		stray.Faces = append(stray.Faces, [3]uint32{f[0] + 1, f[1] + 1, f[2] + 1})
	}
	want, err := studyOf(t, ball).Split(release.TwoDegrees)
	if err != nil {
		t.Fatal(err)
	}
	got, err := studyOf(t, stray).Split(release.TwoDegrees)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("with a stray vertex: %d pieces, parting line %v; without: %d and %v (%v)", got.Pieces, got.Parting, want.Pieces, want.Parting, err)
	}
}

// Convex solids come out of a mould in two (elementary), and nothing is locked.
func TestConvexSolidsTakeTwoPieces(t *testing.T) {
	for name, m := range map[string]*mesh.Mesh{
		"ball": meshtest.Icosphere(1, 4), "box": meshtest.Box(1, 2, 3), "turned box": meshtest.Moved(meshtest.Box(1, 2, 3), meshtest.About(mesh.Point{1, 2, 3}, 0.7), mesh.Point{}),
	} {
		s, err := studyOf(t, m).Split(release.NoDraft)
		if err != nil || s.Pieces != 2 || s.Locked != 0 || s.LockedPatches != 0 {
			t.Errorf("%s: %d pieces, %v locked in %d places (%v)", name, s.Pieces, s.Locked, s.LockedPatches, err)
		}
	}
}

// A hollow with no way in from outside is locked.
func TestWhatNothingReachesIsLocked(t *testing.T) {
	m := meshtest.Join(meshtest.Icosphere(1, 4), meshtest.Flipped(meshtest.Icosphere(0.5, 4)))
	s, err := studyOf(t, m).Split(release.NoDraft)
	if err != nil {
		t.Fatal(err)
	}
	if inner := math.Pi; math.Abs(s.Locked-inner) > 0.02*inner || s.LockedPatches != 1 {
		t.Errorf("%v m2 locked in %d places, want about %v in one", s.Locked, s.LockedPatches, inner)
	}
}

// Areas go with the square of the scale and lines with the scale; more draft reaches
// no more, and a further pull no less.
func TestLaws(t *testing.T) {
	horn := meshtest.Scaled(public(t, "p08a_horn_left.stl"), 0.01, 0.01, 0.01)
	s := studyOf(t, horn)
	one, err := s.Split(release.TwoDegrees)
	if err != nil {
		t.Fatal(err)
	}
	k := 8.0
	big, err := studyOf(t, meshtest.Scaled(horn, k, k, k)).Split(release.TwoDegrees)
	if err != nil {
		t.Fatal(err)
	}
	if big.Pieces != one.Pieces || math.Abs(big.Parting-k*one.Parting) > 1e-9*big.Parting {
		t.Errorf("at %v times: %d pieces and %v m, at once: %d and %v", k, big.Pieces, big.Parting, one.Pieces, one.Parting)
	}
	rapid.Check(t, func(t *rapid.T) {
		ds := rapid.SliceOfN(rapid.Custom(anyDirection), 1, 3).Draw(t, "pulls")
		strict, err := s.Reach(release.TwoDegrees, ds...)
		if err != nil {
			t.Fatal(err)
		}
		loose, _ := s.Reach(release.NoDraft, ds...)
		fewer, _ := s.Reach(release.NoDraft, ds[1:]...)
		if strict > loose || fewer > loose || loose > s.Area()*(1+1e-9) {
			t.Fatalf("with draft %v, without %v, of fewer pulls %v, of %v", strict, loose, fewer, s.Area())
		}
	})
}

func anyDirection(t *rapid.T) release.Direction {
	z, a := rapid.Float64Range(-1, 1).Draw(t, "z"), rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn")
	r := math.Sqrt(1 - z*z)
	return release.Direction{r * math.Cos(a), r * math.Sin(a), z}
}

func TestWhatIsRefused(t *testing.T) {
	if _, err := release.NewStudy(&mesh.Mesh{}, release.Options{}); err == nil {
		t.Error("a mesh of nothing is studied")
	}
	if _, err := release.NewStudy(meshtest.Box(1, 1, 1), release.Options{Pixels: 7}); err == nil {
		t.Error("seven pixels are taken")
	}
	s := studyOf(t, meshtest.Box(1, 1, 1))
	if _, err := s.Split(release.NoDraft, release.Direction{1, 1, 1}); err == nil {
		t.Error("a direction that is no unit vector is taken")
	}
	if _, err := s.Split(release.Draft(5)); err == nil {
		t.Error("an unknown draft is taken")
	}
}

// A ball comes out of a mould in two halves.
func ExampleStudy_Split() {
	s, err := release.NewStudy(meshtest.Icosphere(0.5, 3), release.Options{})
	if err != nil {
		panic(err)
	}
	split, err := s.Split(release.NoDraft)
	if err != nil {
		panic(err)
	}
	fmt.Printf("%d pieces, parting line %.1f m\n", split.Pieces, split.Parting)
	// Output: 2 pieces, parting line 3.1 m
}

func BenchmarkStudy(b *testing.B) {
	for _, level := range []int{4, 7} { // 5,120 and 327,680 faces
		m := meshtest.Icosphere(1, level)
		b.Run(fmt.Sprintf("%d-faces", len(m.Faces)), func(b *testing.B) {
			for b.Loop() {
				studyOf(b, m)
			}
		})
	}
	m := meshtest.Torus(1, 0.3, 500, 200)
	b.Run(fmt.Sprintf("%d-faces", len(m.Faces)), func(b *testing.B) {
		for b.Loop() {
			studyOf(b, m)
		}
	})
}
