package unit

import (
	"fmt"
	"strings"
)

// Unit is what an amount is counted in. The zero value is Each.
type Unit uint8

// The units of a quote. Each, Pack and Lot are counted in whole numbers; the
// others are measured, to the decimals that Decimals gives.
const (
	Each        Unit = iota // a cast, a mould, a fixing: whole ones
	Hour                    // working time, to 0.01 h (36 s)
	Kilogram                // mass, to the gram
	Litre                   // paint, thinner and the like, to the millilitre
	SquareMetre             // surface, to 0.001 m2
	Metre                   // rim, parting line, masked edge, to the centimetre
	CubicMetre              // foam, to 0.0001 m3 (a tenth of a litre)
	Kilometre               // distance carried, to 0.1 km
	Pack                    // a tin, drum, roll or bag as sold: whole ones
	Lot                     // a job taken as one, priced as a whole

	// unitEnd is one past the last unit.
	unitEnd
)

// ParseUnit returns the unit whose Code is code, exactly as written there.
func ParseUnit(code string) (Unit, error) {
	for u := Each; u < unitEnd; u++ {
		if u.Code() == code {
			return u, nil
		}
	}
	return Each, fmt.Errorf("unit %.20q: want one of %s", code, unitCodes())
}

// unitCodes lists every code for an error message.
func unitCodes() string {
	codes := make([]string, 0, unitEnd)
	for u := Each; u < unitEnd; u++ {
		codes = append(codes, u.Code())
	}
	return strings.Join(codes, ", ")
}

// Code returns the name of u as data files and the wire spell it: "m2".
// It is empty for a value that is no unit.
func (u Unit) Code() string {
	switch u {
	case Each:
		return "each"
	case Hour:
		return "h"
	case Kilogram:
		return "kg"
	case Litre:
		return "L"
	case SquareMetre:
		return "m2"
	case Metre:
		return "m"
	case CubicMetre:
		return "m3"
	case Kilometre:
		return "km"
	case Pack:
		return "pack"
	case Lot:
		return "lot"
	default:
		return ""
	}
}

// Symbol returns u as a reader expects it on paper: "m²". Symbols of SI units
// follow the SI Brochure.
func (u Unit) Symbol() string {
	switch u {
	case SquareMetre:
		return "m²"
	case CubicMetre:
		return "m³"
	default:
		return u.Code()
	}
}

// Decimals returns how many decimals an amount in u is printed with, 0 to 4;
// the amount is rounded to them before it is priced.
func (u Unit) Decimals() int {
	switch u {
	case Kilometre:
		return 1
	case Hour, Metre:
		return 2
	case Kilogram, Litre, SquareMetre:
		return 3
	case CubicMetre:
		return 4
	default:
		return 0
	}
}

// String returns Code, or "unit(n)" for a value that is no unit.
func (u Unit) String() string {
	if u < unitEnd {
		return u.Code()
	}
	return fmt.Sprintf("unit(%d)", uint8(u))
}

// check says whether u is one of the units above.
func (u Unit) check() error {
	if u < unitEnd {
		return nil
	}
	return fmt.Errorf("%v: want one of %s", u, unitCodes())
}
