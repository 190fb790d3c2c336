package brief_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh/meshtest"
	"github.com/mouldwright/mouldwright/internal/ratebook/ratebooktest"
	"github.com/mouldwright/mouldwright/internal/release"
)

// A mesh that is not there, too large a scale, a pull that points nowhere, and more
// meshes with pulls than are looked into are named.
func TestFaultsOfMeshes(t *testing.T) {
	model, err := maquette.Study(meshtest.Box(0.2, 0.1, 0.3))
	if err != nil {
		t.Fatal(err)
	}
	kept := func(name string) (*maquette.Maquette, string, error) {
		if name == "meshes/box" {
			return model, "sum", nil
		}
		return nil, "", errors.New("which is not here")
	}
	up := []release.Direction{{0, 0, 1}}
	for name, row := range map[string]struct {
		meshes []brief.MeshForm
		path   string
	}{
		"sound":          {[]brief.MeshForm{{Name: "meshes/box", Scale: 5, Pulls: up}}, ""},
		"not there":      {[]brief.MeshForm{{Name: "meshes/cat", Scale: 5}}, "pieces[0].form.mesh.mesh"},
		"too large":      {[]brief.MeshForm{{Name: "meshes/box", Scale: 100}}, "pieces[0].form.mesh.scale"},
		"too small":      {[]brief.MeshForm{{Name: "meshes/box", Scale: 0.01}}, "pieces[0].form.mesh.scale"},
		"a pull nowhere": {[]brief.MeshForm{{Name: "meshes/box", Scale: 5, Pulls: []release.Direction{{}}}}, "pieces[0].form.mesh.pulls[0]"},
		"too many pulled": {[]brief.MeshForm{
			{Name: "meshes/box", Scale: 1, Pulls: up},
			{Name: "meshes/box", Scale: 2, Pulls: up},
			{Name: "meshes/box", Scale: 3, Pulls: up},
			{Name: "meshes/box", Scale: 4, Pulls: up},
			{Name: "meshes/box", Scale: 5, Pulls: up},
		}, "pieces"},
	} {
		t.Run(name, func(t *testing.T) {
			b := brief.Brief{Title: "t"}
			for i := range row.meshes {
				p := ball(string(rune('a' + i)))
				p.Form = brief.Form{Mesh: &row.meshes[i]}
				b.Pieces = append(b.Pieces, p)
			}
			b.Fit(kept)
			faults := b.Check(ratebooktest.Tiny(t))
			if len(faults) == 0 && row.path == "" {
				return
			}
			if len(faults) == 0 || faults[0].Path != row.path {
				t.Errorf("got %v, want one at %q", faults, row.path)
			}
		})
	}
}

// Why there is no mesh is in the words of who keeps the meshes; where nobody does there
// is none.
func TestWhyAMeshIsMissing(t *testing.T) {
	for name, row := range map[string]struct {
		kept brief.Meshes
		says string
	}{
		"kept nowhere": {nil, `got "meshes/cat", and there are no meshes here; allowed: another form`},
		"not kept":     {func(string) (*maquette.Maquette, string, error) { return nil, "", errors.New("allowed: dogs") }, `got "meshes/cat", allowed: dogs`},
	} {
		p := ball("a")
		p.Form = brief.Form{Mesh: &brief.MeshForm{Name: "meshes/cat", Scale: 5}}
		b := brief.Brief{Title: "t", Pieces: []brief.Piece{p}}
		b.Fit(row.kept)
		if got := b.Check(ratebooktest.Tiny(t)); len(got) != 1 || got[0].Path != "pieces[0].form.mesh.mesh" || got[0].Message != row.says {
			t.Errorf("%s: got %v", name, got)
		}
	}
}

// A number that is no scale is named once, and so is a scale by which the piece is too
// small, too large, or next to nothing.
func TestAScaleIsNamedOnce(t *testing.T) {
	model, err := maquette.Study(meshtest.Box(0.2, 0.1, 0.3))
	if err != nil {
		t.Fatal(err)
	}
	needle, err := maquette.Study(meshtest.Box(1e-5, 1e-5, 0.3))
	if err != nil {
		t.Fatal(err)
	}
	kept := func(name string) (*maquette.Maquette, string, error) {
		return map[string]*maquette.Maquette{"meshes/box": model, "meshes/needle": needle}[name], "sum", nil
	}
	for name, row := range map[string]struct {
		mesh  string
		scale float64
		says  string
	}{
		"none":     {"box", 0, "allowed: above 0"},
		"negative": {"box", -1, "allowed: above 0"},
		"no limit": {"box", 20_000, "at most 10000"},
		"vast":     {"box", 9_000, "which makes it 2.7e+06 mm long"},
		"a needle": {"needle", 1, "allowed: at least 0.0001 m2"},
	} {
		p := ball("a")
		p.Form = brief.Form{Mesh: &brief.MeshForm{Name: "meshes/" + row.mesh, Scale: row.scale}}
		b := brief.Brief{Title: "t", Pieces: []brief.Piece{p}}
		b.Fit(kept)
		got := b.Check(ratebooktest.Tiny(t))
		if len(got) != 1 || got[0].Path != "pieces[0].form.mesh.scale" || !strings.Contains(got[0].Message, row.says) {
			t.Errorf("%s: got %v", name, got)
		}
	}
}

// A box of 0.2 x 0.1 x 0.3 m at five times its size is 1.5 m long: no size of 0.8 m each
// way holds it (its diagonal is 1.39 m), and one of 0.9 m does (1.56 m).
func TestASizeHoldsTheMesh(t *testing.T) {
	model, err := maquette.Study(meshtest.Box(0.2, 0.1, 0.3))
	if err != nil {
		t.Fatal(err)
	}
	for side, bad := range map[float64]bool{0.8: true, 0.9: false} {
		p := ball("a")
		p.Form = brief.Form{Mesh: &brief.MeshForm{Name: "meshes/box", Scale: 5, Model: model}}
		p.Size = &geometry.Extent{Width: side, Depth: side, Height: side}
		got := (&brief.Brief{Title: "t", Pieces: []brief.Piece{p}}).Check(ratebooktest.Tiny(t))
		if (len(got) > 0) != bad || bad && (got[0].Path != "pieces[0].overallSize" || !strings.Contains(got[0].Message, "1500 mm")) {
			t.Errorf("%v m each way: %v", side, got)
		}
	}
}

// Checking a brief takes no looking for moulds; pricing it does, for as many as are allowed.
func TestMouldsAreLookedForWhenAskedFor(t *testing.T) {
	model, err := maquette.Study(meshtest.Box(0.2, 0.1, 0.3))
	if err != nil {
		t.Fatal(err)
	}
	b := brief.Brief{Title: "t"}
	for i := range brief.MostForced + 1 {
		p := ball(string(rune('a' + i)))
		p.Form = brief.Form{Mesh: &brief.MeshForm{Name: "meshes/box", Scale: 5, Pulls: []release.Direction{{0, 0, 1}}}}
		b.Pieces = append(b.Pieces, p)
	}
	forced := func() (n int) {
		for i := range b.Pieces {
			if b.Pieces[i].Form.Mesh.Forced != nil {
				n++
			}
		}
		return n
	}
	b.Fit(func(string) (*maquette.Maquette, string, error) { return model, "sum", nil })
	if n := forced(); n != 0 {
		t.Errorf("fitting looked for %d moulds", n)
	}
	if b.Force(); forced() != brief.MostForced {
		t.Errorf("looked for %d moulds, want %d", forced(), brief.MostForced)
	}
}
