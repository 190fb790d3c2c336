package mesh

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A table by open addressing, three quarters full, has a point found after two and a half
// looks (Knuth, The Art of Computer Programming 3, 6.4, (1 + 1/(1-a))/2, from memory).
// Points in a row are no worse, along whichever axis and however near each other, nor are
// those of a grid: twice as many looks leave room for chance.
func TestPointsInARowAreFoundAtOnce(t *testing.T) {
	const n, most = 1 << 13, 5
	for step := range 40 {
		x := func(i int) float64 { return math.Float64frombits(math.Float64bits(1) + uint64(i%(1<<12))<<step) }
		for axis := range 3 {
			row, grid := NewBuilder(0), NewBuilder(0)
			for i := range n {
				var p Point
				p[axis] = x(i)
				row.Vertex(p)
				p[(axis+1)%3] = x(i >> 7)
				grid.Vertex(p)
			}
			assert.Less(t, row.looks(), float64(most), "row along %d, step 1<<%d", axis, step)
			assert.Less(t, grid.looks(), float64(most), "grid along %d, step 1<<%d", axis, step)
		}
	}
}

// looks returns how many slots are looked at until a vertex is found, on average.
func (b *Builder) looks() float64 {
	sum := 0
	for i, s := range b.slots {
		if s.next > 0 {
			sum += 1 + (i-int(s.tag))&(len(b.slots)-1)
		}
	}
	return float64(sum) / float64(len(b.mesh.Vertices))
}
