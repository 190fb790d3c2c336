package pack

import (
	"errors"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Usual divisors of carriers, cm3 per kg: 6000 is the IATA factor (Pengelly factsheet),
// 5000 is couriers' (166.7 and 200 kg/m3).
const (
	AirDivisor     = 6000.0
	CourierDivisor = 5000.0
)

// ChargeableWeight is what a carrier charges for a crate, kg: the larger of the actual
// mass (kg, 0 to 1e6) and length x width x height (m, 0.001 to 100 each) over the
// divisor (cm3/kg, 100 to 1e5), rounded up to a whole kilogram.
//
// Source: Pengelly factsheet (IATA factor).
func ChargeableWeight(length, width, height, actual, divisor float64) (float64, error) {
	err := errors.Join(
		checkSide("crate length, m", length),
		checkSide("crate width, m", width),
		checkSide("crate height, m", height),
		fault.Unless(actual >= 0 && actual <= 1e6, "actual mass, kg", actual, "0 to 1e6"),
		fault.Unless(divisor >= 100 && divisor <= 1e5, "divisor, cm3/kg", divisor, "100 to 1e5"),
	)
	if err != nil {
		return 0, err
	}
	volumetric := length * width * height * 1e6 / divisor
	// 108.00000000000001 kg of binary noise is not charged as 109.
	return math.Ceil(math.Max(actual, volumetric) * (1 - 1e-9)), nil
}

// GrossUp is what to take from stock so that a need (any unit, 0 to 1e12) is left
// after a share is wasted (0 to 0.95): need / (1 - w). It is not need x (1 + w).
//
// Source: arithmetic identity.
func GrossUp(need, waste float64) (float64, error) {
	err := errors.Join(
		fault.Unless(need >= 0 && need <= 1e12, "need", need, "0 to 1e12"),
		fault.Unless(waste >= 0 && waste <= 0.95, "waste, share of what is bought", waste, "0 to 0.95"),
	)
	if err != nil {
		return 0, err
	}
	return need / (1 - waste), nil
}

func checkSide(quantity string, side float64) error {
	return fault.Unless(side >= 0.001 && side <= 100, quantity, side, "0.001 to 100")
}
