// Package derivation says why a figure is what it is: as steps of arithmetic
// that anyone can do again, and as the same steps in words.
package derivation

import (
	"math"
	"strconv"
	"strings"
)

// Operator says how the terms of a step combine.
type Operator int

// The operators.
const (
	Product  Operator = iota + 1 // all terms multiplied
	Sum                          // all terms added
	RoundUp                      // the first divided by the second, up to a whole number
	Quotient                     // the first divided by the second
)

// Term is one figure of a step.
type Term struct {
	Label string  // what the figure is
	Value float64 // at full working precision
	Unit  string  // empty for a plain number
}

// Step is one piece of arithmetic: its terms, combined, give its result.
type Step struct {
	Operator Operator
	Terms    []Term
	Result   Term
}

// Derivation is the steps to a figure; the last one's result is the figure
// before it is rounded to the decimals that its unit prints.
type Derivation []Step

// Do returns the step of an operator over terms, with its result worked out and
// named.
func Do(o Operator, result, unit string, terms ...Term) Step {
	s := Step{Operator: o, Terms: terms, Result: Term{Label: result, Unit: unit}}
	s.Result.Value = s.Compute()
	return s
}

// Compute works the step out from its terms.
func (s Step) Compute() float64 {
	switch s.Operator {
	case Product:
		product := 1.0
		for _, t := range s.Terms {
			product *= t.Value
		}
		return product
	case Sum:
		var sum float64
		for _, t := range s.Terms {
			sum += t.Value
		}
		return sum
	case RoundUp:
		return math.Ceil(s.Terms[0].Value / s.Terms[1].Value)
	default:
		return s.Terms[0].Value / s.Terms[1].Value
	}
}

// Result returns the figure that the derivation leads to; 0 for none.
func (d Derivation) Result() float64 {
	if len(d) == 0 {
		return 0
	}
	return d[len(d)-1].Result.Value
}

// Last returns the last step's result, as a term for a further step.
func (d Derivation) Last() Term {
	if len(d) == 0 {
		return Term{}
	}
	return d[len(d)-1].Result
}

// Words writes the steps out for a person to read, a clause for each.
func (d Derivation) Words() string {
	var b strings.Builder
	for i, s := range d {
		if i > 0 {
			b.WriteString("; ")
		}
		s.words(&b)
	}
	return b.String()
}

func (s Step) words(b *strings.Builder) {
	for i, t := range s.Terms {
		if i > 0 {
			b.WriteString(s.Operator.sign())
		}
		t.words(b)
	}
	if s.Operator == RoundUp {
		b.WriteString(", rounded up")
	}
	// A single term is its own result.
	if len(s.Terms) > 1 {
		b.WriteString(" = ")
		s.Result.words(b)
	}
}

func (o Operator) sign() string {
	return [...]string{"", " × ", " + ", " ÷ ", " ÷ "}[o]
}

func (t Term) words(b *strings.Builder) {
	b.WriteString(figure(t.Value))
	if t.Unit != "" {
		b.WriteByte(' ')
		b.WriteString(t.Unit)
	}
	if t.Label != "" {
		b.WriteByte(' ')
		b.WriteString(t.Label)
	}
}

// figure writes a value for reading, to four significant digits and never fewer
// than its whole number; the data beside the words keeps all digits.
func figure(v float64) string {
	if v == math.Trunc(v) && math.Abs(v) < 1e9 {
		return strconv.FormatInt(int64(v), 10)
	}
	digits := 4
	if whole := int(math.Log10(math.Abs(v))) + 1; whole > digits {
		digits = whole
	}
	text := strconv.FormatFloat(v, 'g', digits, 64)
	if strings.ContainsRune(text, 'e') {
		text = plain(text)
	}
	if strings.ContainsRune(text, '.') {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// plain writes a figure with an exponent out in decimals.
func plain(figure string) string {
	v, err := strconv.ParseFloat(figure, 64)
	if err != nil || math.Abs(v) < 1e-15 || math.Abs(v) >= 1e15 {
		return figure // too long to read either way
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
