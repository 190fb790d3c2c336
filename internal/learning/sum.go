package learning

import "math"

// direct is how many terms of the sum are added one by one. From there on the first
// term that eulerMaclaurin leaves out is below 1e-16 of the sum.
const direct = 64

// powerSum is sum k^b for k = 1 to n, b the exponent of the rate; 0 for n = 0.
func powerSum(rate float64, n int) float64 {
	if rate == 1 {
		return float64(n) // exactly linear, with no rounding on the way
	}
	b, sum := math.Log2(rate), 0.0
	// From the smallest term up, so that small terms are not lost in a large sum.
	for k := min(n, direct); k >= 1; k-- {
		sum += math.Pow(float64(k), b)
	}
	if n > direct {
		sum += eulerMaclaurin(rate, b, direct, float64(n))
	}
	return sum
}

// eulerMaclaurin is the sum of x^b for the whole x above m up to n:
//
//	integral + (n^b - m^b)/2 + sum over j of B2j/(2j)! (f^(2j-1)(n) - f^(2j-1)(m))
//
// with three terms of the last sum (B2/2! = 1/12, B4/4! = -1/720, B6/6! = 1/30240).
//
// Source: the Euler-Maclaurin formula (textbook, from memory); held to 1e-12 of the
// direct sum by a test.
func eulerMaclaurin(rate, b, m, n float64) float64 {
	e := rise(rate)
	integral := math.Pow(m, e) * math.Expm1(e*math.Log(n/m)) / e
	return integral + edge(b, n) - edge(b, m)
}

// edge is what one end of the range adds to the integral: half the term and its odd
// derivatives.
func edge(b, x float64) float64 {
	f := math.Pow(x, b)
	first := b / x
	third := first * (b - 1) * (b - 2) / (x * x)
	fifth := third * (b - 3) * (b - 4) / (x * x)
	return float64(f * (0.5 + first/12 - third/720 + fifth/30240))
}
