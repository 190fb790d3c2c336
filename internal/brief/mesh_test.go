package brief_test

import (
	"testing"

	"github.com/mouldwright/mouldwright/internal/brief"
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
	kept := func(name string) (*maquette.Maquette, string) {
		if name == "meshes/box" {
			return model, "sum"
		}
		return nil, ""
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
