// Package foam works out the stock that a foam pattern is carved from: blanks, the
// pieces that a blank is bonded up from, whole blocks, bond area and offcut.
//
// Units are m, m2, m3, kg and kg/m3. Sizes are worked to the nearest 0.1 mm, finer
// than foam is cut; the wire's or saw's kerf is to be in the blanks' sizes.
package foam

import (
	"errors"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// PoundPerCubicFoot is 1 lb/ft3 in kg/m3 (unit identity), for stock sold by the pcf.
const PoundPerCubicFoot = 0.45359237 / (0.3048 * 0.3048 * 0.3048)

// Block is a size of stock, sold whole.
type Block struct {
	Width, Depth, Height float64 // m, 0.01 to 30 each
}

// Volume is the volume of one block, a b c, m3.
func (b Block) Volume() float64 {
	return float64(b.Width * b.Depth * b.Height)
}

// Mass is the mass of one block, V rho, kg, at a density of 1 to 3000 kg/m3.
//
// Source: identity; densities by grade from ASTM D6817/C578.
func (b Block) Mass(density float64) (float64, error) {
	err := errors.Join(b.Check(), fault.Unless(density >= 1 && density <= 3000, "foam density, kg/m3", density, "1 to 3000"))
	if err != nil {
		return 0, err
	}
	return float64(b.Volume() * density), nil
}

// Check gives every [fault.Refusal] of the block, joined, or nil.
func (b Block) Check() error {
	return errors.Join(
		checkSide("block width, m", b.Width, 0.01, 30, "0.01 to 30"),
		checkSide("block depth, m", b.Depth, 0.01, 30, "0.01 to 30"),
		checkSide("block height, m", b.Height, 0.01, 30, "0.01 to 30"),
	)
}

// Blank is a box of foam that one pattern, or one part of it, is carved from.
type Blank struct {
	Width, Depth, Height float64 // m, 0.001 to 100 each
	Count                int     // of the same size, 0 to 1e6
}

// Volume is the volume of one of the blanks, m3.
func (b Blank) Volume() float64 {
	return float64(b.Width * b.Depth * b.Height)
}

// Check gives every [fault.Refusal] of the blank, joined, or nil.
func (b Blank) Check() error {
	return errors.Join(
		checkSide("blank width, m", b.Width, 0.001, 100, "0.001 to 100"),
		checkSide("blank depth, m", b.Depth, 0.001, 100, "0.001 to 100"),
		checkSide("blank height, m", b.Height, 0.001, 100, "0.001 to 100"),
		fault.Unless(b.Count >= 0 && b.Count <= 1e6, "blanks of a size", float64(b.Count), "0 to 1e6"),
	)
}

// BlankVolume is the volume of blank, m3, for a carved volume (m3, 0 to 1e9) that is a
// share of it (0.01 to 1): V / share. A rounded form is about pi/6 of its box.
//
// Source: shares of 0.4 to 0.7 are common practice; pi/6 is the sphere in its cube.
func BlankVolume(carved, share float64) (float64, error) {
	err := errors.Join(
		checkVolume("carved volume, m3", carved),
		fault.Unless(share >= 0.01 && share <= 1, "carved share of the blank", share, "0.01 to 1"),
	)
	if err != nil {
		return 0, err
	}
	return carved / share, nil
}

// CarvingShare is the share of a blank (m3) that stays after carving (m3).
//
// Source: definition.
func CarvingShare(carved, blank float64) (float64, error) {
	err := errors.Join(
		fault.Unless(blank >= 1e-9 && blank <= 1e9, "blank volume, m3", blank, "1e-9 to 1e9"),
		fault.Unless(carved >= 0 && carved <= blank, "carved volume, m3", carved, "0 to the blank's"),
	)
	if err != nil {
		return 0, err
	}
	return carved / blank, nil
}

// FromPCF is a density of 0.05 to 200 lb/ft3 in kg/m3.
//
// Source: unit identity; ASTM C578 Type I, 0.90 pcf, is 14.4 kg/m3.
func FromPCF(pcf float64) (float64, error) {
	if err := fault.Unless(pcf >= 0.05 && pcf <= 200, "density, lb/ft3", pcf, "0.05 to 200"); err != nil {
		return 0, err
	}
	return float64(pcf * PoundPerCubicFoot), nil
}

// CoatRate is the mass of a coat per area and thickness, kg/m2 per m (so, kg/m3; a
// thousandth of it is kg/m2 per mm), from what a pack covers: m / (A t), for a mass
// (kg), an area (m2) and a film (m), all above 0.
//
// Source: Exterior Foam Coat #026 coverage table.
func CoatRate(mass, area, film float64) (float64, error) {
	err := errors.Join(
		fault.Unless(mass >= 1e-6 && mass <= 1e6, "coat mass, kg", mass, "1e-6 to 1e6"),
		fault.Unless(area >= 1e-6 && area <= 1e6, "area, m2", area, "1e-6 to 1e6"),
		fault.Unless(film >= 1e-6 && film <= 1, "coat thickness, m", film, "1e-6 to 1"),
	)
	if err != nil {
		return 0, err
	}
	return mass / float64(area*film), nil
}

// CoatMass is the hard coat on a pattern, kg: A t q, for an area (m2, 0 to 1e6), a film
// (m, 0 to 1) and a rate (kg/m2 per m, 1 to 1e4).
//
// Source: as for [CoatRate].
func CoatMass(area, film, rate float64) (float64, error) {
	err := errors.Join(
		fault.Unless(area >= 0 && area <= 1e6, "area, m2", area, "0 to 1e6"),
		fault.Unless(film >= 0 && film <= 1, "coat thickness, m", film, "0 to 1"),
		fault.Unless(rate >= 1 && rate <= 1e4, "coat rate, kg/m2 per m", rate, "1 to 1e4"),
	)
	if err != nil {
		return 0, err
	}
	return float64(area * film * rate), nil
}

func checkSide(quantity string, side, low, high float64, allowed string) error {
	return fault.Unless(side >= low && side <= high, quantity, side, allowed)
}

func checkVolume(quantity string, volume float64) error {
	return fault.Unless(volume >= 0 && volume <= 1e9, quantity, volume, "0 to 1e9")
}

// grain is the size that all sides are rounded to, m. On whole grains the packing is
// exact: no piece fits, or fails to fit, by binary noise.
const grain = 1e-4

func grains(m float64) int64 {
	return int64(math.Round(m / grain))
}
