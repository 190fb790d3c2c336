// Package paint works out how much paint a surface takes: spreading rate, film,
// coats, losses, and the split of a mixed paint into its parts.
//
// Areas are m2, paint is in litres, films in micrometres (um) and solids in percent
// by volume of the mixed, thinned paint. Solids by weight overstate coverage by
// about half and must not be used.
package paint

import (
	"errors"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// SpreadingRate is the theoretical spreading rate, m2/L: 10 VS / DFT, for volume
// solids in percent and a dry film in um.
//
// Source: identity; printed in the Apcothane CF 674 and Transocean data sheets. The
// US form is 1604 VS / DFT in ft2/gal and mil.
func SpreadingRate(volumeSolidsPercent, dryFilmUM float64) (float64, error) {
	err := errors.Join(checkSolids(volumeSolidsPercent), checkFilm("dry film, um", dryFilmUM))
	if err != nil {
		return 0, err
	}
	return 10 * volumeSolidsPercent / dryFilmUM, nil
}

// Practical is the practical spreading rate, m2/L: TSR x TE x (1 - loss), for a
// transfer efficiency above 0 to 1 and a further loss (pot, roughness, wind) of 0 to
// below 1. Where a sheet gives one loss for the method, the transfer efficiency is 1.
//
// Source: Transocean "Coverage/Spreading rate" sheet; transfer by gun from the
// pfonline.com primer on transfer efficiency.
func Practical(spreadingRate, transfer, loss float64) (float64, error) {
	err := errors.Join(
		fault.Unless(spreadingRate > 0 && spreadingRate <= 1e6, "spreading rate, m2/L", spreadingRate, "above 0 to 1e6"),
		checkTransfer(transfer),
		checkLoss(loss),
	)
	if err != nil {
		return 0, err
	}
	return float64(spreadingRate * transfer * (1 - loss)), nil
}

// Litres is the mixed paint, L, for an area (m2, 0 to 1e6), a total dry film (um),
// volume solids (percent), transfer efficiency and loss:
// A DFT / (10 VS TE (1 - loss)).
//
// Source: area over [Practical].
func Litres(area, dryFilmUM, volumeSolidsPercent, transfer, loss float64) (float64, error) {
	rate, err := SpreadingRate(volumeSolidsPercent, dryFilmUM)
	err = errors.Join(err, checkTransfer(transfer), checkLoss(loss), checkArea(area))
	if err != nil {
		return 0, err
	}
	return area / (rate * transfer * (1 - loss)), nil
}

// WetFilm is the wet film, um, that dries to a dry film (um): 100 DFT / VS.
//
// Source: identity; Blu-Ray epoxy zinc phosphate primer sheet.
func WetFilm(dryFilmUM, volumeSolidsPercent float64) (float64, error) {
	err := errors.Join(checkFilm("dry film, um", dryFilmUM), checkSolids(volumeSolidsPercent))
	if err != nil {
		return 0, err
	}
	return 100 * dryFilmUM / volumeSolidsPercent, nil
}

// Coats is how many coats of a dry film (um) reach a total dry film (um):
// ceil(DFT / per coat).
//
// Source: identity; Luxol 2K PU sheet (40-60 um at 15 um a coat, "2-3 coats").
func Coats(dryFilmUM, perCoatUM float64) (int, error) {
	err := errors.Join(checkFilm("dry film, um", dryFilmUM), checkFilm("film per coat, um", perCoatUM))
	if err != nil {
		return 0, err
	}
	// The tolerance keeps binary noise from asking for a coat more.
	return int(math.Ceil(dryFilmUM / perCoatUM * (1 - 1e-9))), nil
}

// DryMass is the mass of dry paint on a surface, kg: A DFT rho, for an area (m2), a
// dry film (um) and the dry film's density (kg/m3, 500 to 10000).
//
// Source: identity.
func DryMass(area, dryFilmUM, density float64) (float64, error) {
	err := errors.Join(
		checkArea(area),
		checkFilm("dry film, um", dryFilmUM),
		fault.Unless(density >= 500 && density <= 10000, "dry film density, kg/m3", density, "500 to 10000"),
	)
	if err != nil {
		return 0, err
	}
	return float64(area * dryFilmUM / 1e6 * density), nil
}

func checkSolids(percent float64) error {
	// Below 0.1 % is a share given for a percentage, or no paint at all.
	return fault.Unless(percent >= 0.1 && percent <= 100, "volume solids, percent", percent, "0.1 to 100")
}

func checkFilm(quantity string, um float64) error {
	return fault.Unless(um >= 0.1 && um <= 1e5, quantity, um, "0.1 to 1e5")
}

func checkArea(area float64) error {
	return fault.Unless(area >= 0 && area <= 1e6, "area, m2", area, "0 to 1e6")
}

func checkTransfer(transfer float64) error {
	return fault.Unless(transfer >= 0.001 && transfer <= 1, "transfer efficiency, share", transfer, "0.001 to 1")
}

func checkLoss(loss float64) error {
	return fault.Unless(loss >= 0 && loss <= 0.99, "loss, share", loss, "0 to 0.99")
}
