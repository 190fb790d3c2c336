package release

import "github.com/mouldwright/mouldwright/internal/mesh"

// rims is the edges of shadows on the surface. They run along edges of the mesh, in
// zigzag: on a clean ball such a line is 1.2 to 1.5 times as long as what it follows.
type rims struct {
	edges []rim
	spots map[uint32]int32 // of the vertices, in the order of their coming
	order []uint32
}

type rim struct {
	ends  [2]int32
	share float64 // of its length, that counts
}

// straightenings is how many pairs of steps take the zigzag away: of a line that turns
// round every eight edges a fifth goes with it, of one in thirty nothing.
const straightenings = 10

func (r *rims) add(p, q uint32, share float64) {
	if share > 0 {
		r.edges = append(r.edges, rim{[2]int32{r.spot(p), r.spot(q)}, share})
	}
}

func (r *rims) spot(v uint32) int32 {
	if r.spots == nil {
		r.spots = make(map[uint32]int32)
	}
	at, ok := r.spots[v]
	if !ok {
		at = int32(len(r.order)) //nolint:gosec // below 2^28
		r.spots[v] = at
		r.order = append(r.order, v)
	}
	return at
}

// length is that of the rims once they are straightened, m.
func (r *rims) length(vertices []mesh.Point) float64 {
	at := make([]mesh.Point, len(r.order))
	for i, v := range r.order {
		at[i] = vertices[v]
	}
	for range straightenings {
		r.move(at, step*ofLine)
		r.move(at, -step*ofLine)
	}
	sum := 0.0
	for _, e := range r.edges {
		sum += float64(e.share * distance(at[e.ends[0]], at[e.ends[1]]))
	}
	return sum
}

// move takes every place by a share of the way to the middle of its neighbours along
// the rim. Where a rim ends or meets others it stays.
func (r *rims) move(at []mesh.Point, share float64) {
	pulls := make([]pulled, len(at))
	for _, e := range r.edges {
		a, b := e.ends[0], e.ends[1]
		way := from(at[a], at[b])
		pulls[a].add(way, 1)
		pulls[b].add(way, -1)
	}
	for i := range at {
		if pulls[i].n == 2 {
			pulls[i].move(&at[i], share)
		}
	}
}
