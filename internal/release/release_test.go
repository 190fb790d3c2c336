package release_test

import (
	"fmt"
	"math"
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

// A ball is parted along a great circle, 2 pi r (elementary). What another program of
// the same method measured with 10 passes of smoothing bounds the error: 1.0009 times
// for a clean ball and 1.0017 with noise of 0.1 % of the radius. With 0.3 % the noise
// shadows enough of the ball for a third piece to be suggested, and no such line is left.
func TestABallIsPartedAlongAGreatCircle(t *testing.T) {
	for _, row := range []struct{ noise, within float64 }{{0, 0.002}, {0.001, 0.004}} {
		m := meshtest.Icosphere(1, 5)
		if row.noise > 0 {
			m = meshtest.Noisy(m, row.noise, 3)
		}
		s := studyOf(t, m)
		for _, d := range []release.Direction{{0, 0, 1}, {1, 0, 0}, {0, 1, 0}, {0.6, 0, 0.8}} {
			split, err := s.Split(release.NoDraft, d, release.Direction{-d[0], -d[1], -d[2]})
			if err != nil {
				t.Fatal(err)
			}
			if split.Pieces != 2 {
				t.Fatalf("noise %v, pulled %v: %d pieces", row.noise, d, split.Pieces)
			}
			if off := split.Parting/(2*math.Pi) - 1; math.Abs(off) > row.within {
				t.Errorf("noise %v, pulled %v: parting line %.5f of the great circle", row.noise, d, 1+off)
			}
		}
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
