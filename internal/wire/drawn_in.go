package wire

import (
	"math"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/drawing"
	"github.com/mouldwright/mouldwright/internal/geometry"
)

// wholeForm translates a form that is one solid by itself.
func wholeForm(pb *mouldwrightv1.Form) (brief.Solid, bool) {
	switch {
	case pb.GetOutline() != nil:
		return outline(pb.GetOutline()), true
	case pb.GetProfile() != nil:
		return profile(pb.GetProfile()), true
	case pb.GetSweep() != nil:
		return sweep(pb.GetSweep()), true
	default:
		return brief.Solid{}, false
	}
}

// drawn is a drawing to fill, as the contract has it for outlines and lettering.
type drawn interface {
	GetPathData() string
	GetMmPerUnit() float64
	GetFillRule() mouldwrightv1.FillRule
}

// evenOdd is the area that a drawing would fill by the even-odd rule, where it gives no
// rule and the area is another; otherwise 0.
func evenOdd(pb drawn, loops [][]geometry.Point, region geometry.Region) float64 {
	if len(loops) < 2 || pb.GetFillRule() != mouldwrightv1.FillRule_FILL_RULE_UNSPECIFIED {
		return 0
	}
	other, err := geometry.Fill(loops, geometry.EvenOdd)
	if err != nil || math.Abs(other.Area-region.Area) <= 1e-6*region.Area {
		return 0
	}
	return other.Area
}

// filled reads a drawing. Where it cannot be used, unread says why; where the
// contract's own rules do, there are neither loops nor that.
func filled(pb drawn) (loops [][]geometry.Point, region geometry.Region, unread string) {
	if pb.GetPathData() == "" || !(pb.GetMmPerUnit() > 0) {
		return nil, geometry.Region{}, ""
	}
	d, err := drawing.Parse(pb.GetPathData(), metres(pb.GetMmPerUnit()))
	if err != nil {
		return nil, geometry.Region{}, err.Error()
	}
	region, err = geometry.Fill(d.Loops, fillRuleIn(pb.GetFillRule()))
	switch {
	case err != nil:
		return nil, geometry.Region{}, "too tangled to fill: " + err.Error()
	case !(region.Area > 0):
		return nil, geometry.Region{}, "the path fills nothing by this rule, allowed: subpaths that do not cancel each other"
	}
	return d.Loops, region, ""
}

func outline(pb *mouldwrightv1.Outline) brief.Solid {
	s := brief.Solid{Kind: "outline", Count: 1}
	loops, region, unread := filled(pb)
	if s.Unread = unread; loops == nil {
		return s
	}
	shape := geometry.ExtrudedOutline{Region: region, Depth: metres(pb.GetDepthMm()), EdgeRadius: metres(pb.GetEdgeRadiusMm()), Ends: geometry.EndsTop}
	if shape.EdgeRadius > 0 {
		shape.InsetLoss = geometry.InsetLoss(loops, fillRuleIn(pb.GetFillRule()))
	}
	if pb.GetClosedBack() {
		shape.Ends = geometry.EndsBoth
	}
	s.Shape, s.EvenOdd = shape, evenOdd(pb, loops, region)
	return s
}

func lettering(pb *mouldwrightv1.Lettering) *brief.Lettering {
	loops, region, unread := filled(pb)
	return &brief.Lettering{Area: region.Area, Edge: region.Perimeter, Unread: unread, EvenOdd: evenOdd(pb, loops, region)}
}

func profile(pb *mouldwrightv1.Profile) brief.Solid {
	shape := geometry.Profile{Ends: endsIn(pb.GetEnds())}
	for _, p := range pb.GetPoints() {
		shape.Points = append(shape.Points, geometry.ProfilePoint{Radius: metres(p.GetRadiusMm()), Height: metres(p.GetHeightMm())})
	}
	return brief.Solid{Kind: "profile", Shape: shape, Count: 1, Halved: pb.GetHalved()}
}

// sweep keeps the measures: a long one takes milliseconds, and is asked for them often.
func sweep(pb *mouldwrightv1.Sweep) brief.Solid {
	shape := geometry.Sweep{Smooth: pb.GetSmooth(), Ends: endsIn(pb.GetEnds())}
	for _, s := range pb.GetStations() {
		shape.Stations = append(shape.Stations, geometry.Station{
			X: metres(s.GetXMm()), Y: metres(s.GetYMm()), Z: metres(s.GetZMm()), Diameter: metres(s.GetDiameterMm()),
		})
	}
	return brief.Solid{Kind: "sweep", Shape: geometry.Keep(shape), Count: 1, Halved: pb.GetHalved()}
}

func stripe(pb *mouldwrightv1.Stripe) *geometry.HelicalStripe {
	return &geometry.HelicalStripe{
		Width: metres(pb.GetWidthMm()), Diameter: metres(pb.GetDiameterMm()), Pitch: metres(pb.GetPitchMm()), Turns: pb.GetTurns(),
	}
}
