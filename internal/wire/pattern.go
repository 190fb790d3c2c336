package wire

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
)

// rulesOf returns the contract's rules for a field; nil for none.
func rulesOf(f protoreflect.FieldDescriptor) *validate.FieldRules {
	r, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
	return r
}

const aDecimal = `a decimal number in quotation marks, such as "7.5"`

// patternWords says what a pattern of the contract takes, for people who read no
// patterns. The limits are the pattern's own.
func patternWords(pattern string) string {
	core := patternCore(pattern)
	switch {
	case core == "[0-9]{4}-[0-9]{2}-[0-9]{2}":
		return "a day as ISO 8601 writes it, such as 2027-03-01"
	case core == "[A-Z]{3}":
		return "three capitals of ISO 4217, such as GBP"
	case strings.HasPrefix(core, "rateBooks/"):
		return "rateBooks/ and a revision, such as rateBooks/current; a revision is of " + codeWords(strings.TrimPrefix(core, "rateBooks/"))
	case strings.HasPrefix(core, "partners/"):
		return "partners/ and an id, such as partners/tamsin-row; an id is of " + codeWords(strings.TrimPrefix(core, "partners/"))
	case strings.HasPrefix(core, "quotes/"):
		return "quotes/ and a number, such as quotes/Q-2027-0001"
	case strings.HasPrefix(core, "keys/"):
		return "keys/ and the id of a key, which is 16 small letters and digits from 2 to 7"
	case core == "[A-Za-z0-9._-]{0,64}":
		return "up to 64 letters, digits, points, underscores and hyphens"
	case strings.HasPrefix(core, "meshes/"):
		return "meshes/ and a name, such as meshes/hare-1; a name is of " + codeWords(strings.TrimPrefix(core, "meshes/"))
	}
	if words := decimalWords(pattern); words != "" {
		return words
	}
	if words := codeWords(core); words != "" {
		return words
	}
	return "a match of `" + pattern + "`"
}

// patternCore takes off what says that a pattern is of the whole text, and that
// the text may be empty.
func patternCore(pattern string) string {
	core := strings.TrimSuffix(strings.TrimPrefix(pattern, "^"), "$")
	if inner, ok := strings.CutPrefix(core, "("); ok && strings.HasSuffix(inner, ")?") {
		return strings.TrimSuffix(inner, ")?")
	}
	return core
}

// decimalPattern takes a pattern of decimal numbers apart: its sign, the digits
// before the point and those after it. It is nil for another pattern.
func decimalPattern(pattern string) []string {
	parts := regexp.MustCompile(`^(-\?)?\[0-9\]\{1,(\d+)\}\(\[\.\]\[0-9\]\{1,(\d+)\}\)\?$`).FindStringSubmatch(patternCore(pattern))
	if parts == nil {
		return nil
	}
	return parts[1:]
}

func decimalWords(pattern string) string {
	parts := decimalPattern(pattern)
	if parts == nil {
		return ""
	}
	sign := ", not negative"
	if parts[0] != "" {
		sign = ""
	}
	return fmt.Sprintf("%s%s, with at most %s digits before the point and %s after it", aDecimal, sign, parts[1], parts[2])
}

// codeWords describes codes; empty for another pattern.
func codeWords(core string) string {
	if ends := regexp.MustCompile(`^\[a-z0-9\]\(\[a-z0-9-\]\{0,(\d+)\}\[a-z0-9\]\)\?$`).FindStringSubmatch(core); ends != nil {
		between, err := strconv.Atoi(ends[1])
		if err != nil {
			return ""
		}
		return fmt.Sprintf("lower-case letters, digits and hyphens, no hyphen at either end, at most %d", between+2)
	}
	parts := regexp.MustCompile(`^(\[a-z0-9\])?\[a-z0-9(\.?)-\]\{([01]),(\d+)\}$`).FindStringSubmatch(core)
	if parts == nil {
		return ""
	}
	most, err := strconv.Atoi(parts[4])
	if err != nil {
		return ""
	}
	signs, begins := "digits and hyphens", ""
	if parts[2] != "" {
		signs = "digits, dots and hyphens"
	}
	if parts[1] != "" {
		begins, most = ", beginning with a letter or digit", most+1
	}
	return fmt.Sprintf("lower-case letters, %s%s, at most %d", signs, begins, most)
}
