package release

// turned is how far, as n.d, a face may look away from a pull and still be given to
// it because it is the only one that sees the face (5 degrees): the normals of a scan
// are no better than that.
const turned = 0.0872 // sine of 5 degrees

// leastTie is what a piece must score, as n.d, above one chosen before it: a wall along
// both of their pulls goes to the first, whichever way rounding leans it.
const leastTie = 1e-3

// tie is the same where grain leans the wall too. Of two opposite pulls one scores as
// much as the other loses; three times that, for the normals next to a fold are the
// worst: with less, more bumps near the corners of scanned cubes changed hands.
func (s *Study) tie() float64 { return max(leastTie, min(6*s.waver, turned)) }

// label gives every face to a piece and measures where the pieces meet.
func (s *Study) label(out *Split, draft Draft) {
	out.Labels = make([]uint8, len(s.mesh.Faces))
	if out.Pieces < 2 {
		return
	}
	l := labeller{Study: s, tie: s.tie(), barred: s.barred(out.Pulls, s.leasts()[draft])}
	for _, p := range out.Pulls {
		l.pulls = append(l.pulls, p.Direction.single())
	}
	var r rivals
	for face := range out.Labels {
		l.rivals(face, &r)
		out.Labels[face] = uint8(r.best(1./3, 1./3)) //nolint:gosec // at most 32
		out.Parting += l.inside(face, &r)
	}
	out.Parting += l.along()
}

// barred is, for each face, a bit for each pull that cannot have it: the face looks
// its way but something is above it, and another pull sees the face.
func (s *Study) barred(pulls []Pull, least float64) []uint32 {
	barred := make([]uint32, len(s.mesh.Faces))
	seen := make([]bool, len(barred))
	b := s.buffer()
	for k, p := range pulls {
		b.cast(&s.caster, p.Direction)
		open := s.opened(b)
		for face, share := range open {
			if float64(b.facing(s.surface.normal(face))) < least-turned {
				continue
			}
			if share < 0.5 {
				barred[face] |= 1 << k
			} else {
				seen[face] = true
			}
		}
	}
	for face, ok := range seen {
		if !ok {
			barred[face] = 0
		}
	}
	return barred
}

// opened is the share of each face above which nothing lies, evened out over its
// neighbours as the normals are, so that the bumps of a scan leave no islands.
func (s *Study) opened(b *buffer) []float32 {
	open := make([]float32, len(s.mesh.Faces))
	for face := range open {
		open[face] = s.open(b, face)
	}
	before := make([]float32, len(open))
	for range passes {
		open, before = before, open
		for face := range open {
			sum, n := before[face], float32(1)
			for k := range 3 {
				if other, ok := s.surface.smoothAt(3*face + k); ok {
					sum += before[other]
					n++
				}
			}
			open[face] = sum / n
		}
	}
	return open
}

// open is the share of a face above which nothing lies, from its middle and, where it
// is larger than a few pixels, the middles between that and its corners.
func (s *Study) open(b *buffer, face int) float32 {
	f := s.mesh.Faces[face]
	corners := [3][3]float32{}
	var middle [3]float32
	for k, v := range f {
		corners[k] = s.frame.to(s.mesh.Vertices[v])
		add(&middle, corners[k], 1./3)
	}
	n := s.surface.normal(face)
	free, probes := float32(0), float32(1)
	if above, _ := b.clear(middle, n); above {
		free++
	}
	if b.small(corners) {
		return free
	}
	for _, c := range corners {
		var place [3]float32
		add(&place, middle, 0.5)
		add(&place, c, 0.5)
		probes++
		if above, _ := b.clear(place, n); above {
			free++
		}
	}
	return free / probes
}

// small says whether a face is within a few pixels.
func (b *buffer) small(corners [3][3]float32) bool {
	const few = 8
	for k, c := range corners {
		d := corners[(k+1)%3]
		add(&d, c, -1)
		if dot(d, d)*b.scale*b.scale > few*few {
			return false
		}
	}
	return true
}
