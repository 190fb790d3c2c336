package unit

import (
	"fmt"
	"math"
)

// Range is a three-point figure, in whatever unit its owner says: what it is if
// all goes well, what is likely, what it is if it goes badly. Low <= Likely <=
// High; a certain figure has all three equal.
type Range struct {
	Low, Likely, High float64
}

// Check says whether r is finite and in order.
func (r Range) Check() error {
	for _, v := range [...]float64{r.Low, r.Likely, r.High} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("range %v: want finite figures", r)
		}
	}
	if r.Low > r.Likely || r.Likely > r.High {
		return fmt.Errorf("range %v: want low <= likely <= high", r)
	}
	return nil
}

// String returns r as "low/likely/high".
func (r Range) String() string {
	return fmt.Sprintf("%g/%g/%g", r.Low, r.Likely, r.High)
}
