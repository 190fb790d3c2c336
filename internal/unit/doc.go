// Package unit holds what a quote counts in: amounts in the units it prints,
// exact decimal money, and the arithmetic that joins the two.
//
// What is seen is what is computed. A quantity is rounded to the decimals that
// its unit prints before it meets a price; the product is exact and is rounded
// once, half away from zero, to the currency's minor unit; totals are sums of
// rounded lines. So a reader with a pocket calculator gets every figure again
// from the paper, and a last bit in which two processors differ is rounded off
// before it can become a penny.
//
// Why the decimals can be trusted: the decimal type keeps at most 19 places and
// cuts off what does not fit, towards zero. Rounding half away from zero at
// fewer places only asks whether the magnitude has reached a half, and every
// half is itself a decimal of 19 places or fewer, so cutting first cannot
// change the answer. Where that argument does not hold (shares, unit prices)
// the code divides with a remainder instead and loses nothing.
package unit
