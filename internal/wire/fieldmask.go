package wire

import (
	"encoding/json"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/mouldwright/mouldwright/internal/fault"
)

// mostPaths bounds the paths of one field mask.
const mostPaths = 100

const (
	aFieldMask = `a string of field paths with commas between, such as "title,terms.discountPercent"`
	aMaskPath  = `paths of lowerCamelCase names with dots between, such as terms.discountPercent`
)

// isFieldMask reports whether messages of a type are written in JSON as ProtoJSON writes field
// masks: not as an object, but as one string.
func isFieldMask(d protoreflect.MessageDescriptor) bool {
	return d != nil && d.FullName() == "google.protobuf.FieldMask"
}

// paths reads a field mask: paths as JSON names fields, with commas between, into paths as the
// contract names them. An empty string has none. Whether there are such fields is for whoever
// knows which message the mask is for. ProtoJSON takes names that begin with a capital too,
// which no field of this contract's style has.
func (d *decoder) paths(p fault.Path, t json.Token) (paths []string, ok bool) {
	text, ok := t.(string)
	text = strings.TrimSpace(text)
	switch n := strings.Count(text, ",") + 1; {
	case !ok:
		d.mistyped(p, t, aFieldMask)
		return nil, false
	case text == "":
		return nil, true
	case n > mostPaths:
		if !d.full() {
			d.faults.Add(p, "got %d paths, allowed: at most %d", n, mostPaths)
		}
		return nil, false
	}
	for path := range strings.SplitSeq(text, ",") {
		if !isCamelPath(path) {
			d.mistyped(p, path, aMaskPath)
			return nil, false
		}
		paths = append(paths, snakePath(path))
	}
	return paths, true
}

// isCamelPath reports whether a path is of names that begin with a small letter and go on with
// letters and digits of ASCII.
func isCamelPath(path string) bool {
	begins := true
	for i := range len(path) {
		c := path[i]
		small, other := c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
		switch {
		case begins && !small, !small && !other && c != '.':
			return false
		}
		begins = c == '.'
	}
	return !begins
}

// snakePath puts an underscore and a small letter for each capital.
func snakePath(camel string) string {
	var b strings.Builder
	for i := range len(camel) {
		c := camel[i]
		if c >= 'A' && c <= 'Z' {
			b.WriteByte('_')
			c += 'a' - 'A'
		}
		b.WriteByte(c)
	}
	return b.String()
}

// setPaths puts paths into a field mask.
func setPaths(mask protoreflect.Message, paths []string) {
	f := mask.Descriptor().Fields().ByName("paths")
	for _, path := range paths {
		mask.Mutable(f).List().Append(protoreflect.ValueOfString(path))
	}
}
