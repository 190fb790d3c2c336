package foam

import (
	"testing"

	"pgregory.net/rapid"
)

// Nothing is lost on the bench: what was cut and what is left make up the blocks opened,
// and every piece of every lot was cut. Sides are few grains, so that ties and exact
// fits, where a slip would show, are common.
func TestCutAndLeftMakeUpTheBlocks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Int64Range(1, 12)
		b := bench{block: box{12, 12, 12}}
		cut := int64(0)
		for range rapid.IntRange(1, 6).Draw(t, "lots") {
			l := lot{box{side.Draw(t, "a"), side.Draw(t, "b"), side.Draw(t, "c")}.sorted(), rapid.Int64Range(1, 300).Draw(t, "n")}
			b.cutLot(l)
			cut += l.count * l.volume()
		}
		left := int64(0)
		for _, s := range b.free {
			left += s.count * s.volume()
			if s.box[0] < 1 || s.count < 1 {
				t.Fatalf("a space of nothing: %v", s)
			}
		}
		if opened := b.blocks * b.block.volume(); cut+left > opened || cut+left < opened && len(b.free) < spaces {
			t.Fatalf("%d opened, %d cut, %d left", opened, cut, left)
		}
	})
}

// The pieces used lie inside the space that they are cut from.
func TestCornerLiesInItsSpace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Int64Range(1, 40)
		draw := func(of string) box {
			return box{side.Draw(t, of+" a"), side.Draw(t, of+" b"), side.Draw(t, of+" c")}.sorted()
		}
		space, piece, n := draw("space"), draw("piece"), rapid.Int64Range(1, 100).Draw(t, "n")
		used, held := densest(space, piece, n)
		if piece.fits(space) != (held > 0) || held > n {
			t.Fatalf("%d held of %d", held, n)
		}
		if held > 0 && (used[0] > space[0] || used[1] > space[1] || used[2] > space[2] || used.volume() != held*piece.volume()) {
			t.Fatalf("%d of %v use %v of %v", held, piece, used, space)
		}
	})
}

// The pieces that a blank is bonded from make up the blank, and each fits a block.
func TestPiecesMakeUpTheBlank(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Int64Range(1, 60)
		blank := box{side.Draw(t, "a"), side.Draw(t, "b"), side.Draw(t, "c")}
		block := box{7, 12, 20}
		g := gridFor(blank, block)
		volume, count := int64(0), int64(0)
		for _, l := range g.lots(3) {
			volume += l.count * l.volume()
			count += l.count
			if !l.sorted().fits(block) {
				t.Fatalf("a piece of %v does not fit the block", l.box)
			}
		}
		if volume != 3*blank.volume() || count != 3*g.pieces() {
			t.Fatalf("%d pieces of %d grains for three of %v", count, volume, blank)
		}
	})
}
