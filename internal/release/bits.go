package release

import "math/bits"

// bitset has a bit for each sample. As samples stand for equal areas, a count of
// bits is an area.
type bitset []uint64

func newBits(n int) bitset { return make(bitset, (n+63)/64) }

func (b bitset) set(i int) { b[i>>6] |= 1 << (i & 63) }

func (b bitset) has(i int) bool { return b[i>>6]>>(i&63)&1 == 1 }

// add sets in b what is set in c.
func (b bitset) add(c bitset) {
	for i, w := range c {
		b[i] |= w
	}
}

// count is how many are set.
func (b bitset) count() int {
	n := 0
	for _, w := range b {
		n += bits.OnesCount64(w)
	}
	return n
}

// beyond is how many are set that c has not.
func (b bitset) beyond(c bitset) int {
	n := 0
	for i, w := range b {
		n += bits.OnesCount64(w &^ c[i])
	}
	return n
}
