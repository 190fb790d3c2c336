// Package fault holds what is wrong with an input: every fault at once, each
// with the path of its field, what was got and what is allowed.
package fault

import (
	"fmt"
	"strconv"
	"strings"
)

// Fault is one thing wrong with one field.
type Fault struct {
	// Path leads to the field as a caller writes it, such as
	// "pieces[2].form.solids[0].dome.heightMm".
	Path string
	// Message says what was got and what is allowed.
	Message string
}

// List is every fault of an input, in the order of the input. It is an error
// when it is not empty; use Err to get nil for an empty one.
type List []Fault

// Error lists the faults, one a line.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i, f := range l {
		lines[i] = f.Message
		if f.Path != "" {
			lines[i] = f.Path + ": " + f.Message
		}
	}
	return strings.Join(lines, "\n")
}

// Err returns l as an error, or nil where nothing is wrong.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	return l
}

// Add appends a fault at p.
func (l *List) Add(p Path, format string, args ...any) {
	*l = append(*l, Fault{Path: p.String(), Message: fmt.Sprintf(format, args...)})
}

// Under returns the faults with every path put below prefix.
func (l List) Under(prefix string) List {
	out := make(List, len(l))
	for i, f := range l {
		out[i] = Fault{Path: join(prefix, f.Path), Message: f.Message}
	}
	return out
}

func join(prefix, path string) string {
	switch {
	case prefix == "":
		return path
	case path == "":
		return prefix
	case strings.HasPrefix(path, "["):
		return prefix + path
	}
	return prefix + "." + path
}

// Path leads to a field. It is written out only when a fault needs it, so that
// checking a sound input costs nothing. The zero value is the input itself.
type Path struct {
	parent *Path
	name   string
	index  int // -1 for a plain field
}

// Field returns the path of a field of p.
func (p *Path) Field(name string) Path {
	return Path{parent: p, name: name, index: -1}
}

// Item returns the path of an item of a list field of p.
func (p *Path) Item(name string, index int) Path {
	return Path{parent: p, name: name, index: index}
}

// At returns the path of an item of the list that p is.
func (p *Path) At(index int) Path {
	return Path{parent: p, index: index}
}

// String writes the path out.
func (p Path) String() string {
	own := p.name
	if p.parent != nil && p.index >= 0 {
		own += "[" + strconv.Itoa(p.index) + "]"
	}
	if p.parent == nil {
		return own
	}
	return join(p.parent.String(), own)
}

// Allowed lists the allowed codes for a message: the nearest to what was got
// first where one is near, and at most twelve.
func Allowed(got string, allowed []string) string {
	const most = 12
	if len(allowed) == 0 {
		return "allowed: none"
	}
	text := "allowed: " + strings.Join(allowed[:min(most, len(allowed))], ", ")
	if more := len(allowed) - most; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	if near, ok := Nearest(got, allowed); ok {
		return fmt.Sprintf("did you mean %q? %s", near, text)
	}
	return text
}

// Nearest returns the candidate that differs from got by the fewest edits, and
// whether it is near enough to be what was meant: at most a third of its length;
// else the only one that got is the beginning of, as depth is of depthMm.
func Nearest(got string, candidates []string) (string, bool) {
	if len(got) > nearestLimit {
		return "", false
	}
	best, least := "", len(got)/3+1
	for _, c := range candidates {
		if d := edits(got, c); d < least {
			best, least = c, d
		}
	}
	if best == "" {
		best = onlyOnward(got, candidates)
	}
	return best, best != ""
}

// onlyOnward returns the candidate that begins with got; empty for none, for
// several, and for a beginning of less than three letters, which says too little.
func onlyOnward(got string, candidates []string) string {
	const least = 3
	onward := ""
	for _, c := range candidates {
		if len(got) < least || !strings.HasPrefix(c, got) {
			continue
		}
		if onward != "" {
			return ""
		}
		onward = c
	}
	return onward
}

// nearestLimit bounds the work of Nearest: no code or field name is longer.
const nearestLimit = 100

// edits counts what turns a into b: bytes put in, left out or changed, and
// neighbours swapped, the commonest slip of all. It is the optimal string
// alignment distance: Levenshtein's table with one row more kept for the swaps.
func edits(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before, last, row = last, row, before
		row[0] = i + 1
		for j := range len(b) {
			cost := last[j]
			if a[i] != b[j] {
				cost++
			}
			row[j+1] = min(cost, row[j]+1, last[j+1]+1)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
	}
	return row[len(b)]
}
