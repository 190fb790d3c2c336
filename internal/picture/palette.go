package picture

// tone is a colour, 0xRRGGBB in sRGB.
type tone uint32

const (
	paper  tone = 0xFFFFFF
	black  tone = 0x1E2226 // words and outlines
	grey   tone = 0x5C646C // sizes and what else stands back; 6:1 against paper
	figure tone = 0x8A949E // the person, the ground, every second part of the scale; 3:1 against paper
	stone  tone = 0xDCD8CF // a piece that has not been split
	seam   tone = 0x000000 // the parting line
)

// hue is a tint for a surface, and an ink of the same hue for the hatching on it,
// at least 4.5:1 in contrast to the tint: more than the 3:1 that WCAG 2.2, success
// criterion 1.4.11, asks of graphics.
type hue struct{ tint, ink tone }

// hatch is how a mould piece is hatched.
type hatch int

const (
	rising hatch = iota
	dots
	level
	falling
	diamond
	upright
	grid
	dashes
	crosses // for what no piece releases
	bare
	hatches = int(crosses) // that pieces have
)

// hueOf is the hue of a label. There are seven, and eight ways of hatching, so no
// two of the first 56 pieces look the same. Neighbours in the list differ in hue to
// eyes without red or green: blue, yellow, rose, sky, orange, green, violet.
func hueOf(label uint8) hue {
	switch label {
	case Locked:
		return hue{0xE9E6E1, 0x3A3A3A}
	case plain:
		return hue{stone, black}
	}
	return [...]hue{
		{0xBCD6F2, 0x1B4B85},
		{0xF6E6A0, 0x665300},
		{0xF3C3CD, 0x8A1E40},
		{0xCDEAF3, 0x0D566E},
		{0xF7CE9E, 0x6E3A00},
		{0xB9E2D2, 0x09573F},
		{0xDBCAEC, 0x54307F},
	}[label%7]
}

// hatchOf is the hatching of a label.
func hatchOf(label uint8) hatch {
	switch label {
	case Locked:
		return crosses
	case plain:
		return bare
	}
	return hatch(int(label) % hatches)
}

// Hatching, mm.
const (
	pitch  = 2.4
	weight = 0.32
)

// tile is a hatching on a grid: pitch and weight in samples.
type tile struct{ pitch, weight int }

// inked reports whether a sample is inked. Coordinates are those of the sheet, so
// that the hatching follows no facet. They are not negative.
func (t tile) inked(h hatch, x, y int) bool {
	switch h {
	case rising:
		return t.slant(x + y)
	case falling:
		return t.slant(x - y)
	case diamond:
		return t.slant(x+y) || t.slant(x-y)
	case level:
		return y%t.pitch < t.weight
	case upright:
		return x%t.pitch < t.weight
	case grid:
		return x%t.pitch < t.weight || y%t.pitch < t.weight
	case dots:
		return t.dot(x, y)
	case dashes:
		return t.dash(x, y)
	case crosses:
		return t.cross(x, y)
	default:
		return false
	}
}

// slant inks lines at 45 degrees, as far apart and as wide as level ones: along an
// axis they are longer by the root of two, 181/128.
func (t tile) slant(v int) bool {
	p := t.pitch * 181 / 128
	return (v+p<<12)%p < max(1, t.weight*181/128)
}

// dot inks dots on a lattice whose every second row is shifted by half.
func (t tile) dot(x, y int) bool {
	half := t.pitch / 2
	if y/t.pitch%2 == 1 {
		x += half
	}
	dx, dy := 2*(x%t.pitch-half)+1, 2*(y%t.pitch-half)+1
	return dx*dx+dy*dy < 9*t.weight*t.weight
}

// dash inks short level lines, every second row shifted by half.
func (t tile) dash(x, y int) bool {
	if y/t.pitch%2 == 1 {
		x += t.pitch
	}
	return y%t.pitch < 2*t.weight && x%(2*t.pitch) < t.pitch
}

// cross inks small slanted crosses.
func (t tile) cross(x, y int) bool {
	half := t.pitch / 2
	dx, dy := x%t.pitch-half, y%t.pitch-half
	near := dx*dx < t.pitch*t.pitch/11 && dy*dy < t.pitch*t.pitch/11
	return near && (abs(dx-dy) <= t.weight/2 || abs(dx+dy) <= t.weight/2)
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}
