package picture

// clearance is what a badge leaves free round it, mm.
const clearance = 0.8

// badge is where the number of a piece stands on a view: amid its broadest part.
type badge struct {
	label uint8
	x, y  int // sample
	room  int // samples to the border, along the axes
}

// badges finds the broadest part of each piece that has room for its number. per is
// samples to a mm. Along a slant, room is as much again as half: 0.7 of it is free.
func (r *raster) badges(per float64) []badge {
	room := r.room()
	best := r.broadest(room)
	r.centre(room, &best)
	var all []badge
	for label, b := range best {
		if label != Locked && label != plain && float64(b.room)*0.7 > float64((badgeRadius+clearance)*per) {
			all = append(all, b)
		}
	}
	return all
}

// broadest is the first sample of each piece that has the most room.
func (r *raster) broadest(room []int32) (best [256]badge) {
	for i, n := range room {
		if b := &best[r.label[i]]; r.covered(i) && int(n) > b.room {
			*b = badge{r.label[i], i % r.w, i / r.w, int(n)}
		}
	}
	return best
}

// centre moves each badge to the sample nearest to the mean of those that have as much
// room: along an oblong there are many.
func (r *raster) centre(room []int32, best *[256]badge) {
	var sum [256]struct{ x, y, n int }
	r.broad(room, best, func(label uint8, x, y int) {
		s := &sum[label]
		s.x, s.y, s.n = s.x+x, s.y+y, s.n+1
	})
	var apart [256]int // times n, squared
	r.broad(room, best, func(label uint8, x, y int) {
		s, b := sum[label], &best[label]
		dx, dy := x*s.n-s.x, y*s.n-s.y
		if d := dx*dx + dy*dy + 1; apart[label] == 0 || d < apart[label] {
			apart[label], b.x, b.y = d, x, y
		}
	})
}

// broad visits the samples that have as much room as their piece's badge.
func (r *raster) broad(room []int32, best *[256]badge, visit func(label uint8, x, y int)) {
	for i, n := range room {
		if label := r.label[i]; r.covered(i) && int(n) == best[label].room {
			visit(label, i%r.w, i/r.w)
		}
	}
}

// room is how many samples away along the axes the nearest line is.
func (r *raster) room() []int32 {
	room, steep := make([]int32, r.w*r.h), r.steep()
	near := func(i, x, y int) int32 {
		if j := r.at(x, y); j >= 0 && r.between(i, j, steep) == none {
			return room[j]
		}
		return 0
	}
	for i := range room {
		if x, y := i%r.w, i/r.w; r.covered(i) {
			room[i] = 1 + min(near(i, x-1, y), near(i, x, y-1))
		}
	}
	for i := len(room) - 1; i >= 0; i-- {
		if x, y := i%r.w, i/r.w; r.covered(i) {
			room[i] = min(room[i], 1+near(i, x+1, y), 1+near(i, x, y+1))
		}
	}
	return room
}
