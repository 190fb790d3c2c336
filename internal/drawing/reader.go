package drawing

import (
	"strconv"
	"strings"
)

// commands are the letters allowed, as faults name them.
const commands = "M L H V C S Q T A Z"

// reader reads the grammar of SVG 2, section 9.3.9 (from memory). Two things beyond
// its letter are taken, as the text of the section and SVG 1.1 have them: an exponent
// in a number, and a number that ends in its point.
type reader struct {
	data string
	at   int
	pen  pen
}

// argumentsOf is how many numbers a command takes at a time, -1 for no command.
func argumentsOf(command byte) int {
	switch command | 0x20 { // in lower case
	case 'z':
		return 0
	case 'h', 'v':
		return 1
	case 'm', 'l', 't':
		return 2
	case 's', 'q':
		return 4
	case 'c':
		return 6
	case 'a':
		return 7
	}
	return -1
}

// letter is false for what is only turned into a letter by lowering its case.
func letter(c byte) bool { return c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' }

func (r *reader) path() error {
	for r.space(); r.at < len(r.data); r.space() {
		command := r.data[r.at]
		if !letter(command) || argumentsOf(command) < 0 {
			return faultAt(r.at, "got %s, allowed is a command: %s, or small", r.token(), commands)
		}
		if len(r.pen.subpaths) == 0 && command|0x20 != 'm' {
			return faultAt(r.at, "got %s, allowed is M: a path begins with it", r.token())
		}
		if err := r.command(command); err != nil {
			return err
		}
	}
	if len(r.pen.subpaths) == 0 {
		return faultAt(0, "got nothing, allowed is a path that begins with M")
	}
	return nil
}

// command reads a command with all its sets of arguments. The sets after that of an M
// are those of an L.
func (r *reader) command(command byte) error {
	offset := r.at
	r.at++
	r.space()
	for {
		a, err := r.arguments(command)
		if err != nil {
			return err
		}
		if err := r.pen.draw(command, a, offset); err != nil {
			return err
		}
		again, err := r.again(command)
		if err != nil || !again {
			return err
		}
		if offset = r.at; command|0x20 == 'm' {
			command-- // the letter before M is L, and before m it is l
		}
	}
}

// again says whether another set of arguments follows. After a comma one must.
func (r *reader) again(command byte) (bool, error) {
	if argumentsOf(command) == 0 {
		return false, nil
	}
	comma := r.comma()
	if r.at < len(r.data) && strings.IndexByte("+-.0123456789", r.data[r.at]) >= 0 {
		return true, nil
	}
	if comma {
		return false, faultAt(r.at, "got %s, allowed is a number after a comma", r.token())
	}
	return false, nil
}

func (r *reader) arguments(command byte) (a [7]float64, err error) {
	for i := range argumentsOf(command) {
		if i > 0 {
			r.comma()
		}
		if command|0x20 == 'a' && (i == 3 || i == 4) {
			a[i], err = r.flag()
		} else {
			a[i], err = r.number()
		}
		if err != nil {
			return a, err
		}
	}
	return a, nil
}

// space passes over white space: tab, line feed, form feed, return and blank.
func (r *reader) space() {
	for r.at < len(r.data) && strings.IndexByte("\t\n\f\r ", r.data[r.at]) >= 0 {
		r.at++
	}
}

// comma passes over white space with at most one comma in it, and says if there was.
func (r *reader) comma() bool {
	r.space()
	if r.at == len(r.data) || r.data[r.at] != ',' {
		return false
	}
	r.at++
	r.space()
	return true
}

// flag is a single 0 or 1, which needs nothing between it and what follows.
func (r *reader) flag() (float64, error) {
	if r.at == len(r.data) || r.data[r.at] != '0' && r.data[r.at] != '1' {
		return 0, faultAt(r.at, "got %s, allowed is a flag of an arc: 0 or 1", r.token())
	}
	r.at++
	return float64(r.data[r.at-1] - '0'), nil
}

func (r *reader) number() (float64, error) {
	end := r.numberEnd()
	if end == r.at {
		return 0, faultAt(r.at, "got %s, allowed is a number", r.token())
	}
	value, err := strconv.ParseFloat(r.data[r.at:end], 64)
	if err != nil {
		return 0, faultAt(r.at, "got %s, allowed is a number that a float64 holds", r.token())
	}
	r.at = end
	return value, nil
}

// numberEnd is the end of the longest number that begins here; there is none where it
// is the beginning. An e without digits after it is no part of a number.
func (r *reader) numberEnd() int {
	whole := r.digits(r.sign(r.at))
	end := whole
	if end < len(r.data) && r.data[end] == '.' {
		end = r.digits(end + 1)
	}
	if strings.Trim(r.data[r.at:end], "+-.") == "" {
		return r.at
	}
	if end < len(r.data) && r.data[end]|0x20 == 'e' {
		first := r.sign(end + 1)
		if last := r.digits(first); last > first {
			return last
		}
	}
	return end
}

func (r *reader) sign(at int) int {
	if at < len(r.data) && (r.data[at] == '+' || r.data[at] == '-') {
		return at + 1
	}
	return at
}

func (r *reader) digits(at int) int {
	for at < len(r.data) && r.data[at] >= '0' && r.data[at] <= '9' {
		at++
	}
	return at
}

// token is what stands here, for a fault: up to the next space or comma, at most 12
// bytes, quoted.
func (r *reader) token() string {
	const longest = 12
	if r.at >= len(r.data) {
		return "the end"
	}
	end := r.at + 1
	for end < len(r.data) && end < r.at+longest && strings.IndexByte("\t\n\f\r ,", r.data[end]) < 0 {
		end++
	}
	return strconv.QuoteToASCII(r.data[r.at:end])
}
