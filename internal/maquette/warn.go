package maquette

import (
	"fmt"
	"slices"

	"github.com/mouldwright/mouldwright/internal/mesh"
)

// Codes of the warnings that a piece adds to those of its mesh.
const (
	OddSize  = "odd_size"  // so small or large that the unit may be wrong
	ThinPart = "thin"      // parts too thin to lay up
	Locked   = "locked"    // patches that no straight pull reaches
	Capped   = "capped"    // an opening was closed for the volume
	InnerOne = "two_skins" // the file has inner skins
	Grainy   = "grainy"    // a scan, whose noise was taken off before its mould was split
)

// smallPiece and largePiece bound the largest dimension of a piece whose unit is not
// doubted (common practice, no source).
const (
	smallPiece = 0.02 // m
	largePiece = 20   // m
	thinShare  = 0.01 // of the surface, below which thin parts are not worth a word
)

// warnings are the file's, the mesh's own and what the size makes of it.
func (q *Maquette) warnings(s *Sheet) []mesh.Warning {
	w := slices.Concat(q.file, q.survey.Warnings)
	for i, of := range w {
		w[i] = of.At(s.Scale)
	}
	add := func(code, format string, args ...any) {
		w = append(w, mesh.Warning{Code: code, Says: fmt.Sprintf(format, args...)})
	}
	x := s.Size
	if largest := max(x.Width, x.Depth, x.Height); largest < smallPiece || largest > largePiece {
		add(OddSize, "the piece is %.0f x %.0f x %.0f mm: look at the unit and the scale again", 1000*x.Width, 1000*x.Depth, 1000*x.Height)
	}
	if s.Enclosed == mesh.Open {
		add(Capped, "the mesh is open: its volume is that with every opening capped flat")
	}
	if s.Whole > s.Surface*(1+1e-9) && q.skin != q.survey.Mesh {
		add(InnerOne, "the file has inner skins; the outer skin alone is moulded")
	}
	if s.Thin > thinShare {
		add(ThinPart, "%.1f %% of the surface is on parts thinner than %.1f mm", 100*s.Thin, 1000*s.ThinLimit)
	}
	if q.release.Smoothed() {
		add(Grainy, "the mould was split as if the scan had no noise: undercuts shallower than about three times the noise are not seen")
	}
	if draft := s.Splits[1]; draft.Patches > 0 {
		places := "in one place"
		if draft.Patches > 1 {
			places = fmt.Sprintf("in %d places", draft.Patches)
		}
		add(Locked, "%.3f m2 %s cannot be reached by a straight pull with 2 degrees of draft: a loose piece or a flexible skin each", draft.Locked, places)
	}
	return w
}
