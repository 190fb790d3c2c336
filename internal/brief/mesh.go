package brief

import (
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/release"
)

// MeshForm is an uploaded mesh at a scale.
type MeshForm struct {
	Name  string
	Scale float64 // of the piece over the mesh
	Pulls []release.Direction
	// Model is what is kept under the name, and Sum stands for its measures; nil and
	// empty until Fit found them, and after it where Missing says why there are none.
	Model   *maquette.Maquette
	Sum     string
	Missing error
	// Forced is the mould with the Pulls, nil without pulls and until Force looked for it.
	Forced *[2]release.Split
}

// Limits of the meshes of a brief, its options included: they bound the work.
const (
	MostForced    = 4         // meshes with pulls of their own
	MostMeshFaces = 4_000_000 // of all meshes, each as often as it is asked for
)

// Meshes finds what is kept under a mesh's name, and a sum that stands for its
// measures. Its error goes on a sentence, got "meshes/hare", with why there is none and
// what is allowed.
type Meshes func(name string) (model *maquette.Maquette, sum string, err error)

// Fit gives every mesh of the brief its model. Check then names those that have none.
func (b *Brief) Fit(meshes Meshes) {
	if meshes == nil {
		return
	}
	for m := range b.meshForms {
		m.Model, m.Sum, m.Missing = meshes(m.Name)
	}
}

// Force looks for the moulds of the meshes with pulls of their own, once for all routes
// and options. It is work for a brief that is priced: Check needs none of it.
func (b *Brief) Force() {
	forced := 0
	for m := range b.meshForms {
		if m.Model == nil || len(m.Pulls) == 0 || len(maquette.PullFaults(m.Pulls)) > 0 {
			continue
		}
		if forced++; forced <= MostForced { // Check refuses a brief with more
			m.Forced = m.Model.Forced(m.Pulls)
		}
	}
}

// meshes bounds what the meshes of a brief take.
func (c *checker) meshes(p fault.Path, b *Brief) {
	forced, faces := 0, 0
	for m := range b.meshForms {
		if len(m.Pulls) > 0 {
			forced++
		}
		if m.Model != nil {
			faces += len(m.Model.Skin().Faces)
		}
	}
	if forced > MostForced {
		c.faults.Add(p, "got %d meshes with pulls of their own, options included, allowed: at most %d", forced, MostForced)
	}
	if faces > MostMeshFaces {
		c.faults.Add(p, "got meshes of %d triangles in all, options included, allowed: at most %d in a brief", faces, MostMeshFaces)
	}
}

// MeshSums returns what stands for the measures of the brief's meshes, in its order.
func (b *Brief) MeshSums() []string {
	var sums []string
	for m := range b.meshForms {
		sums = append(sums, m.Sum)
	}
	return sums
}

// meshForms is every mesh that the brief and its options ask for.
func (b *Brief) meshForms(yield func(*MeshForm) bool) {
	lists := [][]Piece{b.Pieces}
	for i := range b.Options {
		lists = append(lists, b.Options[i].Pieces)
	}
	for _, pieces := range lists {
		for i := range pieces {
			if m := pieces[i].Form.Mesh; m != nil && !yield(m) {
				return
			}
		}
	}
}

// mesh checks an uploaded mesh at its scale.
func (c *checker) mesh(p fault.Path, m *MeshForm) {
	before := len(c.faults)
	c.above(p.Field("scale"), m.Scale, 10_000, "times")
	sound := len(c.faults) == before
	for _, f := range maquette.PullFaults(m.Pulls) {
		c.faults.Add(p.Field(f.Path), "%s", f.Message)
	}
	switch {
	case m.Missing != nil:
		c.faults.Add(p.Field("mesh"), "got %q, %v", m.Name, m.Missing)
	case m.Model == nil:
		c.faults.Add(p.Field("mesh"), "got %q, and there are no meshes here; allowed: another form", m.Name)
	case sound:
		c.meshSize(p.Field("scale"), m)
	}
}

// meshSize checks what a sound scale makes of a mesh.
func (c *checker) meshSize(p fault.Path, m *MeshForm) {
	x, surface := m.Extent(), m.Model.Surface()*m.Scale*m.Scale
	longest := max(x.Width, x.Depth, x.Height)
	switch {
	case longest > mostLength || longest < leastLength:
		c.faults.Add(p, "got %.10g, which makes it %.4g mm long, allowed: %g to %g mm", m.Scale, 1000*longest, 1000*leastLength, 1000*mostLength)
	case surface > MostSurface:
		c.faults.Add(p, "got %.10g, which makes a surface of %.0f m2, allowed: at most %d m2 a cast", m.Scale, surface, MostSurface)
	case surface < leastSurface:
		c.faults.Add(p, "got %.10g, which makes a surface of %.4g m2, allowed: at least %g m2 a cast", m.Scale, surface, leastSurface)
	}
}

// The longest side of a piece made from a mesh, in m.
const (
	leastLength = 0.01
	mostLength  = 20.0
)

// Extent returns the size of the piece as the mesh stands.
func (m *MeshForm) Extent() geometry.Extent {
	x := m.Model.Extent()
	return geometry.Extent{Width: x.Width * m.Scale, Depth: x.Depth * m.Scale, Height: x.Height * m.Scale}
}

// meshArea checks that the piece's mesh has such an area.
func (c *checker) meshArea(p fault.Path, b *Piece, name string) {
	m := b.Form.Mesh
	switch {
	case m == nil:
		c.faults.Add(p, "got %q, and the form is no mesh; allowed with a mesh that has materials, colours or named solids", name)
	case m.Model == nil: // named already
	default:
		if _, ok := m.Model.Zone(name); !ok {
			c.faults.Add(p.Field("name"), "got %q, which the mesh has no area of; %s", name, fault.Allowed(name, m.Model.Zones()))
		}
	}
}
