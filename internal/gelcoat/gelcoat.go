// Package gelcoat works out the gelcoat on a mould, its colour paste and the
// catalyst that cures it (or any polyester resin), and the batches that a pot life
// forces.
//
// Units are m, m2, kg and kg/m3; films are wet films. Catalyst is in percent of the
// resin by mass, as suppliers print it, temperature in deg C and pot life in minutes.
package gelcoat

import (
	"errors"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Density is a usual gelcoat density, kg/m3 (range 1100 to 1400).
//
// Source: 0.12 to 0.13 kg/m2 per 0.1 mm, as the suppliers' coverages imply; the
// round value is common practice.
const Density = 1200.0

// Mil is a thousandth of an inch, m (unit identity).
const Mil = 25.4e-6

// Mass is the gelcoat on an area (m2, 0 to 1e6) at a wet film (m) and density
// (kg/m3), kg: A t rho.
//
// Source: neo.co.th, "calculating fiberglass products", item 1.
func Mass(area, film, density float64) (float64, error) {
	areal, err := ArealMass(film, density)
	err = errors.Join(err, fault.Unless(area >= 0 && area <= 1e6, "area, m2", area, "0 to 1e6"))
	if err != nil {
		return 0, err
	}
	return float64(area * areal), nil
}

// ArealMass is the gelcoat of a wet film, t rho, kg/m2.
//
// Source: as for [Mass].
func ArealMass(film, density float64) (float64, error) {
	if err := errors.Join(checkFilm(film), checkDensity(density)); err != nil {
		return 0, err
	}
	return float64(film * density), nil
}

// Coverage is the area that a kilogram covers at a wet film (m) and density (kg/m3),
// 1 / (t rho), m2/kg.
//
// Source: as for [Mass].
func Coverage(film, density float64) (float64, error) {
	areal, err := ArealMass(film, density)
	if err != nil {
		return 0, err
	}
	return 1 / areal, nil
}

// FromCoverage is the areal mass, kg/m2, for a printed coverage of 0.01 to 1000
// m2/kg: 1 / c.
//
// Source: East Coast Fibreglass "Laminating" guide (0.4-0.6 mm, 1 kg covers 1.6 m2).
func FromCoverage(coverage float64) (float64, error) {
	err := fault.Unless(coverage >= 0.01 && coverage <= 1000, "coverage, m2/kg", coverage, "0.01 to 1000")
	if err != nil {
		return 0, err
	}
	return 1 / coverage, nil
}

// Film is the wet film, m, of an areal mass of 0.001 to 100 kg/m2: m / rho.
//
// Source: as for [Mass].
func Film(areal, density float64) (float64, error) {
	err := errors.Join(
		fault.Unless(areal >= 0.001 && areal <= 100, "areal mass, kg/m2", areal, "0.001 to 100"),
		checkDensity(density),
	)
	if err != nil {
		return 0, err
	}
	return areal / density, nil
}

// AreaPerLitre is the area that a litre covers at a wet film (m), m2/L: 0.001 / t.
//
// Source: identity; the US form is 1604 ft2/gal over the film in mil.
func AreaPerLitre(film float64) (float64, error) {
	if err := checkFilm(film); err != nil {
		return 0, err
	}
	return 0.001 / film, nil
}

// FromMils is a film of 0.1 to 700 mil in m: mil x 25.4e-6.
//
// Source: unit identity.
func FromMils(mils float64) (float64, error) {
	if err := fault.Unless(mils >= 0.1 && mils <= 700, "film, mil", mils, "0.1 to 700"); err != nil {
		return 0, err
	}
	return float64(mils * Mil), nil
}

// Mils is a film (m) in mil, m / 25.4e-6.
//
// Source: unit identity.
func Mils(film float64) (float64, error) {
	if err := checkFilm(film); err != nil {
		return 0, err
	}
	return film / Mil, nil
}

// Paste is the colour paste, kg, for a mass of gelcoat (kg) at a share of that mass.
// Shares above 0.15 are refused: paste does not cure and too much leaves the coat soft.
//
// Source: "up to 10 % by weight", KC Mouldings; neo.co.th prints 10 to 15 %.
func Paste(gelcoat, share float64) (float64, error) {
	err := errors.Join(
		checkMass("gelcoat, kg", gelcoat),
		fault.Unless(share >= 0 && share <= 0.15, "paste, share of the gelcoat", share, "0 to 0.15"),
	)
	if err != nil {
		return 0, err
	}
	return float64(gelcoat * share), nil
}

func checkFilm(film float64) error {
	return fault.Unless(film >= 1e-6 && film <= 0.02, "wet film, m", film, "1e-6 to 0.02")
}

func checkDensity(density float64) error {
	return fault.Unless(density >= 500 && density <= 5000, "density, kg/m3", density, "500 to 5000")
}

func checkMass(quantity string, mass float64) error {
	return fault.Unless(mass >= 0 && mass <= 1e6, quantity, mass, "0 to 1e6")
}
