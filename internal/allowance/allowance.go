// Package allowance turns observed times into standard times, as time study does:
// rating makes a basic time, an allowance for rest and contingency makes a standard.
//
// Two conventions for the allowance are in use, a share of work time and a share of
// shift time; they differ, so an [Allowance] carries its own. Times are in hours, or
// in any one unit throughout, from 0 to 1e9. Ratings and shares are fractions of 1
// (100 % is 1).
package allowance

import (
	"errors"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Basis says what an allowance is a share of.
type Basis int

// The two conventions. OfNothing, the zero value, is refused: the convention is to be
// stored with the number.
const (
	OfNothing Basis = iota
	OfWork          // standard = basic x (1 + A)
	OfShift         // standard = basic / (1 - A)
)

// Allowance is an allowance with its convention.
type Allowance struct {
	Share float64 // 0 to 2 of work, 0 to 0.9 of the shift
	Of    Basis
}

// Standard is the standard time of a basic time under the allowance's own convention.
//
// Source: as for [OnWork] and [OnShift].
func (a Allowance) Standard(basic float64) (float64, error) {
	switch a.Of {
	case OfWork:
		return OnWork(basic, a.Share)
	case OfShift:
		return OnShift(basic, a.Share)
	default:
		return 0, fault.Unless(false, "basis of the allowance", float64(a.Of), "share of work (1) or of the shift (2)")
	}
}

// BasicTime is observed time x rating; the rating is 0.1 to 3, 1 being the standard
// pace.
//
// Source: MTM blog (a walk of 1 km, 800 s at 110 %).
func BasicTime(observed, rating float64) (float64, error) {
	err := errors.Join(
		checkTime("observed time", observed),
		fault.Unless(rating >= 0.1 && rating <= 3, "rating, share of the standard pace", rating, "0.1 to 3"),
	)
	if err != nil {
		return 0, err
	}
	return float64(observed * rating), nil
}

// OnWork is the standard time when the allowance is a share of work time, 0 to 2:
// basic x (1 + A).
//
// Source: time study exercise, homeworksource 1143767.
func OnWork(basic, share float64) (float64, error) {
	err := errors.Join(
		checkTime("basic time", basic),
		fault.Unless(share >= 0 && share <= 2, "allowance, share of work time", share, "0 to 2"),
	)
	if err != nil {
		return 0, err
	}
	return float64(basic * (1 + share)), nil
}

// OnShift is the standard time when the allowance is a share of shift time, 0 to 0.9:
// basic / (1 - A).
//
// Source: University of Hawaii Hilo QBA361 handout.
func OnShift(basic, share float64) (float64, error) {
	err := errors.Join(
		checkTime("basic time", basic),
		fault.Unless(share >= 0 && share <= 0.9, "allowance, share of shift time", share, "0 to 0.9"),
	)
	if err != nil {
		return 0, err
	}
	return basic / (1 - share), nil
}

// SampleSize is the number of observations, not yet rounded up, that puts the mean
// within a relative accuracy (0.001 to 1) at z standard errors (0.1 to 6; 1.96 for
// 95 %): (z s / (h mean))^2.
//
// Source: the usual time study formula; problem data quesba 848603.
func SampleSize(mean, deviation, z, accuracy float64) (float64, error) {
	err := errors.Join(
		fault.Unless(mean >= 1e-9 && mean <= 1e9, "mean time", mean, "1e-9 to 1e9"),
		fault.Unless(deviation >= 0 && deviation <= 1e9, "standard deviation", deviation, "0 to 1e9"),
		fault.Unless(z >= 0.1 && z <= 6, "standard errors", z, "0.1 to 6"),
		fault.Unless(accuracy >= 0.001 && accuracy <= 1, "relative accuracy", accuracy, "0.001 to 1"),
	)
	if err != nil {
		return 0, err
	}
	ratio := z * deviation / (accuracy * mean)
	return float64(ratio * ratio), nil
}

// Observations is how many observations a task needs, judged by 2 or more that were
// taken: their [SampleSize], rounded up, and at least 1.
//
// Source: as for [SampleSize]; the sample's standard deviation has n - 1 below the line.
func Observations(times []float64, z, accuracy float64) (int, error) {
	err := fault.Unless(len(times) >= 2, "observations taken", float64(len(times)), "2 or more")
	for _, t := range times {
		err = errors.Join(err, checkTime("observed time", t))
	}
	if err != nil {
		return 0, err
	}
	mean, deviation := spread(times)
	size, err := SampleSize(mean, deviation, z, accuracy)
	if err != nil {
		return 0, err
	}
	return max(1, int(math.Ceil(size))), nil
}

// spread is the mean and the sample's standard deviation.
func spread(times []float64) (mean, deviation float64) {
	n := float64(len(times))
	for _, t := range times {
		mean += t / n
	}
	squares := 0.0
	for _, t := range times {
		squares += float64((t - mean) * (t - mean))
	}
	return mean, math.Sqrt(squares / (n - 1))
}

func checkTime(quantity string, time float64) error {
	return fault.Unless(time >= 0 && time <= 1e9, quantity, time, "0 to 1e9")
}
