package takeoff

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/ratebook"
)

// fromMesh takes the measures of a model at its scale. Parts thinner than two skins
// of the cast cannot be laid up as a hollow, and are warned of.
func (p *Piece) fromMesh(m *brief.MeshForm, e *ratebook.Edition) {
	ask := maquette.Ask{Scale: m.Scale, Pulls: m.Pulls, Forced: m.Forced, Layer: p.layer(m, e), ThinLimit: 2 * p.Thickness()}
	sheet, _ := m.Model.At(ask) // a checked brief has a scale, and the layers are not too many
	p.Sheet = &sheet
	p.Surface, p.Rim, p.Volume, p.Extent = sheet.Surface, sheet.Rim, sheet.Volume, sheet.Size
	for _, s := range sheet.Silhouettes {
		p.Silhouette = math.Max(p.Silhouette, s.Area)
	}
	p.Basis = Basis{
		Surface: sheet.SurfaceBasis(), Rim: "openings of the mesh", Volume: sheet.VolumeBasis(), Blank: "rectangle round each layer of foam, before carving",
		Silhouette: "largest shadow from front, side and above", Size: fmt.Sprintf("the mesh as it stands, times %.10g", m.Scale),
		Parting: "where the pieces of the suggested mould meet",
	}
	for _, l := range sheet.Layers {
		p.Blanks = append(p.Blanks, blank(l, 1))
		p.Blank += float64(l.Width * l.Depth * l.Height)
	}
	p.Blank = math.Max(p.Blank, p.Volume)
}

// mostLayers bounds the foam layers of one pattern.
const mostLayers = 200

// layer is how thick foam is stacked: as high as the block of the foam that the piece's
// route cuts, or the whole height where it cuts none.
func (p *Piece) layer(m *brief.MeshForm, e *ratebook.Edition) float64 {
	height := m.Extent().Height
	route := e.Moulded
	if p.Direct {
		route = e.Direct
	}
	for _, w := range route {
		if b := blockOf(w); b != nil && w.Suits(p.Body, p.Exposure) {
			return math.Max(math.Min(b.Height, height), height/mostLayers)
		}
	}
	return height
}

// blockOf is the stock block that an operation cuts; nil for none.
func blockOf(w *ratebook.Work) *ratebook.Block {
	for i := range w.Uses {
		if u := &w.Uses[i]; u.Basis == ratebook.FoamBlank {
			return u.Material.StockBlock
		}
	}
	return nil
}

// meshMould takes the mould that the model suggests where the brief does not say.
func (p *Piece) meshMould() {
	const most = 24 // as many as a brief may ask for
	split := &p.Sheet.Splits[1]
	suggested := min(max(1, split.Pieces), most)
	if p.Mould.Pieces == 0 {
		p.MouldParts = suggested
	}
	p.Parting = split.Parting
	// A mould of n pieces has n-1 parting lines, each as long as the others.
	lines := float64(p.MouldParts - 1)
	switch {
	case p.Mould.Parting != nil:
		p.Parting, p.Basis.Parting = *p.Mould.Parting, "as given"
	case p.MouldParts == suggested:
	case suggested == 1:
		p.Parting, p.Basis.Parting = lines*outline(p.Sheet.Size), "twice width and height of its size, for each piece of the mould beyond the first"
	default:
		p.Parting = split.Parting / float64(suggested-1) * lines
		p.Basis.Parting += ", in proportion to the pieces asked for"
	}
}

// meshArea is one of the areas that the mesh's file names.
type meshArea struct{ geometry.ZoneMeasures }

// Faults lists nothing: the brief was checked.
func (meshArea) Faults() []geometry.DimensionError { return nil }

// Measure gives area and seams.
func (a meshArea) Measure() geometry.ZoneMeasures { return a.ZoneMeasures }

// areaOf scales what the piece's model has under a name. It is a part of the surface,
// and has the surface's texture.
func (p *Piece) areaOf(name string) meshArea {
	m := p.Form.Mesh
	z, _ := m.Model.Zone(name) // the brief was checked
	z.Area *= m.Scale * m.Scale * math.Max(1, p.Texture)
	z.Edge *= m.Scale
	return meshArea{z}
}
