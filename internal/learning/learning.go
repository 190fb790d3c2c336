// Package learning works out how the time of a repeated task falls.
//
// Two models are in use and must never be mixed, since the same rate gives a lower
// total under the second: Crawford's unit theory (each doubling of the number makes
// the unit's time fall to the rate) and Wright's cumulative average (each doubling
// makes the average fall). The engine uses unit theory.
//
// Times are in hours, or in any one unit throughout. The rate is a share above 0.5
// and at most 1; at 1 there is no learning and totals are exactly first x n. At 0.5 a
// doubling would cost nothing under Wright. Numbers of units run from 1 to 1e9.
//
// Source of both models: Wideman, "Learning Curve Mathematics" (maxwideman.com),
// appendix 2; RAND RM-6191 (1970) tabulates them.
package learning

import (
	"errors"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Exponent is b = ln r / ln 2, from just above -1 to 0.
//
// Source: definition of the slope.
func Exponent(rate float64) (float64, error) {
	if err := checkRate(rate); err != nil {
		return 0, err
	}
	return math.Log2(rate), nil
}

// Unit is the time of the n-th unit under unit theory, T1 n^b.
//
// Source: Crawford's model, as the package.
func Unit(first, rate float64, n int) (float64, error) {
	return FromKnown(first, rate, 1, n)
}

// FromKnown is the time of the n-th unit under unit theory when the m-th is known,
// Tm (n/m)^b. With m above n the answer is longer than the known time.
//
// Source: Boehmke and Freels, learningCurve 1.1.2 manual.
func FromKnown(known, rate float64, m, n int) (float64, error) {
	err := errors.Join(checkTime("known time", known), checkRate(rate), checkNumber("known unit", m), checkNumber("unit", n))
	if err != nil {
		return 0, err
	}
	return float64(known * math.Pow(float64(n)/float64(m), math.Log2(rate))), nil
}

// Total is the time of units 1 to n under unit theory, T1 sum k^b, to a relative
// accuracy of 1e-12 for any n.
//
// Source: Crawford's model, as the package.
func Total(first, rate float64, n int) (float64, error) {
	err := errors.Join(checkTime("first time", first), checkRate(rate), checkNumber("units", n))
	if err != nil {
		return 0, err
	}
	return float64(first * powerSum(rate, n)), nil
}

// Lot is the time of units from to to, both counted, under unit theory.
//
// Source: Total(to) - Total(from - 1).
func Lot(first, rate float64, from, to int) (float64, error) {
	err := errors.Join(checkTime("first time", first), checkRate(rate), checkLot(from, to))
	if err != nil {
		return 0, err
	}
	return float64(first * (powerSum(rate, to) - powerSum(rate, from-1))), nil
}

// CumulativeTotal is the time of units 1 to n under Wright's model, T1 n^(1+b).
//
// Source: Wright's model, as the package.
func CumulativeTotal(first, rate float64, n int) (float64, error) {
	err := errors.Join(checkTime("first time", first), checkRate(rate), checkNumber("units", n))
	if err != nil {
		return 0, err
	}
	return float64(first * math.Pow(float64(n), rise(rate))), nil
}

// CumulativeUnit is the time of the n-th unit under Wright's model,
// T1 (n^(1+b) - (n-1)^(1+b)).
//
// Source: Boehmke and Freels, learningCurve 1.1.2 manual, ca_unit.
func CumulativeUnit(first, rate float64, n int) (float64, error) {
	return CumulativeLot(first, rate, n, n)
}

// CumulativeLot is the time of units from to to, both counted, under Wright's model,
// T1 (to^(1+b) - (from-1)^(1+b)).
//
// Source: difference of two of Wright's totals.
func CumulativeLot(first, rate float64, from, to int) (float64, error) {
	err := errors.Join(checkTime("first time", first), checkRate(rate), checkLot(from, to))
	if err != nil {
		return 0, err
	}
	if rate == 1 {
		return float64(first * float64(to-from+1)), nil
	}
	// Two totals of nearly the same size would cancel; expm1 takes their
	// difference directly. For from = 1 the logarithm is -Inf and the share is 1.
	share := -math.Expm1(rise(rate) * math.Log1p(-float64(to-from+1)/float64(to)))
	return float64(first * math.Pow(float64(to), rise(rate)) * share), nil
}

// FitWright is the rate at which n units (2 or more) take a total under Wright's
// model: r = 2^(ln(T/T1)/ln n - 1). A total that means a rate outside (0.5, 1] is
// refused: the record shows no learning, or more than the models can hold.
//
// Source: CumulativeTotal solved for the rate.
func FitWright(first, total float64, n int) (float64, error) {
	err := errors.Join(checkRecord("first time", first), checkRecord("total time", total),
		fault.Unless(n >= 2 && n <= 1e9, "units", float64(n), "2 to 1e9"))
	if err != nil {
		return 0, err
	}
	return fitted(math.Exp2(math.Log(total/first)/math.Log(float64(n)) - 1))
}

// FitCrawford is the rate at which unit m takes one time and unit n another under
// unit theory: r = 2^(ln(Tn/Tm)/ln(n/m)). A pair that means a rate outside (0.5, 1]
// is refused, as in [FitWright].
//
// Source: FromKnown solved for the rate.
func FitCrawford(timeM float64, m int, timeN float64, n int) (float64, error) {
	err := errors.Join(checkRecord("time of the first recorded unit", timeM), checkRecord("time of the second recorded unit", timeN),
		checkNumber("first recorded unit", m), checkNumber("second recorded unit", n),
		fault.Unless(m != n, "second recorded unit", float64(n), "another unit than the first recorded"))
	if err != nil {
		return 0, err
	}
	return fitted(math.Exp2(math.Log(timeN/timeM) / math.Log(float64(n)/float64(m))))
}

// fitted lets a rate of 1 through when binary noise puts it a hair above.
func fitted(rate float64) (float64, error) {
	if rate > 1 && rate < 1+1e-12 {
		rate = 1
	}
	return rate, checkRate(rate)
}

// rise is 1 + b. Taken from the rate directly it keeps its digits near a rate of 0.5,
// where 1 + log2(rate) would cancel to nothing.
func rise(rate float64) float64 {
	return math.Log1p(2*rate-1) / math.Ln2
}

func checkRate(rate float64) error {
	return fault.Unless(rate > 0.5 && rate <= 1, "learning rate", rate, "above 0.5 to 1")
}

func checkTime(quantity string, hours float64) error {
	return fault.Unless(hours >= 0 && hours <= 1e9, quantity+", h", hours, "0 to 1e9")
}

func checkRecord(quantity string, hours float64) error {
	return fault.Unless(hours >= 1e-9 && hours <= 1e12, quantity+", h", hours, "1e-9 to 1e12")
}

func checkNumber(quantity string, n int) error {
	return fault.Unless(n >= 1 && n <= 1e9, quantity, float64(n), "1 to 1e9")
}

func checkLot(from, to int) error {
	return errors.Join(
		checkNumber("last unit", to),
		fault.Unless(from >= 1 && from <= to, "first unit of the lot", float64(from), "1 to the last unit"),
	)
}
