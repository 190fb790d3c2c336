package geometry

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
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
	Value   float64 // what was got: a length in m, an angle in rad, an area in m2, or a number
	Unit    Unit    // the unit that Got and Allowed speak in
	Allowed string  // what would be accepted, with its unit
}

// Unit is what the words of a fault count in: what a person types, and not what the
// package reckons in.
type Unit string

// The units of faults.
const (
	Number       Unit = ""
	Millimetres  Unit = "mm"
	SquareMetres Unit = "m2"
	Degrees      Unit = "degrees"
)

// typed gives a value of the package's own in the unit.
func (u Unit) typed(value float64) float64 {
	switch u {
	case Millimetres:
		return 1000 * value
	case Degrees:
		return value * 180 / math.Pi
	default:
		return value
	}
}

// Error names the field, what was got and what is allowed.
func (e DimensionError) Error() string {
	return fmt.Sprintf("%s: got %s, allowed is %s", e.Field, e.Got(), e.Allowed)
}

// Got gives what was got in the fault's unit, with it.
func (e DimensionError) Got() string {
	return strings.TrimRight(inWords(e.Unit.typed(e.Value), typedDigits)+" "+string(e.Unit), " ")
}

const (
	typedDigits   = 6 // of a figure that somebody typed: binary noise comes later
	workedDigits  = 4 // of one that was worked out from several
	longestNumber = 1e10
)

// inWords writes a figure with at most so many significant digits, without an exponent
// where that is short.
func inWords(v float64, digits int) string {
	short := strconv.FormatFloat(v, 'g', digits, 64)
	rounded, err := strconv.ParseFloat(short, 64)
	if size := math.Abs(rounded); err != nil || !(size < longestNumber) || size < LengthMin {
		return strconv.FormatFloat(rounded, 'g', -1, 64)
	}
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// lengthInWords writes a length in metres.
func lengthInWords(metres float64, digits int) string {
	return inWords(Millimetres.typed(metres), digits) + " mm"
}

// atMost words the greatest length of so many digits that a bound in metres lets pass.
func atMost(bound float64, digits int) string { return boundInWords(bound, digits, -1) }

// atLeast words the least length of so many digits that a bound in metres lets pass.
func atLeast(bound float64, digits int) string { return boundInWords(bound, digits, 1) }

// boundInWords rounds a bound in metres down or up. What it says, divided by a thousand
// as a door does, is on the right side of the bound to the last bit.
func boundInWords(bound float64, digits int, side float64) string {
	said := lengthInWords(bound, digits)
	mm, err := strconv.ParseFloat(strings.TrimSuffix(said, " mm"), 64)
	if err != nil || !(bound > 0) || math.IsInf(bound, 1) || side*(mm/1000-bound) >= 0 {
		return said
	}
	last := math.Pow10(int(math.Floor(math.Log10(mm))) + 1 - digits)
	return inWords(mm+side*last, digits) + " mm"
}

// faultList gathers the faults of one solid, so that a caller sees all at once.
type faultList []DimensionError

func (f *faultList) add(field string, value float64, unit Unit, allowed string) {
	*f = append(*f, DimensionError{Field: field, Value: value, Unit: unit, Allowed: allowed})
}

// within is written so that NaN, which compares false with all, is outside. What the
// bounds count stands after them: the unit, or words.
func (f *faultList) within(field string, value, low, high float64, unit Unit, what string) {
	if value >= low && value <= high {
		return
	}
	low, high = unit.typed(low), unit.typed(high)
	f.add(field, value, unit, strings.TrimRight(fmt.Sprintf("%s to %s %s", inWords(low, typedDigits), inWords(high, typedDigits), what), " "))
}

func (f *faultList) length(field string, value float64) {
	f.lengthWithin(field, value, LengthMin, LengthMax)
}

func (f *faultList) lengthWithin(field string, value, low, high float64) {
	f.within(field, value, low, high, Millimetres, string(Millimetres))
}

// coordinate is for what may lie either way of the origin.
func (f *faultList) coordinate(field string, value float64) {
	f.lengthWithin(field, value, -LengthMax, LengthMax)
}

// lengthOrZero is for an end that may taper to a point.
func (f *faultList) lengthOrZero(field string, value float64) {
	if value != 0 {
		f.length(field, value)
	}
}

func (f *faultList) area(field string, value float64) {
	f.within(field, value, LengthMin*LengthMin, AreaMax, SquareMetres, string(SquareMetres))
}

// angle allows for the last bits lost when degrees are turned into radians.
func (f *faultList) angle(field string, value float64) {
	if value > 0 && value <= 2*math.Pi+fullTurnTolerance {
		return
	}
	f.add(field, value, Degrees, "above 0, at most 360 degrees (a full turn)")
}

func (f *faultList) choice(field string, value, last int) {
	f.within(field, float64(value), 0, float64(last), Number, "(a named choice)")
}

// err is nil when there is no fault, else all of them in one error.
func (f faultList) err() error {
	errs := make([]error, len(f))
	for i, fault := range f {
		errs[i] = fault
	}
	return errors.Join(errs...)
}
