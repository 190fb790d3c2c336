package release_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/mouldwright/mouldwright/internal/release"
)

func TestLook(t *testing.T) {
	for _, name := range []string{"p01_dome_stem.stl", "p02_fluted_column.stl", "p03_half_relief_open.stl", "p04_twisted_torus.stl", "p05_thin_fin.stl", "p06_undercut_hook.stl", "p07_two_part.stl", "p08a_horn_left.stl", "p10_rot_box.stl", "p11_stepped_mound.stl", "p12_hook_inside_out.stl"} {
		t0 := time.Now()
		s := must(release.NewStudy(public(t, name), release.Options{}))
		fmt.Println(name, s.Area(), time.Since(t0))
		{
			for axis := range 3 {
				var a, b release.Direction
				a[axis], b[axis] = 1, -1
				fmt.Print("  ", axis, " + ", must(s.Reach(0, a)), " - ", must(s.Reach(0, b)), " under ", s.Area()-must(s.Reach(0, a, b)))
			}
			fmt.Println()
		}
		for draft := range release.Draft(2) {
			t0 = time.Now()
			x := must(s.Split(draft))
			fmt.Printf("  draft %d: %d pieces locked %.4g patches %d left %.4g parting %.5g single %.4f opp %.4f pair %.4f %v\n", draft, x.Pieces, x.Locked/s.Area(), x.LockedPatches, x.Left/s.Area(), x.Parting, x.BestSingle.Reaches/s.Area(), x.BestOpposite.Reaches/s.Area(), x.BestPair.Reaches/s.Area(), time.Since(t0))
			for _, p := range x.Pulls {
				fmt.Printf("     %.3f reaches %.4f adds %.4f\n", p.Direction, p.Reaches/s.Area(), p.Adds/s.Area())
			}
		}
	}
}
