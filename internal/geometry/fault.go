package geometry

import (
	"errors"
	"fmt"
	"math"
)

const (
	// LengthMin is the shortest length accepted, in metres: one micrometre, far
	// below anything a workshop can make. Without a floor the squares and ratios
	// of lengths would leave the range of a float64.
	LengthMin = 1e-6
	// LengthMax is the longest length accepted, in metres. Anything longer is a
	// slip of units (millimetres given as metres).
	LengthMax = 1000
	// AreaMax is the largest area accepted where an area is given, in m2.
	AreaMax = LengthMax * LengthMax
)

// A DimensionError says that one dimension cannot be used.
type DimensionError struct {
	Field   string  // the dimension in lowerCamel without a unit, such as "bendRadius"
	Value   float64 // what was got, in the unit of the field
	Allowed string  // what would be accepted, with its unit
}

// Error names the field, what was got and what is allowed.
func (e DimensionError) Error() string {
	return fmt.Sprintf("%s: got %g, allowed is %s", e.Field, e.Value, e.Allowed)
}

// faultList gathers the faults of one solid, so that a caller sees all at once.
type faultList []DimensionError

func (f *faultList) add(field string, value float64, allowed string) {
	*f = append(*f, DimensionError{Field: field, Value: value, Allowed: allowed})
}

// within is written so that NaN, which compares false with all, is outside.
func (f *faultList) within(field string, value, low, high float64, unit string) {
	if value >= low && value <= high {
		return
	}
	f.add(field, value, fmt.Sprintf("%g to %g%s", low, high, unit))
}

func (f *faultList) length(field string, value float64) {
	f.within(field, value, LengthMin, LengthMax, " m")
}

// lengthOrZero is for an end that may taper to a point.
func (f *faultList) lengthOrZero(field string, value float64) {
	if value != 0 {
		f.length(field, value)
	}
}

func (f *faultList) area(field string, value float64) {
	f.within(field, value, LengthMin*LengthMin, AreaMax, " m2")
}

// angle allows for the last bits lost when degrees are turned into radians.
func (f *faultList) angle(field string, value float64) {
	if value > 0 && value <= 2*math.Pi+fullTurnTolerance {
		return
	}
	f.add(field, value, "more than 0 and at most 2 pi rad (a full turn)")
}

func (f *faultList) choice(field string, value, last int) {
	f.within(field, float64(value), 0, float64(last), " (a named choice)")
}

// err is nil when there is no fault, else all of them in one error.
func (f faultList) err() error {
	errs := make([]error, len(f))
	for i, fault := range f {
		errs[i] = fault
	}
	return errors.Join(errs...)
}
