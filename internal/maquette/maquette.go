// Package maquette holds what is known of a scanned maquette or a digital sculpt,
// and measures the piece that is made from it at a scale. A mesh flows in, once;
// the measures of a piece of any size flow out, and in how many pieces its mould
// might come apart.
//
// Lengths are in metres, areas in m2, volumes in m3; up is z.
package maquette

import (
	"fmt"
	"slices"

	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/mesh"
	"github.com/mouldwright/mouldwright/internal/release"
)

// Maquette is what is known of one model at its own size. What it tells never changes,
// and several callers may ask at once.
type Maquette struct {
	survey     *mesh.Survey
	skin       *mesh.Mesh // the outer skin, wound outward
	upright    mesh.Box
	smallest   mesh.Box
	silhouette [3]float64
	thickness  mesh.Thicknesses
	mirrored   bool
	release    *release.Study
	splits     [2]release.Split // without forced pulls
	file       []mesh.Warning   // of the file that the model came from
	cuts       cuts
}

// thicknessSamples is how many rays tell the share of thin parts: at 20,000 a share
// is within 1 % of the surface, 19 times in 20 (binomial distribution).
const thicknessSamples = 20_000

// Study measures a model once, so that pieces of any size can be measured from it. What
// its file was warned of goes before its own warnings. Its error says why the mesh cannot
// be measured.
func Study(m *mesh.Mesh, file ...mesh.Warning) (*Maquette, error) {
	survey, err := mesh.Examine(m)
	if err != nil {
		return nil, err
	}
	q := &Maquette{survey: survey, skin: survey.Outer(), file: file}
	q.upright, q.smallest = mesh.UprightBox(q.skin), mesh.OrientedBox(q.skin)
	for i, from := range views() {
		shadow, err := mesh.Silhouette(q.skin, from.along)
		if err != nil {
			return nil, fmt.Errorf("drawing its silhouette: %w", err)
		}
		q.silhouette[i] = shadow.Area
	}
	if q.thickness, err = mesh.Thickness(q.skin, thicknessSamples); err != nil {
		return nil, fmt.Errorf("measuring how thick it is: %w", err)
	}
	q.mirrored, _ = mesh.SelfMirror(q.skin)
	return q, q.split()
}

func (q *Maquette) split() error {
	var err error
	if q.release, err = release.NewStudy(q.skin, release.Options{}); err != nil {
		return fmt.Errorf("looking how a mould comes off: %w", err)
	}
	for i, draft := range drafts() {
		if q.splits[i], err = q.release.Split(draft); err != nil {
			return fmt.Errorf("splitting its mould: %w", err)
		}
	}
	return nil
}

func drafts() [2]release.Draft { return [2]release.Draft{release.NoDraft, release.TwoDegrees} }

func degrees() [2]float64 { return [2]float64{0, 2} }

// view is a side that a piece is seen from.
type view struct {
	name  string
	along mesh.Point
}

func views() [3]view {
	return [3]view{{"front", mesh.Point{0, 1, 0}}, {"side", mesh.Point{1, 0, 0}}, {"above", mesh.Point{0, 0, 1}}}
}

// Skin returns the outer skin at the model's own size, wound outward.
func (q *Maquette) Skin() *mesh.Mesh { return q.skin }

// Faces returns how many triangles the model has, inner skins included.
func (q *Maquette) Faces() int { return len(q.survey.Mesh.Faces) }

// Opens reports whether the model has a rim to trim: it is no closed body.
func (q *Maquette) Opens() bool { return q.survey.Rim > 0 }

// Extent returns the size of the box along the axes, as the model stands.
func (q *Maquette) Extent() geometry.Extent {
	low, high := q.survey.Low, q.survey.High
	return geometry.Extent{Width: high[0] - low[0], Depth: high[1] - low[1], Height: high[2] - low[2]}
}

// Surface returns the area to mould: the outer skin, as it is without the roughness
// of a scan where that adds more than 2 %.
func (q *Maquette) Surface() float64 {
	if q.rough() {
		return q.survey.SmoothSkin
	}
	return q.survey.Skin
}

// moulded is what is to be moulded of an area in the file, m2: where the roughness of a
// scan is taken off the surface, its parts lose their share of it.
func (q *Maquette) moulded(area float64) float64 {
	if q.rough() {
		return area * q.survey.SmoothSkin / q.survey.Skin
	}
	return area
}

// rough reports whether the survey found noise that makes the surface read high, and
// warned of it.
func (q *Maquette) rough() bool {
	return slices.ContainsFunc(q.survey.Warnings, func(w mesh.Warning) bool { return w.Code == mesh.Rough })
}

// Zone returns the area of one of the file's materials and the length of the lines
// along which it meets others; false where there is no such material.
func (q *Maquette) Zone(name string) (geometry.ZoneMeasures, bool) {
	for _, z := range q.survey.Zones {
		if z.Zone == name {
			return geometry.ZoneMeasures{Area: q.moulded(z.Area), Edge: q.seams(name)}, true
		}
	}
	return geometry.ZoneMeasures{}, false
}

func (q *Maquette) seams(name string) float64 {
	sum := 0.0
	for _, s := range q.survey.Seams {
		if s.A == name || s.B == name {
			sum += s.Length
		}
	}
	return sum
}

// Zones lists the names of the file's materials, in its order.
func (q *Maquette) Zones() []string {
	names := make([]string, len(q.survey.Zones))
	for i, z := range q.survey.Zones {
		names[i] = z.Zone
	}
	return names
}
