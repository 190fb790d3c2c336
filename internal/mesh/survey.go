package mesh

import (
	"fmt"
	"strings"
)

// Survey is what is known of a mesh after it has been cleaned, welded and turned
// right side out.
type Survey struct {
	// Mesh is what was measured: duplicates and faces without area dropped, welded,
	// every closed component wound outward, voids inward.
	Mesh *Mesh
	// Area is that of every face of Mesh, m2, inner skins included.
	Area float64
	// Skin is the area to mould, m2: outer components only.
	Skin float64
	// Volume is the material enclosed, m3: outer components less their voids. It
	// means something only where Enclosed is not Open.
	Volume float64
	// Envelope is the volume of the outer components, m3: the foam of a pattern.
	Envelope float64
	// Capped is what Volume would be, m3, were every loop closed by a fan of triangles to
	// its middle: flat where the loop is. Equal to Volume where nothing is open; otherwise
	// an assumption to be stated beside the figure.
	Capped float64
	// SmoothSkin is Skin after one light smoothing, m2: the noise of a scan makes Skin
	// read high. It is the one to price where the two differ by more than 2 %, which the
	// warning Rough says. Where few edges are folded enough for that, it is Skin.
	SmoothSkin float64
	// Enclosed says on what grounds the mesh has a volume.
	Enclosed Enclosed
	// VectorArea is the length of the sum of the faces' area vectors, m2: zero where
	// nothing is open.
	VectorArea float64
	// Low and High are the corners of the box along the axes, m.
	Low, High Point
	// Edges counts the edges; Branching those that more than two faces share.
	Edges, Branching int
	// Components are joined through edges that two faces share.
	Components []Component
	// Loops are the borders, longest first.
	Loops []Loop
	// Border is the length of all edges that one face alone has, m; Rim is that of
	// the loops that enclose something, m: the edge to trim.
	Border, Rim float64
	// Weld says how the corners were joined.
	Weld Weld
	// Zones are the areas of the outer skins by name, in the order of their first faces;
	// Seams the lengths along which two zones meet there.
	Zones []ZoneArea
	Seams []Seam
	// Warnings are what the caller should know.
	Warnings []Warning

	outer *Mesh
}

// Enclosed says on what grounds a mesh has a volume.
type Enclosed int

// The grounds.
const (
	Open       Enclosed = iota // no volume without a cap
	ByEdges                    // every edge joins two faces
	ByGeometry                 // the faces close up, though some edges do not join
)

// String returns the grounds in words.
func (e Enclosed) String() string {
	return [...]string{"open", "closed", "closed by geometry"}[e]
}

// Component is a part of the surface that hangs together.
type Component struct {
	Faces  int
	Area   float64 // m2
	Volume float64 // m3, signed as most of its faces are wound in the file; 0 where it is open
	Closed bool    // by edges or by geometry
	Depth  int     // how many other closed components hold it; 0 for an outer skin
}

// Loop is a closed line of border edges.
type Loop struct {
	Points []Point
	Length float64 // m
	Area   float64 // m2 that it encloses (length of its vector area)
}

// Weld is how corners were joined.
type Weld struct {
	Tolerance float64 // m; 0 where equal corners alone were joined
	Merged    int     // vertices that joined another
	Collapsed int     // faces that lost their area by it
}

// ZoneArea is the area of one zone.
type ZoneArea struct {
	Zone string
	Area float64 // m2
}

// Seam is where two zones meet.
type Seam struct {
	A, B   string // in alphabetical order
	Length float64
}

// Warning is something that the caller should know of a mesh that was taken.
type Warning struct {
	Code string // from the list in codes.go
	Says string // in words, with the figures, at the mesh's own size

	length float64 // m, that stands in Says; 0 where none does
}

// At is the warning of a piece that is so many times the size of the mesh.
func (w Warning) At(scale float64) Warning {
	if w.length > 0 {
		w.Says = strings.Replace(w.Says, toldLength(w.length), toldLength(w.length*scale), 1)
		w.length *= scale
	}
	return w
}

// toldLength writes a length in metres, or in millimetres where it is short.
func toldLength(m float64) string {
	if m < 0.1 {
		return fmt.Sprintf("%.3g mm", 1000*m)
	}
	return fmt.Sprintf("%.3f m", m)
}

// Examine cleans a mesh, welds it where that closes it, turns it right side out and
// measures it. Faces without area and faces that stand there twice are dropped; parts
// hang together through edges that two faces share; at an edge of four or more faces
// those with material between them belong together. The mesh given stays as it is,
// but the one in the survey may share its vertices, faces and runs: change neither.
//
// The errors are ErrEmpty and those that tell of coordinates beyond MostReach, or of
// faces whose corners do not exist.
func Examine(m *Mesh) (*Survey, error) {
	if err := check(m); err != nil {
		return nil, err
	}
	s := &Survey{}
	t, err := s.topology(m)
	if err != nil {
		return nil, err
	}
	s.Edges, s.Branching = t.edges, t.branching
	g := newGrounds(t)
	s.wind(g)
	s.borders(g)
	zoning := t.zoning()
	var smoothed []float64
	if rough := g.rough(); rough != nil {
		smoothed = g.smoothed(rough)
	}
	t.order, t.first, t.border = nil, nil, nil
	s.nest(g)
	s.zones(g, zoning)
	s.outward(t)
	s.total(g)
	s.smooth(smoothed)
	return s, nil
}

func (s *Survey) warn(code, format string, args ...any) {
	s.Warnings = append(s.Warnings, Warning{Code: code, Says: fmt.Sprintf(format, args...)})
}

// warnOf warns of something with a length, m, which stands in place of the only %s.
func (s *Survey) warnOf(code string, length float64, format string, args ...any) {
	s.Warnings = append(s.Warnings, Warning{Code: code, Says: fmt.Sprintf(format, append(args, toldLength(length))...), length: length})
}

// topology cleans and welds a mesh.
func (s *Survey) topology(m *Mesh) (*topology, error) {
	clean, flat := m.cleaned()
	if len(clean.Faces) == 0 {
		return nil, ErrEmpty
	}
	t, twins := joinOnce(clean)
	if flat > 0 {
		s.warn(Degenerate, "%d of %d faces have no area: dropped", flat, len(m.Faces))
	}
	if twins > 0 {
		s.warn(DuplicateFaces, "%d of %d faces stand there twice: dropped", twins, len(m.Faces))
		t.mesh.compact()
	}
	t, s.Weld = weld(t)
	if s.Weld.Tolerance > 0 {
		s.warnOf(Welded, s.Weld.Tolerance, "%d corners that nearly met were joined, %d faces lost their area by it: nearer than %s",
			s.Weld.Merged, s.Weld.Collapsed)
	}
	s.Mesh = t.mesh
	return t, nil
}
