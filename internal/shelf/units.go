package shelf

// Unit is what one unit of a file may be.
type Unit struct {
	Short  string
	Metres float64
}

// Units are the units that a caller may name, in the order of the contract's numbers,
// from 1. The inch and the foot are the international ones of 1959: 25.4 mm and 304.8
// mm exactly.
func Units() []Unit {
	return []Unit{{"mm", 0.001}, {"cm", 0.01}, {"m", 1}, {"in", 0.0254}, {"ft", 0.3048}}
}

// Axes are the names of the upward axes, in the order of Up, from 1.
func Axes() []string { return []string{"x", "y", "z"} }
