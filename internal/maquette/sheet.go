package maquette

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/release"
)

// Ask is what a takeoff sheet is asked for. Lengths are of the piece, not of the
// model.
type Ask struct {
	Scale     float64             // of the piece over the model, above 0
	Pulls     []release.Direction // that the mould must have
	Forced    *[2]release.Split   // what Forced gave for Pulls, where that is known already
	Layer     float64             // m, thickness of the foam's layers; 0 for one layer
	ThinLimit float64             // m, below which a part is thin; 0 for no such question
}

// What a mesh is measured for where nobody says otherwise, in m: layers that most hot
// wires and saws take, and two skins of 3 mm (common practice, no source).
const (
	UsualLayer = 0.1
	UsualThin  = 0.006
)

// Usual asks what is usual at a scale. A very tall piece has thicker layers, so that
// there are not too many.
func (q *Maquette) Usual(scale float64) Ask {
	return Ask{Scale: scale, Layer: math.Max(UsualLayer, q.Extent().Height*scale/LayersMost*(1+1e-9)), ThinLimit: UsualThin}
}

// Sheet is the measures of a piece at its full size.
type Sheet struct {
	Scale          float64
	Triangles      int
	Components     int
	Enclosed       mesh.Enclosed
	Surface        float64 // to mould
	Smoothed       bool    // Surface is without the roughness of a scan
	Whole          float64 // m2, of all skins, as it stands in the file
	Rim            float64 // m, to trim
	Material       float64 // m3, voids taken off; means something only where it is enclosed
	Volume         float64 // m3, of the outer skin, openings capped
	Size           geometry.Extent
	Turned         geometry.Extent // about the upright axis, for the least floor
	Smallest       geometry.Extent // in any position
	Silhouettes    [3]Silhouette
	Layers         []geometry.Extent // of foam, from the lowest
	LayerThickness float64           // m
	LayersTotal    float64           // m3
	Zones          []mesh.ZoneArea
	Seams          []mesh.Seam
	Splits         [2]Split // without draft, and with 2 degrees
	Thin           float64  // share of the surface on parts thinner than ThinLimit, 0 to 1
	ThinLimit      float64
	Mirrored       bool           // its own mirror image
	Warnings       []mesh.Warning // those of the file first
}

// Silhouette is the shadow of a piece.
type Silhouette struct {
	View string // front, side, above
	Area float64
}

// SurfaceBasis says what the surface rests on.
func (s *Sheet) SurfaceBasis() string {
	words := "outer skin of the mesh"
	if s.Smoothed {
		words += ", scan noise smoothed away"
	}
	return words
}

// VolumeBasis says what the volume rests on.
func (s *Sheet) VolumeBasis() string {
	switch s.Enclosed {
	case mesh.ByEdges:
		return "enclosed by the outer skin"
	case mesh.ByGeometry:
		return "enclosed by the outer skin, whose faces close up though some of their edges do not join"
	default:
		return "the mesh is open: as if every opening were capped flat"
	}
}

// Split is how a mould might come apart: suggested, not proven.
type Split struct {
	Draft   float64 // degrees asked of every face
	Pieces  int     // loose pieces for locked patches included
	Pulls   []release.Pull
	Locked  float64 // m2 that no pull reaches
	Patches int     // of it, each a loose piece or a flexible skin
	Parting float64 // m
	Labels  []uint8 // of each face of the skin: its piece

	skin  *mesh.Mesh
	share float64 // of an area of the skin that is to be moulded, at the piece's size
}

// Drawn is what each of the Pulls has of the surface as it is drawn, m2: every face goes
// to the piece that it comes off best, which need not be the one that was chosen for it.
func (s *Split) Drawn() []float64 {
	areas := make([]float64, len(s.Pulls))
	for face, piece := range s.Labels {
		if int(piece) < len(areas) {
			v := s.skin.Triangle(face).AreaVector()
			areas[piece] += s.share * math.Hypot(math.Hypot(v[0], v[1]), v[2])
		}
	}
	return areas
}

// LayersMost bounds how many layers of foam a sheet lists.
const LayersMost = 1000

// At measures the piece. It refuses a layer so thin that there would be more than
// LayersMost.
func (q *Maquette) At(a Ask) (Sheet, error) {
	if !(a.Scale > 0) {
		return Sheet{}, fmt.Errorf("scale: got %g, allowed: above 0", a.Scale)
	}
	s, v, l := a.Scale, q.survey, q.Extent()
	sheet := Sheet{
		Scale: s, Triangles: len(v.Mesh.Faces), Components: len(v.Components), Enclosed: v.Enclosed,
		Surface: q.Surface() * s * s, Smoothed: q.rough(), Whole: v.Area * s * s, Rim: v.Rim * s,
		Material: v.Volume * s * s * s, Volume: q.volume() * s * s * s,
		Size: scaled(l, s), Turned: scaled(extentOf(q.upright), s), Smallest: scaled(extentOf(q.smallest), s),
		ThinLimit: a.ThinLimit, Thin: q.thickness.ShareBelow(a.ThinLimit / s), Mirrored: q.mirrored,
	}
	q.zones(&sheet)
	for i, w := range views() {
		sheet.Silhouettes[i] = Silhouette{w.name, q.silhouette[i] * s * s}
	}
	for i, of := range q.splitsFor(a) {
		sheet.Splits[i] = q.atScale(&of, degrees()[i], s)
	}
	if err := q.layers(&sheet, a); err != nil {
		return Sheet{}, err
	}
	sheet.Warnings = q.warnings(&sheet)
	return sheet, nil
}

// volume is what a pattern's foam has: an open model's openings are capped flat.
func (q *Maquette) volume() float64 {
	if q.survey.Enclosed == mesh.Open {
		return q.survey.Capped
	}
	return q.survey.Envelope
}

func scaled(x geometry.Extent, s float64) geometry.Extent {
	return geometry.Extent{Width: x.Width * s, Depth: x.Depth * s, Height: x.Height * s}
}

func extentOf(b mesh.Box) geometry.Extent {
	return geometry.Extent{Width: b.Width, Depth: b.Depth, Height: b.Height}
}

func (q *Maquette) zones(sheet *Sheet) {
	s := sheet.Scale
	for _, z := range q.survey.Zones {
		sheet.Zones = append(sheet.Zones, mesh.ZoneArea{Zone: z.Zone, Area: q.moulded(z.Area) * s * s})
	}
	for _, seam := range q.survey.Seams {
		sheet.Seams = append(sheet.Seams, mesh.Seam{A: seam.A, B: seam.B, Length: seam.Length * s})
	}
}

func (q *Maquette) splitsFor(a Ask) [2]release.Split {
	switch {
	case a.Forced != nil:
		return *a.Forced
	case len(a.Pulls) > 0:
		return *q.Forced(a.Pulls)
	default:
		return q.splits
	}
}

// Forced is the split of the mould, without draft and with 2 degrees, that has some
// pulls in any case; PullFaults has found nothing wrong with them. It takes a look
// from each new direction: tenths of a second for a mesh of tens of thousands of
// faces.
func (q *Maquette) Forced(pulls []release.Direction) *[2]release.Split {
	var splits [2]release.Split
	for i, draft := range drafts() {
		splits[i], _ = q.release.Split(draft, towards(pulls)...)
	}
	return &splits
}

// atScale is one of the splits at the piece's size.
func (q *Maquette) atScale(of *release.Split, draft, s float64) Split {
	split := Split{
		Draft: draft, Pieces: of.Pieces + of.LockedPatches, Locked: of.Locked * s * s,
		Patches: of.LockedPatches, Parting: of.Parting * s, Labels: of.Labels,
		skin: q.skin, share: q.moulded(s * s),
	}
	for _, p := range of.Pulls {
		split.Pulls = append(split.Pulls, release.Pull{Direction: p.Direction, Reaches: p.Reaches * s * s, Adds: p.Adds * s * s})
	}
	return split
}

// towards gives pulls the length of 1.
func towards(pulls []release.Direction) []release.Direction {
	units := make([]release.Direction, len(pulls))
	for i, d := range pulls {
		length := math.Sqrt(d[0]*d[0] + d[1]*d[1] + d[2]*d[2])
		units[i] = release.Direction{d[0] / length, d[1] / length, d[2] / length}
	}
	return units
}

func (q *Maquette) layers(sheet *Sheet, a Ask) error {
	sheet.Layers, sheet.LayerThickness = []geometry.Extent{sheet.Size}, sheet.Size.Height
	if a.Layer > 0 && a.Layer < sheet.Size.Height {
		if n := sheet.Size.Height / a.Layer; n > LayersMost {
			return fmt.Errorf("got layers of %.6g mm, allowed: at least %.6g mm, or there are more than %d", 1000*a.Layer, 1000*sheet.Size.Height/LayersMost, LayersMost)
		}
		slabs, err := q.cuts.slabs(q.skin, a.Layer/a.Scale)
		if err != nil {
			return err
		}
		sheet.Layers, sheet.LayerThickness = sheet.Layers[:0], a.Layer
		for _, l := range slabs {
			sheet.Layers = append(sheet.Layers, scaled(geometry.Extent{Width: l.Width(), Depth: l.Depth(), Height: l.Thickness()}, a.Scale))
		}
	}
	for _, l := range sheet.Layers {
		sheet.LayersTotal += l.Width * l.Depth * l.Height
	}
	return nil
}
