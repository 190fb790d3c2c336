package wire

import (
	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/ratebook"
	"github.com/mouldwright/mouldwright/internal/takeoff"
	"github.com/mouldwright/mouldwright/internal/unit"
)

// Takeoffs returns the measures of the pieces.
func Takeoffs(pieces []quote.Piece, e *ratebook.Edition) []*mouldwrightv1.PieceTakeoff {
	pbs := make([]*mouldwrightv1.PieceTakeoff, len(pieces))
	for i := range pieces {
		pbs[i] = pieceTakeoff(&pieces[i], e)
	}
	return pbs
}

func pieceTakeoff(p *quote.Piece, e *ratebook.Edition) *mouldwrightv1.PieceTakeoff {
	pb := &mouldwrightv1.PieceTakeoff{
		Piece: p.Code, Name: p.Name,
		Surface:    figure(p.Surface, unit.SquareMetre, p.Basis.Surface),
		Rim:        figure(p.Rim, unit.Metre, p.Basis.Rim),
		Volume:     figure(p.Volume, unit.CubicMetre, p.Basis.Volume),
		FoamBlank:  figure(p.Blank, unit.CubicMetre, p.Basis.Blank),
		Silhouette: figure(p.Silhouette, unit.SquareMetre, p.Basis.Silhouette),
		Parting:    figure(p.Parting, unit.Metre, p.Basis.Parting),
		Flange:     figure(p.Flange, unit.SquareMetre, "both sides of the parting line and the rim, times the flange width"),
		Size:       sizeOut(p.Extent),
		Mass:       figure(p.Load.Total(), unit.Kilogram, "laminate, gelcoat, films and fixings of one cast; expect 15 % either way (common practice, no source)"),
		Body:       mouldwrightv1.Body(p.Body), HandCount: int32(p.Hands()), CastCount: int32(p.Casts()), Route: routeOut(p.Direct),
		PatternCount: int32(p.Patterns()), MouldCount: int32(p.Moulds()),
		LaminateThicknessMm: printed(1000 * p.Thickness()),
		Laminate:            p.Laminate.Code, Finish: p.Treatment.Code, Zones: zones(p.Zones),
	}
	if !p.Direct {
		pb.MouldPieceCount = int32(p.MouldParts)
		pb.MouldThicknessMm = printed(1000 * e.MouldSchedule.SkinThickness)
		for _, n := range p.Pulls {
			pb.PullsPerMould = append(pb.PullsPerMould, int32(n))
		}
	}
	return pb
}

// figure returns a measure as printed. Measures of a checked brief are in range.
func figure(v float64, u unit.Unit, basis string) *mouldwrightv1.MeasureFigure {
	q, _ := unit.Measure(v, u)
	return &mouldwrightv1.MeasureFigure{Quantity: Quantity(q), Basis: basis}
}

// printed rounds a length in millimetres to the two decimals that are worth
// printing of a laminate.
func printed(mm float64) float64 {
	q, _ := unit.Measure(mm, unit.Metre) // metres print two decimals
	return q.Float()
}

func sizeOut(x geometry.Extent) *mouldwrightv1.Size {
	return &mouldwrightv1.Size{WidthMm: printed(1000 * x.Width), DepthMm: printed(1000 * x.Depth), HeightMm: printed(1000 * x.Height)}
}

func zones(zones []takeoff.Zone) []*mouldwrightv1.ZoneTakeoff {
	pbs := make([]*mouldwrightv1.ZoneTakeoff, len(zones))
	for i := range zones {
		z := &zones[i]
		pbs[i] = &mouldwrightv1.ZoneTakeoff{
			Name: z.Name, Finish: z.Treatment.Code, CountPerCast: int32(z.Count), TotalCount: int32(z.Total),
			Area: figure(z.Area, unit.SquareMetre, "from its shape"), Edge: figure(z.Edge, unit.Metre, z.Basis),
		}
	}
	return pbs
}
