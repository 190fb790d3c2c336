package maquette

import "github.com/mouldwright/mouldwright/internal/mesh"

// Hand is what two models are to each other.
type Hand struct {
	Same     bool // the one can be moved onto the other
	Mirrored bool // the one is the other's mirror image
}

// String says it in words.
func (h Hand) String() string {
	switch {
	case h.Same && h.Mirrored:
		return "the same form, which is its own mirror image: one mould serves both hands"
	case h.Same:
		return "copies of one form"
	case h.Mirrored:
		return "a left and a right hand: mirror images, each with a mould of its own"
	default:
		return "different forms"
	}
}

// Compare tells whether two models are copies, or the two hands of one form. Size
// counts: a model and its enlargement are different.
func Compare(a, b *Maquette) Hand {
	relation, _ := mesh.Compare(a.skin, b.skin)
	return Hand{Same: relation&mesh.Copy != 0, Mirrored: relation&mesh.Mirror != 0}
}
