package laminate

import (
	"errors"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// MouldFactor is how many times as thick as the part its mould is at least.
//
// Source: Practical Action technical brief "Fibreglass boat building", p.7,
// "at least twice".
const MouldFactor = 2.0

// ReleaseCure is the least cure of a part before release, h, at air of at least
// [ReleaseCureC].
//
// Source: class rules 3.2.7 (azpdf.net).
const ReleaseCure = 48.0

// ReleaseCureC is the air temperature, deg C, that [ReleaseCure] is stated for.
const ReleaseCureC = 18.0

// MouldThickness is the laminate thickness of a mould, m, for a part's thickness
// (0 to 10 m) and a factor of 1 to 10, [MouldFactor] by default.
//
// Source: as for [MouldFactor].
func MouldThickness(part, factor float64) (float64, error) {
	err := errors.Join(
		checkThickness("part thickness, m", part),
		fault.Unless(factor >= 1 && factor <= 10, "mould thickness factor", factor, "1 to 10"),
	)
	if err != nil {
		return 0, err
	}
	return float64(part * factor), nil
}

// FlangeArea is the extra mould laminate, m2, on flanges of a width (m): both sides
// of the parting line (m) and the rim (m) once.
//
// Source: geometry; flange widths of 0.05 to 0.1 m are common practice, no source.
func FlangeArea(parting, rim, width float64) (float64, error) {
	err := errors.Join(
		fault.Unless(parting >= 0 && parting <= 1e5, "parting length, m", parting, "0 to 1e5"),
		fault.Unless(rim >= 0 && rim <= 1e5, "rim length, m", rim, "0 to 1e5"),
		fault.Unless(width >= 0 && width <= 10, "flange width, m", width, "0 to 10"),
	)
	if err != nil {
		return 0, err
	}
	return float64((float64(2*parting) + rim) * width), nil
}
