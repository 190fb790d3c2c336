package fault

import "fmt"

// Refusal is an input that a formula cannot take: which quantity, what was got
// and what is allowed.
type Refusal struct {
	Quantity string  // the quantity with its unit, in the trade's words
	Got      float64 // the value that was refused
	Allowed  string  // the values that would be taken
}

// Error says the three things a person needs to put it right.
func (r Refusal) Error() string {
	return fmt.Sprintf("%s: got %g, allowed %s", r.Quantity, r.Got, r.Allowed)
}

// Unless gives a Refusal unless ok. Callers write ok as comparisons that hold,
// so that NaN, for which no comparison holds, is refused without a special case.
func Unless(ok bool, quantity string, got float64, allowed string) error {
	if ok {
		return nil
	}
	return Refusal{Quantity: quantity, Got: got, Allowed: allowed}
}
