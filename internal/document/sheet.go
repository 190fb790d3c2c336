package document

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/meshfile"
)

// MeshSheet writes the takeoff sheet of a mesh as plain text: its measures at full
// size, what they rest on, how its mould might come apart, and what to look at
// again.
func MeshSheet(w io.Writer, title string, s *maquette.Sheet) error {
	t := sheet{Sheet: s}
	t.line("%s", title)
	t.line("Takeoff sheet at %s times the size of the model", plain(s.Scale))
	t.measures()
	t.boxes()
	t.zones()
	t.splits()
	t.warnings(s.Warnings)
	_, err := io.WriteString(w, t.out.String())
	return err
}

type sheet struct {
	text
	*maquette.Sheet
}

// row is a figure with its name and, on the same line, what it rests on.
func (t *sheet) row(name, figure, basis string) {
	t.line("  %-28s %16s   %s", name, figure, basis)
}

func (t *sheet) measures() {
	t.heading("measures")
	t.row("Surface to mould", metres(t.Surface, "m2"), t.SurfaceBasis())
	if t.Whole != t.Surface {
		t.row("Surface in the file", metres(t.Whole, "m2"), "every skin, as it stands")
	}
	t.row("Rim to trim", metres(t.Rim, "m"), "openings that enclose something")
	t.row("Foam of a pattern", metres(t.Volume, "m3"), t.VolumeBasis())
	if t.Enclosed != mesh.Open && t.Material != t.Volume {
		t.row("Material in the file", metres(t.Material, "m3"), "outer skin less its voids")
	}
	for _, s := range t.Silhouettes {
		t.row("Silhouette, "+s.View, metres(s.Area, "m2"), "")
	}
	t.row("Triangles", fmt.Sprint(t.Triangles), fmt.Sprintf("in %d %s, %s", t.Components, many(t.Components, "part"), t.Enclosed))
	if t.Mirrored {
		t.row("Hand", "its own mirror", "one mould serves both hands")
	}
	if t.ThinLimit > 0 {
		t.row(fmt.Sprintf("Thinner than %s mm", plain(1000*t.ThinLimit)), fmt.Sprintf("%.1f %%", 100*t.Thin), "of the surface")
	}
}

func (t *sheet) boxes() {
	t.heading("size and foam")
	t.row("As it stands", size(t.Size), "width x depth x height, mm")
	t.row("Turned for the least floor", size(t.Turned), "about the upright axis")
	t.row("Smallest box", size(t.Smallest), "in any position")
	if len(t.Layers) > 1 {
		t.row(fmt.Sprintf("Foam in %d layers", len(t.Layers)), metres(t.LayersTotal, "m3"),
			fmt.Sprintf("of %s mm, against %s m3 for one block", plain(1000*t.LayerThickness), metres(t.Size.Width*t.Size.Depth*t.Size.Height, "")))
	}
}

func (t *sheet) zones() {
	if len(t.Zones) == 0 {
		return
	}
	t.heading("areas by the file's materials")
	for _, z := range t.Zones {
		name := z.Zone
		if name == "" {
			name = "(no name)"
		}
		t.row(name, metres(z.Area, "m2"), "")
	}
	for _, s := range t.Seams {
		t.row(s.A+" meets "+s.B, metres(s.Length, "m"), "edge to mask")
	}
}

func (t *sheet) splits() {
	t.heading("mould, suggested")
	for i := range t.Splits {
		s := &t.Splits[i]
		draft := "without draft"
		if s.Draft > 0 {
			draft = fmt.Sprintf("with %s degrees of draft", plain(s.Draft))
		}
		t.row("Pieces "+draft, fmt.Sprint(s.Pieces), fmt.Sprintf("parting line %s, out of reach %s", metres(s.Parting, "m"), metres(s.Locked, "m2")))
		drawn := s.Drawn()
		for j, p := range s.Pulls {
			t.line("    piece %d is pulled %s; %s as drawn", j+1, maquette.PullWords(p.Direction), metres(drawn[j], "m2"))
		}
	}
	t.paragraph("  ", "  ", "A suggestion from straight pulls, not a proof: a flexible skin or a piece that rolls off can do with fewer.")
}

func (t *sheet) warnings(all []mesh.Warning) {
	if len(all) == 0 {
		return
	}
	t.heading("look at again")
	for _, w := range all {
		t.paragraph("  - ", "    ", w.Says)
	}
}

func many(n int, one string) string {
	if n == 1 {
		return one
	}
	return one + "s"
}

// metres writes a measure to four figures or more, without an exponent.
func metres(v float64, in string) string {
	decimals := 3
	for limit := 1.0; decimals < 9 && v != 0 && v < limit; limit /= 10 {
		decimals++
	}
	return strings.TrimSpace(fmt.Sprintf("%.*f %s", decimals, v, in))
}

// plain writes a number as a person does, to ten figures, without an exponent.
func plain(v float64) string {
	ten, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 10, 64), 64)
	if err != nil { // past the largest number by the rounding
		ten = v
	}
	return strconv.FormatFloat(ten, 'f', -1, 64)
}

func size(x geometry.Extent) string {
	return fmt.Sprintf("%.0f x %.0f x %.0f", 1000*x.Width, 1000*x.Depth, 1000*x.Height)
}

// GaugeSheet writes what can be said of a mesh that was read once and not kept.
func GaugeSheet(w io.Writer, title string, g *meshfile.Gauged, scale float64) error {
	t := text{}
	t.line("%s", title)
	t.line("Quick measures at %s times the size of the model; joins, rims and parts are not looked at", plain(scale))
	row := func(name, figure string) { t.line("  %-28s %16s", name, figure) }
	row("Triangles", fmt.Sprint(g.Faces))
	row("Surface in the file", metres(g.Area*scale*scale, "m2"))
	volume, closes := g.Volume()
	if closes {
		row("Volume", metres(volume*scale*scale*scale, "m3"))
	} else {
		row("Volume", "none: it does not close up")
	}
	row("Box, mm", size(geometry.Extent{
		Width: scale * (g.High[0] - g.Low[0]), Depth: scale * (g.High[1] - g.Low[1]), Height: scale * (g.High[2] - g.Low[2]),
	}))
	for _, warning := range g.Warnings {
		t.paragraph("  - ", "    ", warning.Says)
	}
	return t.write(w)
}
