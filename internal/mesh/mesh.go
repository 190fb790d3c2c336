// Package mesh measures a surface of triangles: a scanned maquette or a digital
// sculpt. Triangles flow in from a reader through a Builder; out flow its area,
// volume, rim, boxes, silhouettes, zones and what a studio should know before it
// trusts them.
//
// Lengths are in metres, areas in m2, volumes in m3. Axes are the file's own; up
// is z unless a function says otherwise.
package mesh

// Point is a place in space: x, y and z in metres.
type Point [3]float64

// Triangle is three corners, anticlockwise seen from outside.
type Triangle [3]Point

// Mesh is a surface of triangles that share their corners.
type Mesh struct {
	// Vertices are the corners, in the order in which they first appeared.
	Vertices []Point
	// Faces are three indices into Vertices each, anticlockwise seen from outside
	// where the file is wound right. A face may use a vertex twice.
	Faces [][3]uint32
	// Runs say which zone the faces belong to; empty where the file names none.
	Runs []Run

	lent bool // Faces are another mesh's, not to be changed
}

// Run is a stretch of faces of one zone (a material, a colour, a named solid): from
// First to the next run's First. A zone may have several runs.
type Run struct {
	Zone  string
	First int
}

// Triangle returns the corners of one face.
func (m *Mesh) Triangle(face int) Triangle {
	f := m.Faces[face]
	return Triangle{m.Vertices[f[0]], m.Vertices[f[1]], m.Vertices[f[2]]}
}
