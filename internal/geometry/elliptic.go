package geometry

import "math"

// duplicationSpread is the relative spread of its arguments at which Carlson's
// duplication stops. The series that follows is good to the spread's sixth
// power, which is then below a float64's last bit.
const duplicationSpread = 5e-4

// EllipsoidArea gives the area in m2 of an ellipsoid with the given full axes in
// metres, in any order: S = 4 pi a b c R_G(a^-2, b^-2, c^-2) with semi-axes a, b,
// c and Carlson's symmetric elliptic integral R_G (DLMF 19.33.1). Accurate to
// 1e-12 relative for axes whose ratio is up to a thousand million.
func EllipsoidArea(width, depth, height float64) (float64, error) {
	if err := faultList(Ellipsoid{width, depth, height}.Faults()).err(); err != nil {
		return 0, err
	}
	return ellipsoidArea(width/2, depth/2, height/2), nil
}

// ellipsoidArea takes semi-axes. It uses R_G's homogeneity (degree 1/2) to write
// a b c R_G(a^-2, b^-2, c^-2) as R_G(b^2 c^2, a^2 c^2, a^2 b^2): no division.
func ellipsoidArea(a, b, c float64) float64 {
	bc, ac, ab := b*c, a*c, a*b
	return 4 * math.Pi * carlsonRG(bc*bc, ac*ac, ab*ab)
}

// EllipsePerimeter gives the perimeter in metres of an ellipse with the given
// full axes in metres: P = 4 a E(1 - b^2/a^2) = 8 R_G(0, a^2, b^2) with semi-axes
// a, b (DLMF 19.30.5). Exact to 1e-12 relative, unlike Ramanujan's formulas.
func EllipsePerimeter(width, height float64) (float64, error) {
	var f faultList
	f.length("width", width)
	f.length("height", height)
	if err := f.err(); err != nil {
		return 0, err
	}
	return ellipsePerimeter(width/2, height/2), nil
}

func ellipsePerimeter(a, b float64) float64 { return 8 * carlsonRG(0, a*a, b*b) }

// carlsonRG is 2 R_G = z R_F - (x-z)(y-z) R_D/3 + sqrt(x y/z) (as in the SciPy
// documentation of elliprg). R_G is symmetric; the middle argument is taken for z
// because the second term is then positive and nothing cancels.
func carlsonRG(x, y, z float64) float64 {
	low, mid, high := min(x, y, z), max(min(x, y), min(max(x, y), z)), max(x, y, z)
	if mid == 0 {
		return math.Sqrt(high) / 2
	}
	first := mid * carlsonRF(low, high, mid)
	second := (mid - low) * (high - mid) * carlsonRD(low, high, mid) / 3
	return (first + second + math.Sqrt(low*(high/mid))) / 2
}

// carlsonRF is R_F(x, y, z) by duplication (B.C. Carlson 1995, Numerical
// Algorithms 10:13-26). At most one argument may be zero.
func carlsonRF(x, y, z float64) float64 {
	mean := (x + y + z) / 3
	for spread(mean, x, y, z) > duplicationSpread {
		l := duplicationStep(x, y, z)
		x, y, z, mean = (x+l)/4, (y+l)/4, (z+l)/4, (mean+l)/4
	}
	dx, dy := 1-x/mean, 1-y/mean
	dz := -(dx + dy)
	e2, e3 := dx*dy-dz*dz, dx*dy*dz
	return (1 - e2/10 + e3/14 + e2*e2/24 - 3*e2*e3/44) / math.Sqrt(mean)
}

// carlsonRD is R_D(x, y, z) by duplication, source as for carlsonRF. At most one
// of x and y may be zero; z may not.
func carlsonRD(x, y, z float64) float64 {
	mean, sum, power := (x+y+3*z)/5, 0.0, 1.0
	for spread(mean, x, y, z) > duplicationSpread {
		l := duplicationStep(x, y, z)
		sum += power / (math.Sqrt(z) * (z + l))
		power /= 4
		x, y, z, mean = (x+l)/4, (y+l)/4, (z+l)/4, (mean+l)/4
	}
	dx, dy := 1-x/mean, 1-y/mean
	return 3*sum + power*seriesRD(dx, dy, -(dx+dy)/3)/(mean*math.Sqrt(mean))
}

// seriesRD is the Taylor polynomial that closes R_D's duplication.
func seriesRD(dx, dy, dz float64) float64 {
	xy, zz := dx*dy, dz*dz
	e2, e3 := xy-6*zz, (3*xy-8*zz)*dz
	e4, e5 := 3*(xy-zz)*zz, xy*zz*dz
	return 1 - 3*e2/14 + e3/6 + 9*e2*e2/88 - 3*e4/22 - 9*e2*e3/52 + 3*e5/26
}

func duplicationStep(x, y, z float64) float64 {
	sx, sy, sz := math.Sqrt(x), math.Sqrt(y), math.Sqrt(z)
	return sx*sy + sy*sz + sz*sx
}

func spread(mean, x, y, z float64) float64 {
	return max(math.Abs(mean-x), math.Abs(mean-y), math.Abs(mean-z)) / mean
}
