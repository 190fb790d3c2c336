package picture

import (
	"errors"
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// Locked is the label of a face that no mould piece releases.
const Locked = 255

// plain is the label of every face where the scene has no pieces.
const plain = 254

// Bounds of what is drawn.
const (
	// MostPieces is how many mould pieces a picture tells apart.
	MostPieces = 32
	// LeastWidth is the least width of a PNG, in pixels.
	LeastWidth = 320
	// MostWidth is the greatest.
	MostWidth = 4096
	// DefaultWidth is the width where none is asked for.
	DefaultWidth = 1600

	mostWords = 2000 // bytes of a title, a caption, or a piece's words
	mostReach = 1e5  // m from the origin
	leastSize = 1e-6 // m, the greatest of width, depth and height
)

// Scene is what a picture shows.
type Scene struct {
	// Mesh is the piece, in metres at full size, wound outward, up along z.
	Mesh *mesh.Mesh
	// Labels are the mould pieces of the faces: an index into Pieces, or Locked.
	// Nil where the piece has not been split.
	Labels []uint8
	// Pieces are words for each label, such as "piece 1, pulls up (+z)".
	Pieces []string
	// Title stands over the picture, Caption below the title, such as "Suggested
	// split, 2 degrees of draft". Both may be empty.
	Title, Caption string
}

// Options say how a scene is drawn.
type Options struct {
	// Width of a PNG in pixels, from LeastWidth to MostWidth; 0 is DefaultWidth.
	// Height is in the proportion of A4 across. An SVG is of A4's size and does not
	// ask.
	Width int
	// Views to draw, each once; none means all three.
	Views []View
}

// View is a direction from which the piece is seen.
type View int

// The views.
const (
	Front View = iota // along +y: x to the right, z up
	Side              // from +x: y to the right, z up
	Plan              // from above: x to the right, y up
)

// String returns the view's name as it is written under it.
func (v View) String() string {
	switch v {
	case Front:
		return "front"
	case Side:
		return "side, from +x"
	case Plan:
		return "plan"
	}
	return fmt.Sprintf("View(%d)", int(v))
}

// axes returns which axes point right, up, and toward the viewer, and the sign of
// the last.
func (v View) axes() (right, up, toward int, sign float64) {
	switch v {
	case Side:
		return 1, 2, 0, 1
	case Plan:
		return 0, 1, 2, 1
	default:
		return 0, 2, 1, -1
	}
}

// span is the box of the mesh along the axes, m.
type span struct{ low, high mesh.Point }

func (b span) size(axis int) float64 { return b.high[axis] - b.low[axis] }

// largest is the greatest of width, depth and height.
func (b span) largest() float64 { return max(b.size(0), b.size(1), b.size(2)) }

// bounds returns the box of the faces. Vertices that no face uses do not count.
func bounds(m *mesh.Mesh) (span, error) {
	b := span{
		mesh.Point{math.Inf(1), math.Inf(1), math.Inf(1)},
		mesh.Point{math.Inf(-1), math.Inf(-1), math.Inf(-1)},
	}
	for i, face := range m.Faces {
		for _, v := range face {
			if int64(v) >= int64(len(m.Vertices)) {
				return b, fmt.Errorf("face %d uses vertex %d; there are %d", i, v, len(m.Vertices))
			}
			if err := b.include(m.Vertices[v]); err != nil {
				return b, fmt.Errorf("face %d: %w", i, err)
			}
		}
	}
	return b, nil
}

func (b *span) include(p mesh.Point) error {
	for axis, c := range p {
		if !(math.Abs(c) <= mostReach) { // not a number is not within reach
			return fmt.Errorf("a coordinate is %g m; allowed: -%g to %g", c, mostReach, mostReach)
		}
		b.low[axis], b.high[axis] = min(b.low[axis], c), max(b.high[axis], c)
	}
	return nil
}

// check refuses a scene that cannot be drawn and returns its box.
func (s Scene) check() (span, error) {
	if s.Mesh == nil || len(s.Mesh.Faces) == 0 {
		return span{}, errors.New("the mesh is empty: a picture needs at least one face")
	}
	if err := s.checkWords(); err != nil {
		return span{}, err
	}
	if err := s.checkLabels(); err != nil {
		return span{}, err
	}
	box, err := bounds(s.Mesh)
	if err == nil && box.largest() < leastSize {
		err = fmt.Errorf("the mesh is %g m long; allowed: at least %g", box.largest(), leastSize)
	}
	return box, err
}

func (s Scene) checkWords() error {
	if len(s.Pieces) > MostPieces {
		return fmt.Errorf("%d mould pieces; allowed: at most %d", len(s.Pieces), MostPieces)
	}
	for _, words := range append([]string{s.Title, s.Caption}, s.Pieces...) {
		if len(words) > mostWords {
			return fmt.Errorf("a text has %d bytes; allowed: at most %d", len(words), mostWords)
		}
	}
	return nil
}

func (s Scene) checkLabels() error {
	if s.Labels != nil && len(s.Labels) != len(s.Mesh.Faces) {
		return fmt.Errorf("%d labels for %d faces; allowed: one for each, or none", len(s.Labels), len(s.Mesh.Faces))
	}
	for i, label := range s.Labels {
		if label != Locked && int(label) >= len(s.Pieces) {
			return fmt.Errorf("face %d is of piece %d; allowed: 0 to %d, or %d for locked", i, label, len(s.Pieces)-1, Locked)
		}
	}
	return nil
}

// label returns the label of a face.
func (s Scene) label(face int) uint8 {
	if s.Labels == nil {
		return plain
	}
	return s.Labels[face]
}

// locked reports whether a face is of no piece.
func (s Scene) locked() bool {
	for _, label := range s.Labels {
		if label == Locked {
			return true
		}
	}
	return false
}

// complete fills in the defaults and refuses what is not allowed.
func (o Options) complete() (Options, error) {
	if o.Width == 0 {
		o.Width = DefaultWidth
	}
	if o.Width < LeastWidth || o.Width > MostWidth {
		return o, fmt.Errorf("a width of %d pixels; allowed: %d to %d", o.Width, LeastWidth, MostWidth)
	}
	if len(o.Views) == 0 {
		o.Views = []View{Front, Side, Plan}
	}
	var seen [3]bool
	for _, v := range o.Views {
		if v < Front || v > Plan || seen[v] {
			return o, fmt.Errorf("views %v; allowed: front, side and plan, each once", o.Views)
		}
		seen[v] = true
	}
	return o, nil
}

// has reports whether a view is to be drawn.
func (o Options) has(v View) bool {
	for _, wanted := range o.Views {
		if wanted == v {
			return true
		}
	}
	return false
}
