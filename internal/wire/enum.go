package wire

import (
	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/derivation"
	"github.com/mouldwright/mouldwright/internal/geometry"
	"github.com/mouldwright/mouldwright/internal/ratebook"
)

// Where the domain and the contract count the same things in the same order, a
// value crosses by its number; a test walks every value of every enum and holds
// the two to each other by their names. The choices that the domain folds into
// other values are spelt out below.

func endsIn(e mouldwrightv1.Ends) geometry.Ends {
	switch e {
	case mouldwrightv1.Ends_ENDS_BASE:
		return geometry.EndsBase
	case mouldwrightv1.Ends_ENDS_TOP:
		return geometry.EndsTop
	case mouldwrightv1.Ends_ENDS_NEITHER:
		return geometry.EndsNeither
	default:
		return geometry.EndsBoth
	}
}

func curveIn(c mouldwrightv1.DomeCurve) geometry.DomeProfile {
	if c == mouldwrightv1.DomeCurve_DOME_CURVE_HALF_SPHEROID {
		return geometry.HalfSpheroid
	}
	return geometry.Cap
}

// fillRuleIn takes SVG's own default where none is named.
func fillRuleIn(r mouldwrightv1.FillRule) geometry.Rule {
	if r == mouldwrightv1.FillRule_FILL_RULE_EVEN_ODD {
		return geometry.EvenOdd
	}
	return geometry.NonZero
}

func routeIn(r mouldwrightv1.Route) brief.Route {
	switch r {
	case mouldwrightv1.Route_ROUTE_MOULDED:
		return brief.Moulded
	case mouldwrightv1.Route_ROUTE_DIRECT:
		return brief.Direct
	default:
		return brief.Choose
	}
}

// exposureIn takes a piece that nobody said anything about as outdoors, the more
// demanding.
func exposureIn(e mouldwrightv1.Exposure) ratebook.Exposure {
	if e == mouldwrightv1.Exposure_EXPOSURE_INDOOR {
		return ratebook.Indoor
	}
	return ratebook.Outdoor
}

func measureIn(m mouldwrightv1.Measure) ratebook.Measure {
	if m == mouldwrightv1.Measure_MEASURE_UNSPECIFIED {
		return ratebook.NoMeasure
	}
	return ratebook.Measure(m - mouldwrightv1.Measure_MEASURE_NONE)
}

func operatorOut(o derivation.Operator) mouldwrightv1.Operator { return mouldwrightv1.Operator(o) }

func stageOut(s ratebook.Stage) mouldwrightv1.Stage { return mouldwrightv1.Stage(s) }

func routeOut(direct bool) mouldwrightv1.Route {
	if direct {
		return mouldwrightv1.Route_ROUTE_DIRECT
	}
	return mouldwrightv1.Route_ROUTE_MOULDED
}
