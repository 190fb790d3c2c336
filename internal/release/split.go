package release

import (
	"errors"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Split is a mould in pieces: a suggestion.
type Split struct {
	// Pulls are the ways the pieces are pulled, in the order chosen; at most 32.
	Pulls []Pull
	// Pieces is how many there are. It is 0 where nothing can be reached from outside,
	// as on a mesh that is wound inside out.
	Pieces int
	// Locked is the area that no direction reaches, m2: a loose piece or a skin that
	// gives. Less than 0.5 % of the area counts as none, because a band of about 1.5
	// pixels along every inward crease cannot be told from an undercut (0.1 to 0.25 %
	// of the area at 512 pixels).
	Locked float64
	// LockedPatches counts the separate places that are locked, each of 0.25 % of the
	// area or more.
	LockedPatches int
	// Left is the area that the pieces leave although some direction reaches it, m2;
	// less than 0.5 % of the area counts as none.
	Left float64
	// Parting is the length of the lines at which the pieces meet, m. It does not run
	// along the border of an open mesh.
	Parting float64
	// BestSingle is the direction that reaches most; BestOpposite and BestPair are the
	// two opposite directions and any two that do so together.
	BestSingle             Pull
	BestOpposite, BestPair Pair
	// Labels is a piece for each face of the mesh: an index of Pulls.
	Labels []uint8
}

// Pull is a way to pull a piece off.
type Pull struct {
	Direction Direction
	Reaches   float64 // m2 that it would free alone
	Adds      float64 // m2 of it that no pull before it frees
}

// Pair is two ways to pull.
type Pair struct {
	Directions [2]Direction
	Reaches    float64 // m2 that they free together
}

// Limits of a split.
const (
	mostPieces = 32     // a mould of more is not one to suggest
	worthwhile = 0.0025 // of the area: what a further piece must add
	crease     = 0.005  // of the area: what cannot be told from none
)

// Split suggests a mould for a draft. The forced directions are pieces in any case
// and come first; then come those that add most, until the next would add less than
// 0.25 % of the area. Where nothing is forced and one direction does, or a pair of
// them (all pairs are tried), that is the answer. Directions that reach as much but
// for a hundredth, and at most 0.25 % of the area, are taken in the order of the
// study: along the axes first.
//
// A forced direction that was not studied costs one more depth buffer. It refuses a
// draft that is none of the studied ones and directions that are not unit vectors.
func (s *Study) Split(draft Draft, forced ...Direction) (Split, error) {
	c, err := s.chooser(draft, forced)
	if err != nil {
		return Split{}, err
	}
	single, opposite, pair := c.bests()
	c.choose(pair, opposite)
	out := Split{BestSingle: c.pull(single), BestOpposite: c.pair(opposite), BestPair: c.pair(pair)}
	out.Pulls = c.pulls()
	out.Pieces = len(out.Pulls)
	s.sumLocked(c, &out)
	s.label(&out, draft)
	return out, nil
}

// Reach is the area that some directions free together, m2, for a draft.
func (s *Study) Reach(draft Draft, ds ...Direction) (float64, error) {
	c, err := s.chooser(draft, ds)
	if err != nil {
		return 0, err
	}
	return c.area(c.covered.count()), nil
}

// Area is that of the whole mesh, m2.
func (s *Study) Area() float64 { return s.area }

// chooser covers samples with views.
type chooser struct {
	directions []Direction
	reach      []bitset // of each direction, for the draft in hand
	covered    bitset
	chosen     []int
	forced     int     // how many of the chosen were not for choice
	share      float64 // m2 of a sample
	worth      int     // samples that a further piece must add
	studied    int     // directions of the study
}

// chooser is one that has chosen the forced directions.
func (s *Study) chooser(draft Draft, forced []Direction) (*chooser, error) {
	err := fault.Unless(draft >= 0 && draft < drafts, "draft", float64(draft), "none (0) or 2 degrees (1)")
	err = errors.Join(err, fault.Unless(len(forced) <= mostPieces, "forced directions", float64(len(forced)), "0 to 32"))
	for _, d := range forced {
		err = errors.Join(err, d.check())
	}
	if err != nil {
		return nil, err
	}
	n := len(s.samples)
	c := &chooser{covered: newBits(n), share: s.area / float64(n), worth: max(1, int(worthwhile*float64(n))), studied: len(s.views)}
	for i := range s.views {
		c.know(&s.views[i], draft)
	}
	for _, d := range forced {
		c.force(s, d.unit(), draft)
	}
	c.forced = len(c.chosen)
	return c, nil
}

func (c *chooser) know(v *view, draft Draft) {
	c.directions = append(c.directions, v.direction)
	c.reach = append(c.reach, v.reach[draft])
}

// force chooses a direction, once, and looks that way first where nobody has.
func (c *chooser) force(s *Study, d Direction, draft Draft) {
	at := -1
	for i, e := range c.directions {
		if d.same(e) {
			at = i
			break
		}
	}
	if at < 0 {
		fore, _ := s.pair(s.buffer(), d)
		at = len(c.directions)
		c.know(&fore, draft)
	}
	for _, i := range c.chosen {
		if i == at {
			return
		}
	}
	c.take(at)
}

func (c *chooser) take(i int) {
	c.chosen = append(c.chosen, i)
	c.covered.add(c.reach[i])
}

// choose adds to the forced directions: what does by itself, else a pair that does,
// else one after another.
func (c *chooser) choose(pair, opposite [2]int) {
	if c.forced == 0 {
		if first := c.next(); first >= 0 && c.does(first) {
			c.take(first)
			return
		}
		if c.together(opposite) >= c.together(pair)-c.worth {
			pair = c.firstOpposite(c.together(pair) - c.worth)
		}
		if c.does(pair[0], pair[1]) {
			c.takeLarger(pair)
			return
		}
	}
	for len(c.chosen) < mostPieces {
		i := c.next()
		if i < 0 {
			break
		}
		c.take(i)
	}
	c.drop()
}

// takeLarger takes a pair, the one that reaches more first.
func (c *chooser) takeLarger(pair [2]int) {
	if c.reach[pair[1]].count() > c.reach[pair[0]].count() {
		pair[0], pair[1] = pair[1], pair[0]
	}
	c.take(pair[0])
	c.take(pair[1])
}

// does says whether directions leave no further one worthwhile.
func (c *chooser) does(is ...int) bool {
	covered := append(bitset(nil), c.covered...)
	for _, i := range is {
		covered.add(c.reach[i])
	}
	for _, r := range c.reach {
		if r.beyond(covered) >= c.worth {
			return false
		}
	}
	return true
}

// next is the direction to choose next; -1 where none is worthwhile.
func (c *chooser) next() int {
	gains, most := make([]int, len(c.reach)), 0
	for i, r := range c.reach {
		gains[i] = r.beyond(c.covered)
		most = max(most, gains[i])
	}
	enough := max(c.worth, most-min(c.worth, most/100))
	for i, g := range gains {
		if g >= enough {
			return i
		}
	}
	return -1
}

// drop lets go of choices that those after them have made idle: each frees less by itself
// than a further piece must. What several of them freed together is in Left.
func (c *chooser) drop() {
	for at := c.forced; at < len(c.chosen); {
		others := newBits(64 * len(c.covered))
		for k, i := range c.chosen {
			if k != at {
				others.add(c.reach[i])
			}
		}
		if c.reach[c.chosen[at]].beyond(others) >= c.worth {
			at++
			continue
		}
		c.chosen = append(c.chosen[:at], c.chosen[at+1:]...)
		c.covered = others
	}
}

// bests is the direction, the two opposites and the two of any that reach most.
func (c *chooser) bests() (single int, opposite, pair [2]int) {
	opposite, pair = [2]int{0, 1}, [2]int{0, 1}
	counts := make([]int, len(c.reach))
	for i, r := range c.reach {
		if counts[i] = r.count(); counts[i] > counts[single] {
			single = i
		}
	}
	most := 0
	for i, r := range c.reach {
		for j := range i {
			if counts[i]+counts[j] <= most {
				continue // not even apart
			}
			if n := counts[i] + c.reach[j].beyond(r); n > most {
				most, pair = n, [2]int{j, i}
			}
		}
	}
	most = 0
	for i := 0; i < c.studied; i += 2 {
		if n := c.together([2]int{i, i + 1}); n > most {
			most, opposite = n, [2]int{i, i + 1}
		}
	}
	return single, opposite, pair
}

// firstOpposite is the first two opposites that reach enough.
func (c *chooser) firstOpposite(enough int) [2]int {
	for i := 0; i < c.studied; i += 2 {
		if p := [2]int{i, i + 1}; c.together(p) >= enough {
			return p
		}
	}
	return [2]int{0, 1}
}

// together is the samples that two directions reach.
func (c *chooser) together(p [2]int) int {
	return c.reach[p[0]].count() + c.reach[p[1]].beyond(c.reach[p[0]])
}

func (c *chooser) area(samples int) float64 { return c.share * float64(samples) }

func (c *chooser) pull(i int) Pull {
	a := c.area(c.reach[i].count())
	return Pull{Direction: c.directions[i], Reaches: a, Adds: a}
}

func (c *chooser) pair(p [2]int) Pair {
	return Pair{
		Directions: [2]Direction{c.directions[p[0]], c.directions[p[1]]},
		Reaches:    c.area(c.together(p)),
	}
}

// pulls is the choice with what each adds to those before it.
func (c *chooser) pulls() []Pull {
	out := make([]Pull, len(c.chosen))
	covered := newBits(64 * len(c.covered))
	for k, i := range c.chosen {
		out[k] = c.pull(i)
		out[k].Adds = c.area(c.reach[i].beyond(covered))
		covered.add(c.reach[i])
	}
	return out
}
