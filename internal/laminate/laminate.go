// Package laminate works out hand-laid glass and resin: the mass, resin and
// thickness that follow from the weight of glass and the resin taken up by it.
//
// The glass areal mass is the controlled input; resin follows from the ratio and
// thickness is an outcome. A caller never gives both a ratio and a thickness.
//
// Units are m, m2, kg and kg/m3. Shares are fractions of 1. Formulas assume a
// void-free laminate (volume = mass / density, summed) unless they say otherwise.
package laminate

import (
	"errors"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Densities of the cured materials, kg/m3. Both are defaults: a ply carries its own.
const (
	// EGlassDensity is the value of the small-craft scantling rules (from memory);
	// published tables give 2540 to 2600 (Jang 1994; Gibson, Hyer).
	EGlassDensity = 2560.0
	// PolyesterDensity is from memory; liquid 1130 kg/m3 with 7 % shrinkage gives
	// 1215 (see [CuredDensity]), handbooks range over 1100 to 1250.
	PolyesterDensity = 1200.0
)

// Imperial weights of mat and cloth, kg/m2 (unit identities: 1 oz = 0.028349523125 kg,
// 1 ft = 0.3048 m, 1 yd = 0.9144 m).
const (
	OuncePerSquareFoot = 0.028349523125 / (0.3048 * 0.3048)
	OuncePerSquareYard = 0.028349523125 / (0.9144 * 0.9144)
)

// Ply is one layer of reinforcement with the resin it takes up.
type Ply struct {
	Glass        float64 // areal mass of the dry glass, kg/m2, 0.001 to 100
	Ratio        float64 // resin to glass by mass, 0 to 100
	GlassDensity float64 // kg/m3, 100 to 30000
	ResinDensity float64 // cured, kg/m3, 100 to 30000
}

// Polyester is a ply of E-glass in polyester at the default densities.
func Polyester(glass, ratio float64) Ply {
	return Ply{Glass: glass, Ratio: ratio, GlassDensity: EGlassDensity, ResinDensity: PolyesterDensity}
}

// Check gives every [fault.Refusal] of the ply, joined, or nil. The other methods are
// meaningful only for a ply that passes it.
func (p Ply) Check() error {
	return errors.Join(
		fault.Unless(p.Glass >= 0.001 && p.Glass <= 100, "glass areal mass, kg/m2", p.Glass, "0.001 to 100"),
		checkRatio(p.Ratio),
		checkDensity("glass density, kg/m3", p.GlassDensity),
		checkDensity("resin density, kg/m3", p.ResinDensity),
	)
}

// Resin is the resin that the glass takes up, r w, kg/m2.
//
// Source: Boytek technical note "ratio of resin/glass"; TotalBoat support article.
func (p Ply) Resin() float64 {
	return float64(p.Ratio * p.Glass)
}

// Mass is the mass of the wetted ply, w (1 + r) = w / psi, kg/m2.
//
// Source: as for [Ply.Resin], an identity.
func (p Ply) Mass() float64 {
	return float64(p.Glass * (1 + p.Ratio))
}

// Thickness is w/rho_g + r w/rho_r, m, without voids.
//
// Source: identity (volume = mass / density) in the symbols of Geerts, "Calculating
// Laminate Thickness", Epoxyworks. Against a printed 3.2 mm for three layers of
// 1.5 oz/ft2 mat (US Army TM 5-3820-256-24-5) it gives 3.206 mm.
func (p Ply) Thickness() float64 {
	return p.Glass/p.GlassDensity + p.Resin()/p.ResinDensity
}

// Allowance is how many times the ply's own resin a supplier's quoted figure
// (kg/m2, above 0 to 1000) holds: quoted / (r w). A figure above 1 already carries
// the waste, and waste must then not be added again.
//
// Source: the roofing guides' 1.5 kg/m2 for 450 g/m2 mat, read against r = 2.5.
func (p Ply) Allowance(quoted float64) (float64, error) {
	err := errors.Join(
		p.Check(),
		fault.Unless(p.Ratio > 0, "resin to glass ratio", p.Ratio, "above 0"),
		fault.Unless(quoted > 0 && quoted <= 1000, "quoted resin, kg/m2", quoted, "above 0 to 1000"),
	)
	if err != nil {
		return 0, err
	}
	return quoted / p.Resin(), nil
}

// Fraction is the glass share of the mass for a resin to glass ratio of 0 to 100:
// psi = 1 / (1 + R).
//
// Source: Practical Action technical brief "Fibreglass boat building".
func Fraction(ratio float64) (float64, error) {
	if err := checkRatio(ratio); err != nil {
		return 0, err
	}
	return 1 / (1 + ratio), nil
}

// Ratio is the resin to glass ratio for a glass share of the mass, R = (1 - psi) / psi.
// A psi below 1/101 or above 1 is refused.
//
// Source: Boytek technical note "ratio of resin/glass".
func Ratio(psi float64) (float64, error) {
	if err := checkFraction(psi); err != nil {
		return 0, err
	}
	return (1 - psi) / psi, nil
}

// VolumeFraction is the glass share of the volume, from its share psi of the mass,
// the two densities (kg/m3) and the share of the whole volume that is voids
// (0 to below 0.5; 0 for none):
//
//	Vf = (1 - v) (psi/rho_g) / (psi/rho_g + (1-psi)/rho_r)
//
// Source: codingace.net, fiber volume fraction pages.
func VolumeFraction(psi, glassDensity, resinDensity, voids float64) (float64, error) {
	err := errors.Join(checkMix(psi, glassDensity, resinDensity), checkVoids(voids))
	if err != nil {
		return 0, err
	}
	glass := psi / glassDensity
	return (1 - voids) * glass / (glass + (1-psi)/resinDensity), nil
}

// Density is the density of a void-free laminate, kg/m3:
// 1 / (psi/rho_g + (1-psi)/rho_r).
//
// Source: rho = (m_f + m_m)/V, codingace.net fiber volume fraction page.
func Density(psi, glassDensity, resinDensity float64) (float64, error) {
	if err := checkMix(psi, glassDensity, resinDensity); err != nil {
		return 0, err
	}
	return 1 / (psi/glassDensity + (1-psi)/resinDensity), nil
}

// Voided is the real thickness (m) of a laminate of the given void-free thickness
// (0 to 10 m): t / (1 - v), with v the voids' share of the volume (0 to below 0.5).
//
// Source: identity V = V_f + V_m + V_v. Hand lay-up voids of 0.01 to 0.04 are from memory.
func Voided(thickness, voids float64) (float64, error) {
	err := errors.Join(checkThickness("void-free thickness, m", thickness), checkVoids(voids))
	if err != nil {
		return 0, err
	}
	return thickness / (1 - voids), nil
}

// CuredDensity is the density of the cured resin, kg/m3, from the liquid's density
// and the share of its volume lost on cure (0 to below 0.5): rho_l / (1 - s).
//
// Source: craftycorner.co.za polyester data (SG 1.13, 7 % volume shrinkage).
func CuredDensity(liquid, shrinkage float64) (float64, error) {
	err := errors.Join(
		checkDensity("liquid density, kg/m3", liquid),
		fault.Unless(shrinkage >= 0 && shrinkage < 0.5, "volume shrinkage, share", shrinkage, "0 to below 0.5"),
	)
	if err != nil {
		return 0, err
	}
	return liquid / (1 - shrinkage), nil
}

// FromCoverage is what an area takes at a stated coverage: A / c. The answer is in
// kg for a coverage in m2/kg and in litres for m2/L.
//
// Source: Rayplex, "Estimating coverage".
func FromCoverage(area, coverage float64) (float64, error) {
	err := errors.Join(
		fault.Unless(area >= 0 && area <= 1e6, "area, m2", area, "0 to 1e6"),
		fault.Unless(coverage >= 1e-3 && coverage <= 1e4, "coverage, m2 per unit", coverage, "0.001 to 1e4"),
	)
	if err != nil {
		return 0, err
	}
	return area / coverage, nil
}

// Overlap is the factor on mat for lapping rolls of a width by a lap (m):
// W / (W - o). The lap is at most half the width, since a wider one doubles the laminate.
//
// Source: overlap of 50 mm or more, ICS FRP rules section 3 301.
func Overlap(width, lap float64) (float64, error) {
	err := errors.Join(
		fault.Unless(width >= 0.01 && width <= 10, "roll width, m", width, "0.01 to 10"),
		fault.Unless(lap >= 0 && lap <= width/2, "overlap, m", lap, "0 to half the roll's width"),
	)
	if err != nil {
		return 0, err
	}
	return width / (width - lap), nil
}

// LayersFor is how many layers of a thickness (m) reach at least a wanted thickness (m).
//
// Source: identity; with the mould rule it gives the six layers of 450 g/m2 mat
// printed in Practical Boat Owner, May 2018.
func LayersFor(thickness, layer float64) (int, error) {
	err := errors.Join(
		checkThickness("thickness, m", thickness),
		fault.Unless(layer >= 1e-6 && layer <= 1, "layer thickness, m", layer, "1e-6 to 1"),
	)
	if err != nil {
		return 0, err
	}
	// 6.3 mm over 1.05 mm is 6.000000000000001 in binary: without the
	// tolerance that would be laid up as a seventh layer.
	return int(math.Ceil(thickness / layer * (1 - 1e-9))), nil
}

func checkRatio(ratio float64) error {
	return fault.Unless(ratio >= 0 && ratio <= 100, "resin to glass ratio by mass", ratio, "0 to 100")
}

func checkFraction(psi float64) error {
	return fault.Unless(psi >= 1.0/101 && psi <= 1, "glass fraction by mass", psi, "1/101 to 1")
}

func checkDensity(quantity string, density float64) error {
	return fault.Unless(density >= 100 && density <= 30000, quantity, density, "100 to 30000")
}

func checkVoids(voids float64) error {
	return fault.Unless(voids >= 0 && voids < 0.5, "voids, share of the volume", voids, "0 to below 0.5")
}

func checkThickness(quantity string, thickness float64) error {
	return fault.Unless(thickness >= 0 && thickness <= 10, quantity, thickness, "0 to 10")
}

func checkMix(psi, glassDensity, resinDensity float64) error {
	return errors.Join(
		checkFraction(psi),
		checkDensity("glass density, kg/m3", glassDensity),
		checkDensity("resin density, kg/m3", resinDensity),
	)
}
