package release

import (
	"math"
	"slices"
)

// sumLocked enters what no direction reaches and what the chosen ones leave.
func (s *Study) sumLocked(c *chooser, out *Split) {
	all := newBits(len(s.samples))
	for _, r := range c.reach {
		all.add(r)
	}
	var locked []int
	for i := range s.samples {
		if !all.has(i) {
			locked = append(locked, i)
		}
	}
	limit := crease * float64(len(s.samples))
	if float64(len(locked)) >= limit {
		out.Locked = c.area(len(locked))
		out.LockedPatches = s.patches(locked, c.worth)
	}
	if left := all.beyond(c.covered); float64(left) >= limit {
		out.Left = c.area(left)
	}
}

// patches counts the patches, of so many samples or more, that some samples form.
// Two belong together where they are within three times the mean distance of samples
// and do not lie back to back, as on the two sides of a thin wall.
func (s *Study) patches(of []int, least int) int {
	reach := 3 * math.Sqrt(s.area/float64(len(s.samples))) / s.frame.half
	g := gridOf(s.samples, of, reach)
	sets := newSets(len(of))
	for i := range of {
		g.near(i, func(j int) {
			if s.adjoin(of[i], of[j], reach) {
				sets.join(i, j)
			}
		})
	}
	sizes, patches := make([]int, len(of)), 0
	for i := range of {
		at := sets.find(i)
		if sizes[at]++; sizes[at] == least {
			patches++
		}
	}
	return patches
}

func (s *Study) adjoin(i, j int, reach float64) bool {
	p, q := &s.samples[i], &s.samples[j]
	apart := [3]float32{p.place[0] - q.place[0], p.place[1] - q.place[1], p.place[2] - q.place[2]}
	return float64(dot(apart, apart)) <= reach*reach && dot(p.normal, q.normal) > -0.5
}

// grid is samples in the order of the cells that they are in.
type grid struct {
	keys  []uint64 // cell and place in the list, ascending
	cells [][3]int // of each in the list
}

func gridOf(samples []sample, of []int, size float64) grid {
	g := grid{keys: make([]uint64, len(of)), cells: make([][3]int, len(of))}
	for i, at := range of {
		for k, x := range samples[at].place {
			g.cells[i][k] = int(min((float64(x)+1)/size, 1<<13-3)) + 1
		}
		g.keys[i] = key(g.cells[i]) | uint64(i) //nolint:gosec // below 2^20
	}
	slices.Sort(g.keys)
	return g
}

// key leaves 20 bits for the place in the list; 13 bits for each axis are more cells
// than samples can tell apart.
func key(c [3]int) uint64 {
	return uint64(c[0])<<46 | uint64(c[1])<<33 | uint64(c[2])<<20 //nolint:gosec // not negative
}

// near calls yield with those in the cells around the i-th that stand before it. A
// surface has some 50 samples in three cells; where sheet lies on sheet, and there are
// hundreds, it calls with some of them only, so that the work stays bounded.
func (g *grid) near(i int, yield func(j int)) {
	const most = 256
	for dx := -1; dx <= 1; dx++ {
		for dy := -1; dy <= 1; dy++ {
			c := g.cells[i]
			// Three cells in a row of the last axis follow each other.
			from := key([3]int{c[0] + dx, c[1] + dy, c[2] - 1})
			to := key([3]int{c[0] + dx, c[1] + dy, c[2] + 2})
			at, _ := slices.BinarySearch(g.keys, from)
			end, _ := slices.BinarySearch(g.keys, to)
			for crowd := 1 + (end-at)/most; at < end; at += crowd {
				if j := int(g.keys[at] & (1<<20 - 1)); j < i { //nolint:gosec // 20 bits
					yield(j)
				}
			}
		}
	}
}

// sets is which things belong together.
type sets []int32

func newSets(n int) sets {
	s := make(sets, n)
	for i := range s {
		s[i] = int32(i) //nolint:gosec // below 2^30
	}
	return s
}

// find is the first of those that i belongs to.
func (s sets) find(i int) int {
	for s[i] != int32(i) { //nolint:gosec // below 2^30
		s[i] = s[s[i]]
		i = int(s[i])
	}
	return i
}

// join makes two belong together. The lower stays first, so that the outcome does not
// hang on the order of joining.
func (s sets) join(i, j int) {
	i, j = s.find(i), s.find(j)
	s[max(i, j)] = int32(min(i, j)) //nolint:gosec // below 2^30
}

// number gives the sets numbers from 0, in the order of their firsts: the number of each
// thing's, and how many there are.
func (s sets) number() (numbers []int32, n int) {
	numbers = make([]int32, len(s))
	for i := range s {
		first := s.find(i)
		if first == i { // it comes before the others
			numbers[i] = int32(n) //nolint:gosec // below 2^30
			n++
			continue
		}
		numbers[i] = numbers[first]
	}
	return numbers, n
}
