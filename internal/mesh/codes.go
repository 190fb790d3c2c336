package mesh

import "errors"

// The codes of the warnings that a survey gives.
const (
	Degenerate       = "degenerate"         // faces without area were dropped
	DuplicateFaces   = "duplicate_faces"    // faces that stood there already were dropped
	Welded           = "welded"             // corners that nearly met were joined
	NotClosed        = "not_closed"         // open: no volume without a cap
	ClosedByGeometry = "closed_by_geometry" // closed though some edges do not join
	Winding          = "winding"            // faces or parts were turned over
	InsideOut        = "inside_out"         // the whole file was
	OneSided         = "one_sided"          // a surface that has no inside, as a Moebius band
	Nesting          = "nesting"            // too many parts to tell which lie within which
	Crossing         = "crossing"           // parts cross each other: their skins and volumes overlap
	Rough            = "rough"              // noise: the smoothed area is the one to price
)

// ErrEmpty is given for a mesh that has no face with an area.
var ErrEmpty = errors.New("the mesh has no face with an area: at least 1 is needed")
