// Package release suggests into how many pieces a mould must come apart so that
// each can be pulled straight off, and how long the line is along which they meet.
//
// It counts area and not faces: on a scan some face always looks the wrong way. A
// Study takes samples of equal area on the surface, and for each of many directions
// finds with a depth buffer which of them nothing shadows and which have draft
// enough. A Split then covers the samples with as few directions as it finds.
//
// The answer is a suggestion and never a proof: directions are tried and not
// solved for, covering is greedy beyond two pieces, and pieces that come off by
// rolling or twisting, or a skin that gives, are not thought of.
//
// Source: our own method, after the depth-buffer undercut and draft test of
// Khardekar, Burton, McMains, "Finding feasible mold parting directions using
// graphics hardware", 2006, and the labelling of Priyadarshi, Gupta, "Finding
// Mold-Piece Regions Using Computer Graphics Hardware", LNCS 4077 (2006); of both
// the abstracts were read.
package release

import (
	"errors"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/mesh"
)

// Direction is a unit vector from the cast outwards: the way a piece of the mould is
// pulled.
type Direction [3]float64

// Options say how closely to look. A zero stands for the default.
type Options struct {
	// Samples of equal area on the surface: 1,024 to 1,048,576, default 65,536. Each
	// takes 24 bytes and 2 bits for each direction.
	Samples int
	// Pixels along a side of the depth buffer: 64 to 1,024, default 512. A gap
	// narrower than 1.5 pixels is misread.
	Pixels int
	// Pairs of opposite directions beside those along the axes: 1 to 256, default 64,
	// which stand about 18 degrees apart.
	Pairs int
}

// The defaults of Options.
const (
	defaultSamples = 65_536
	defaultPixels  = 512
	defaultPairs   = 64
)

// Study is what is known of the surface of a mesh seen from every direction. It is
// not changed by Split and may be used by several callers at once.
type Study struct {
	mesh    *mesh.Mesh
	area    float64 // m2
	pixels  int
	frame   frame
	caster  caster
	samples []sample
	views   []view
	surface *surface
}

// view is a direction and the samples that can be pulled that way.
type view struct {
	direction Direction
	reach     [drafts]bitset
}

// NewStudy looks at a mesh that is wound outward and welded, from every direction. A
// mesh that is open is taken as it is: no mould is needed where there is no surface.
//
// The cost is about directions x (faces + pixels squared + samples); faces that are
// small against a pixel are merged first where there are more than 200,000.
//
// It refuses a mesh without area, with corners that are not there or not finite, and
// options out of bounds.
func NewStudy(m *mesh.Mesh, o Options) (*Study, error) {
	o = o.filled()
	if err := errors.Join(o.check(), checkMesh(m)); err != nil {
		return nil, err
	}
	s := &Study{mesh: m, pixels: o.Pixels, frame: frameOf(m)}
	var sum mesh.Sum
	sum.AddMesh(m)
	s.area = sum.Area
	if !(s.area > 0) || math.IsInf(s.area, 0) {
		return nil, fault.Unless(false, "area of the mesh, m2", s.area, "above 0 and finite")
	}
	s.samples = sampled(m, s.frame, o.Samples)
	s.caster = casterOf(m, s.frame, o.Pixels)
	s.surface = surfaceOf(m)
	s.look(directions(o.Pairs))
	return s, nil
}

// look fills the views. Directions come in pairs of opposites, which share a buffer.
func (s *Study) look(ds []Direction) {
	buffer := newBuffer(s.pixels)
	for i := 0; i < len(ds); i += 2 {
		fore, back := s.pair(buffer, ds[i])
		s.views = append(s.views, fore, back)
	}
}

// pair looks at the samples from a direction and from its opposite.
func (s *Study) pair(b *buffer, d Direction) (fore, back view) {
	fore, back = newView(d, len(s.samples)), newView(d.opposite(), len(s.samples))
	b.cast(&s.caster, d)
	for i := range s.samples {
		p := &s.samples[i]
		facing := float64(b.facing(p.normal))
		above, below := b.clear(p.place, p.normal)
		for k, least := range leasts() {
			if above && facing >= least {
				fore.reach[k].set(i)
			}
			if below && -facing >= least {
				back.reach[k].set(i)
			}
		}
	}
	return fore, back
}

func newView(d Direction, samples int) view {
	v := view{direction: d}
	for k := range v.reach {
		v.reach[k] = newBits(samples)
	}
	return v
}

func (o Options) filled() Options {
	fill := func(n *int, by int) {
		if *n == 0 {
			*n = by
		}
	}
	fill(&o.Samples, defaultSamples)
	fill(&o.Pixels, defaultPixels)
	fill(&o.Pairs, defaultPairs)
	return o
}

func (o Options) check() error {
	in := func(n, least, most int) bool { return n >= least && n <= most }
	return errors.Join(
		fault.Unless(in(o.Samples, 1024, 1<<20), "samples", float64(o.Samples), "1024 to 1048576"),
		fault.Unless(in(o.Pixels, 64, 1024), "pixels along a side", float64(o.Pixels), "64 to 1024"),
		fault.Unless(in(o.Pairs, 1, 256), "pairs of directions", float64(o.Pairs), "1 to 256"),
	)
}

// checkMesh refuses what arrays cannot take. The limit keeps every corner's number
// within 31 bits.
func checkMesh(m *mesh.Mesh) error {
	const most = 1 << 28
	if len(m.Faces) == 0 || len(m.Faces) > most || len(m.Vertices) > most {
		return fault.Unless(false, "faces of the mesh", float64(len(m.Faces)), "1 to 268435456")
	}
	for _, p := range m.Vertices {
		for _, x := range p {
			if !(math.Abs(x) <= 1e6) {
				return fault.Unless(false, "coordinate, m", x, "-1e6 to 1e6")
			}
		}
	}
	for _, f := range m.Faces {
		for _, v := range f {
			if int(v) >= len(m.Vertices) {
				return fault.Unless(false, "corner of a face", float64(v), "the number of a vertex")
			}
		}
	}
	return nil
}
