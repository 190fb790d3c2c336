package laminate

import (
	"errors"
	"fmt"
)

// Stack is the plies of a laminate, in the order that they are laid. Its measures
// are sums over the plies (law of mixtures, named in a 1999 small-craft scantling
// draft, 8.1.3); an empty stack measures 0.
type Stack []Ply

// Check gives every [fault.Refusal] of every ply, joined, each with the ply's place from 1.
func (s Stack) Check() error {
	var faults []error
	for i, p := range s {
		if err := p.Check(); err != nil {
			faults = append(faults, fmt.Errorf("ply %d: %w", i+1, err))
		}
	}
	return errors.Join(faults...)
}

// Glass is the dry glass, sum w, kg/m2.
func (s Stack) Glass() float64 {
	return s.sum(func(p Ply) float64 { return p.Glass })
}

// Resin is the resin taken up, sum r w, kg/m2.
func (s Stack) Resin() float64 {
	return s.sum(Ply.Resin)
}

// Mass is the mass of the laminate, sum w (1 + r), kg/m2.
func (s Stack) Mass() float64 {
	return s.sum(Ply.Mass)
}

// Thickness is the void-free thickness, m: the sum of the plies', which equals the
// thickness at the overall glass fraction when the densities are the same.
func (s Stack) Thickness() float64 {
	return s.sum(Ply.Thickness)
}

// GlassFraction is the glass share of the whole mass, sum w / sum w (1 + r); 0 for
// an empty stack.
func (s Stack) GlassFraction() float64 {
	if len(s) == 0 {
		return 0
	}
	return s.Glass() / s.Mass()
}

// Density is mass over thickness, kg/m3; 0 for an empty stack.
func (s Stack) Density() float64 {
	if len(s) == 0 {
		return 0
	}
	return s.Mass() / s.Thickness()
}

// SkinMass is the mass of a cast's skin, kg/m2: the gelcoat (kg/m2) behind which
// the stack is laid, plus the stack. Waste is bought, not worn, so it is not in here.
func (s Stack) SkinMass(gelcoat float64) float64 {
	return gelcoat + s.Mass()
}

// SkinThickness is the gelcoat film (m) plus the stack, m.
func (s Stack) SkinThickness(film float64) float64 {
	return film + s.Thickness()
}

func (s Stack) sum(measure func(Ply) float64) float64 {
	total := 0.0
	for _, p := range s {
		total += measure(p)
	}
	return total
}
