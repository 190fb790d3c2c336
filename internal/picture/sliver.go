package picture

// patch is samples of one piece that hang together.
type patch struct {
	samples []int32
	room    int32      // of its broadest part
	borders [256]int32 // how long it borders on each other piece, in samples
}

// mend gives patches that the parting line round them would cover whole to the piece
// that they border on the longest: a line would show as a blot there, and no hatching
// could be seen. thin is the room, in samples, below which a patch is so narrow.
func (r *raster) mend(thin float64) {
	room, steep := r.room(), r.steep()
	seen := make([]bool, len(room))
	var p patch
	for i := range room {
		if !r.covered(i) || seen[i] {
			continue
		}
		r.flood(&p, i, room, seen, steep)
		if label, ok := p.neighbour(); ok && float64(p.room) <= thin {
			for _, at := range p.samples {
				r.label[at] = label
			}
		}
	}
}

// flood finds the patch of a sample.
func (r *raster) flood(p *patch, from int, room []int32, seen []bool, steep int32) {
	*p = patch{samples: append(p.samples[:0], int32(from))} //nolint:gosec // a raster has fewer than 2^31 samples
	seen[from] = true
	for k := 0; k < len(p.samples); k++ {
		i := int(p.samples[k])
		p.room = max(p.room, room[i])
		x, y := i%r.w, i/r.w
		for _, j := range [4]int{r.at(x-1, y), r.at(x+1, y), r.at(x, y-1), r.at(x, y+1)} {
			switch kind := r.between(i, j, steep); {
			case kind == parting:
				p.borders[r.label[j]]++
			case kind == none && !seen[j]:
				seen[j] = true
				p.samples = append(p.samples, int32(j)) //nolint:gosec // see above
			}
		}
	}
}

// neighbour is the piece that a patch borders on the longest, if there is one.
func (p *patch) neighbour() (uint8, bool) {
	best := 0
	for label, n := range p.borders {
		if n > p.borders[best] {
			best = label
		}
	}
	return uint8(best), p.borders[best] > 0 //nolint:gosec // 256 labels
}
