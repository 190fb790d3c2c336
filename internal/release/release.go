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
	mesh     *mesh.Mesh // without its grain
	smoothed bool       // there was some
	grain    float32    // how far the surface may stand out where it is not meant to, in the frame
	waver    float64    // how far normals may lean for nothing, as n.d
	area     float64    // m2
	pixels   int
	frame    frame
	caster   caster
	samples  []sample
	views    []view
	surface  *surface
}

// view is a direction and the samples that can be pulled that way.
type view struct {
	direction Direction
	reach     [drafts]bitset
}

// NewStudy looks at a mesh that is wound outward and welded, from every direction. A
// mesh that is open is taken as it is: no mould is needed where there is no surface.
//
// Grains of a scan shadow each other and look every way. A part of the mesh that is as
// they leave it is studied on a smoothed skin, on which folds of more than 30 degrees
// stay; an undercut no deeper than three times the grain is not seen on it.
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
	of := skinOf(inUse(m))
	s := &Study{mesh: of.Mesh, smoothed: of.grainy != nil, pixels: o.Pixels, frame: frameOf(of.Mesh)}
	s.grain, s.waver = float32(standing*of.grain/s.frame.half), of.waver()
	var sum mesh.Sum
	sum.AddMesh(s.mesh)
	s.area = sum.Area
	if !(s.area > 0) || math.IsInf(s.area, 0) {
		return nil, fault.Unless(false, "area of the mesh, m2", s.area, "above 0 and finite")
	}
	s.surface = surfaceOf(of, s.frame)
	s.samples = sampled(of, s.frame, s.surface, o.Samples)
	if s.smoothed {
		s.surface.smooth(morePasses)
	}
	s.caster = casterOf(s.mesh, s.frame, o.Pixels)
	s.look(directions(o.Pairs))
	return s, nil
}

// look fills the views. Directions come in pairs of opposites, which share a buffer.
func (s *Study) look(ds []Direction) {
	buffer := s.buffer()
	for i := 0; i < len(ds); i += 2 {
		fore, back := s.pair(buffer, ds[i])
		s.views = append(s.views, fore, back)
	}
}

// Smoothed says whether the mesh has grains, as of a scan, and was studied on a skin
// without them: areas and lines are that skin's.
func (s *Study) Smoothed() bool { return s.smoothed }

// buffer is an empty one for the study's surface.
func (s *Study) buffer() *buffer { return newBuffer(s.pixels, s.grain) }

// pair looks at the samples from a direction and from its opposite.
func (s *Study) pair(b *buffer, d Direction) (fore, back view) {
	fore, back = newView(d, len(s.samples)), newView(d.opposite(), len(s.samples))
	b.cast(&s.caster, d)
	for i := range s.samples {
		p := &s.samples[i]
		facing := float64(b.facing(p.normal))
		above, below := b.clear(p.place, p.normal)
		for k, least := range s.leasts() {
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

// inUse is a mesh without the vertices that no face has: they would make the picture
// too small and draw merged vertices away.
func inUse(m *mesh.Mesh) *mesh.Mesh {
	used, n := make([]bool, len(m.Vertices)), 0
	for _, f := range m.Faces {
		for _, v := range f {
			if !used[v] {
				used[v] = true
				n++
			}
		}
	}
	if n == len(used) {
		return m
	}
	out := &mesh.Mesh{Faces: make([][3]uint32, len(m.Faces))}
	to := make([]uint32, len(used))
	for v, is := range used {
		if is {
			to[v] = uint32(len(out.Vertices)) //nolint:gosec // below 2^28
			out.Vertices = append(out.Vertices, m.Vertices[v])
		}
	}
	for i, f := range m.Faces {
		out.Faces[i] = [3]uint32{to[f[0]], to[f[1]], to[f[2]]}
	}
	return out
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
