package paint

import (
	"errors"
	"math"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// Part is one component of a mixed paint.
type Part struct {
	Name  string  // base, hardener, thinner
	Parts float64 // by volume, above 0 to 1000
}

// Mix is a mixed paint, by volume, base first: 4:1, or 100:25:10.
type Mix []Part

// Check gives every [fault.Refusal] of the mix, joined, or nil. A mix has 1 to 16 parts.
func (m Mix) Check() error {
	err := fault.Unless(len(m) >= 1 && len(m) <= 16, "parts of the mix", float64(len(m)), "1 to 16")
	for _, p := range m {
		err = errors.Join(err, fault.Unless(p.Parts >= 0.001 && p.Parts <= 1000, "parts by volume of "+p.Name, p.Parts, "0.001 to 1000"))
	}
	return err
}

// Split is the litres of each part in a mixed volume (L, 0 to 1e6), in the mix's
// order: V p / sum p. The answers add up to the mixed volume exactly, in any order of
// adding.
//
// Source: definition of a ratio by volume.
func (m Mix) Split(litres float64) ([]float64, error) {
	err := errors.Join(m.Check(), checkLitres("mixed paint, L", litres))
	if err != nil {
		return nil, err
	}
	// Every share is a whole number of the mixed volume's last binary place, so no
	// sum of shares is ever rounded. The largest part takes the difference: it is
	// the one that cannot be driven below 0 by it.
	grain := math.Nextafter(litres, math.Inf(1)) - litres
	shares := make([]float64, len(m))
	rest, total, largest := litres, m.total(), m.largest()
	for i, p := range m {
		if i != largest {
			shares[i] = float64(math.Round(litres*(p.Parts/total)/grain) * grain)
			rest -= shares[i]
		}
	}
	shares[largest] = rest
	return shares, nil
}

// Mixed is the mixed volume, L, that a volume of the first part (L, 0 to 1e6) makes:
// V_base sum p / p_base.
//
// Source: Multy Seal D30 sheet, 100:25:10 by volume.
func (m Mix) Mixed(base float64) (float64, error) {
	err := errors.Join(m.Check(), checkLitres("first part, L", base))
	if err != nil {
		return 0, err
	}
	return float64(base * (m.total() / m[0].Parts)), nil
}

func (m Mix) total() float64 {
	total := 0.0
	for _, p := range m {
		total += p.Parts
	}
	return total
}

// largest is the place of the largest part, the first of equals.
func (m Mix) largest() int {
	place := 0
	for i, p := range m {
		if p.Parts > m[place].Parts {
			place = i
		}
	}
	return place
}

func checkLitres(quantity string, litres float64) error {
	return fault.Unless(litres >= 0 && litres <= 1e6, quantity, litres, "0 to 1e6")
}
