package meshfile

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strconv"
)

// scanner cuts text into words and lines. It holds the whole text, or a block of it
// that source refills.
type scanner struct {
	buf    []byte
	pos    int
	line   int
	source io.Reader // nil where buf holds everything
	err    error     // what stopped source, other than its end
	// wrap says that a backslash joins lines and # begins a comment, as in OBJ.
	wrap  bool
	whole [23]float64 // the powers of ten that a float64 holds exactly
}

func newScanner(buf []byte) *scanner {
	return &scanner{buf: bytes.TrimPrefix(buf, []byte("\xef\xbb\xbf")), line: 1, whole: [...]float64{
		1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
		1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
	}}
}

// fill moves what is left from keep on to the front of the block and reads on behind
// it. It returns false where nothing more comes.
func (s *scanner) fill(keep int) bool {
	if s.source == nil || s.err != nil || (keep == 0 && len(s.buf) == cap(s.buf)) {
		return false
	}
	n := copy(s.buf, s.buf[keep:])
	m, err := io.ReadFull(s.source, s.buf[n:cap(s.buf)])
	s.buf, s.pos = s.buf[:n+m], s.pos-keep
	if err != nil {
		s.source = nil
		if !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
			s.err = err
		}
	}
	return m > 0
}

// more says whether a byte is left at pos.
func (s *scanner) more() bool { return s.pos < len(s.buf) || s.fill(s.pos) }

// word returns the next word of the line, or nil where the line ends. It holds until
// the next call.
func (s *scanner) word() []byte {
	for s.more() {
		switch c := s.buf[s.pos]; {
		case c == '\n' || c == '\r' || (c == '#' && s.wrap):
			return nil
		case c == '\\' && s.wrap && s.joins(s.pos):
			s.pos++
			s.endLine()
		case c > ' ':
			return s.cut()
		default:
			s.pos++
		}
	}
	return nil
}

// cut takes the word that begins at pos.
func (s *scanner) cut() []byte {
	i := s.pos + 1
	for {
		for i < len(s.buf) && s.buf[i] > ' ' {
			i++
		}
		if i < len(s.buf) {
			break
		}
		before := s.pos
		more := s.fill(before)
		i -= before - s.pos // even a block that nothing follows may have moved
		if !more {
			break
		}
	}
	if s.wrap && i-1 > s.pos && s.buf[i-1] == '\\' && s.joins(i-1) {
		i--
	}
	word := s.buf[s.pos:i]
	s.pos = i
	return word
}

// joins says whether the backslash at i stands before a line end.
func (s *scanner) joins(i int) bool {
	return i+1 < len(s.buf) && (s.buf[i+1] == '\n' || s.buf[i+1] == '\r')
}

// endLine goes past the line end at pos: LF, CR or both.
func (s *scanner) endLine() {
	c := s.buf[s.pos]
	s.pos++
	s.line++
	if c == '\r' && s.more() && s.buf[s.pos] == '\n' {
		s.pos++
	}
}

// next goes to the next line, and returns false where there is none.
func (s *scanner) next() bool {
	for s.more() {
		if c := s.buf[s.pos]; c == '\n' || c == '\r' {
			s.endLine()
			return true
		}
		s.pos++
	}
	return false
}

// rest returns what is left of the line, without the blanks around it.
func (s *scanner) rest() []byte {
	i := s.pos
	for i < len(s.buf) && s.buf[i] != '\n' && s.buf[i] != '\r' {
		i++
	}
	rest := s.buf[s.pos:i]
	s.pos = i
	return bytes.TrimSpace(rest)
}

// token returns the next word, on this line or a later one; nil at the end.
func (s *scanner) token() []byte {
	for {
		if w := s.word(); w != nil {
			return w
		}
		if !s.next() {
			return nil
		}
	}
}

// fault is a fault on the scanner's line.
func (s *scanner) fault(code, format string, args ...any) *Fault {
	f := faultf(code, format, args...)
	f.Line, f.Offset = s.line, int64(s.pos)
	return f
}

// number reads a coordinate. What has no type of its own in the file is rounded to
// float32, the range of all these formats, so that one model gives one price in
// every one of them.
func (s *scanner) number(word []byte) (float64, error) {
	v, err := s.double(word)
	if math.Abs(v) <= math.MaxFloat32 {
		v = float64(float32(v))
	}
	return v, err
}

// double reads a number as float64.
func (s *scanner) double(word []byte) (float64, error) {
	if v, ok := s.plain(word); ok {
		return v, nil
	}
	switch v, ok := odd(word); {
	case ok:
		return v, nil
	case len(word) == 0:
		return 0, s.fault(Syntax, "a number is missing")
	case hasDecimalComma(word):
		return 0, s.fault(DecimalComma, "%q has a decimal comma; these files write numbers with a point, as in 0.5", short(word))
	}
	return 0, s.fault(Syntax, "%q is not a number", short(word))
}

// plain reads the common case: up to 18 digits, with point and exponent, whose value
// a single exact product or quotient gives correctly rounded.
func (s *scanner) plain(word []byte) (float64, bool) {
	i := 0
	if len(word) > 0 && (word[0] == '-' || word[0] == '+') {
		i = 1
	}
	first := i
	mantissa, i := digits(word, i, 0)
	count, exponent := i-first, 0
	if i < len(word) && word[i] == '.' {
		point := i + 1
		mantissa, i = digits(word, point, mantissa)
		count, exponent = count+i-point, point-i
	}
	if i < len(word) {
		e, ok := power(word[i:])
		if !ok {
			return 0, false
		}
		exponent += e
	}
	if count == 0 || count > 18 || mantissa > 1<<53 || exponent < -22 || exponent > 22 {
		return 0, false
	}
	v := float64(mantissa)
	if exponent < 0 {
		v /= s.whole[-exponent]
	} else {
		v *= s.whole[exponent]
	}
	if word[0] == '-' {
		v = -v
	}
	return v, true
}

// digits reads on a row of digits from i. The value is right for up to 18 of them.
func digits(word []byte, i int, value uint64) (uint64, int) {
	for i < len(word) {
		d := word[i] - '0'
		if d > 9 {
			break
		}
		value = value*10 + uint64(d)
		i++
	}
	return value, i
}

// power reads an exponent of up to three digits, such as e-05.
func power(word []byte) (int, bool) {
	if word[0] != 'e' && word[0] != 'E' {
		return 0, false
	}
	i, minus := 1, false
	if len(word) > 1 && (word[1] == '-' || word[1] == '+') {
		i, minus = 2, word[1] == '-'
	}
	value, end := digits(word, i, 0)
	if end == i || end != len(word) || end-i > 3 {
		return 0, false
	}
	if minus {
		return -int(value), true //nolint:gosec // three digits
	}
	return int(value), true //nolint:gosec // three digits
}

// odd reads the numbers that plain does not: long ones, far ones, and the words that
// programs write for what is not a number.
func odd(word []byte) (float64, bool) {
	if bytes.IndexByte(word, '#') > 0 { // 1.#IND and 1.#INF, as one C library writes them
		return math.NaN(), true
	}
	bare := bytes.TrimLeft(word, "+-")
	if len(bare) >= 3 && (bytes.EqualFold(bare[:3], []byte("nan")) || bytes.EqualFold(bare[:3], []byte("inf"))) {
		return math.NaN(), true
	}
	for _, c := range word[:min(len(word), 401)] {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c|0x20 != 'e' {
			return 0, false // a comma, or what strconv takes beyond decimal numbers
		}
	}
	if len(word) > 400 {
		return 0, false
	}
	v, err := strconv.ParseFloat(string(word), 64)
	if errors.Is(err, strconv.ErrRange) {
		return math.Copysign(math.MaxFloat64, v), true
	}
	return v, err == nil
}

// hasDecimalComma says whether a comma stands between two digits.
func hasDecimalComma(word []byte) bool {
	for i := 1; i+1 < len(word); i++ {
		if word[i] == ',' && word[i-1]-'0' <= 9 && word[i+1]-'0' <= 9 {
			return true
		}
	}
	return false
}

// short is a word fit to be shown.
func short(word []byte) []byte { return word[:min(len(word), 40)] }
