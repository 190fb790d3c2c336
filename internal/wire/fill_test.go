package wire

import (
	"testing"

	"github.com/stretchr/testify/require"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// Two squares that run the same way round: all of the larger by SVG's own rule (SVG 2,
// fill-rule), a frame by the even-odd rule. What was not said is noted with its area; what
// was said, and what comes to the same, is not.
func TestAnUnsaidFillRuleIsNoted(t *testing.T) {
	const frame, hole = "M0 0H10V10H0Z M2 2H8V8H2Z", "M0 0H10V10H0Z M2 2V8H8V2Z"
	for _, c := range []struct {
		path       string
		rule       mouldwrightv1.FillRule
		area, note float64
	}{
		{frame, mouldwrightv1.FillRule_FILL_RULE_UNSPECIFIED, 100e-6, 64e-6},
		{frame, mouldwrightv1.FillRule_FILL_RULE_NONZERO, 100e-6, 0},
		{frame, mouldwrightv1.FillRule_FILL_RULE_EVEN_ODD, 64e-6, 0},
		{hole, mouldwrightv1.FillRule_FILL_RULE_UNSPECIFIED, 64e-6, 0},
	} {
		s := outline(&mouldwrightv1.Outline{PathData: c.path, MmPerUnit: 1, DepthMm: 1, FillRule: c.rule})
		require.InDelta(t, c.note, s.EvenOdd, 1e-12, "%s %v", c.path, c.rule)
		l := lettering(&mouldwrightv1.Lettering{PathData: c.path, MmPerUnit: 1, FillRule: c.rule})
		require.InDelta(t, c.area, l.Area, 1e-12, "%s %v", c.path, c.rule)
		require.InDelta(t, c.note, l.EvenOdd, 1e-12, "%s %v", c.path, c.rule)
	}
}
