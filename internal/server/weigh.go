package server

import (
	"fmt"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/mouldwright/mouldwright/internal/fault"
)

const (
	// heldItems bounds the items of all lists of a message together. Package wire holds JSON to
	// the same: two bytes can be an item, which takes a hundred times as much once it is read.
	heldItems = 20_000
	// heldMessages bounds the messages within a message that stand in no list. A message that
	// is given again takes the place of one that was read.
	heldMessages = 2 * heldItems
	// heldDepth bounds how deep messages stand within each other.
	heldDepth = 100
)

// weigh returns what is wrong with a message that holds too much to be read, without reading
// it. One that is too short for that is not looked at.
func weigh(raw []byte, d protoreflect.MessageDescriptor) fault.List {
	if len(raw) <= heldItems {
		return nil
	}
	var s scale
	switch sound := s.message(raw, d, 0); {
	case s.items > heldItems:
		return fault.List{{Message: fmt.Sprintf("more than %d items in lists; allowed: %d in one message", heldItems, heldItems)}}
	case s.messages > heldMessages:
		return fault.List{{Message: fmt.Sprintf("more than %d messages within it; allowed: %d in one message", heldMessages, heldMessages)}}
	case !sound:
		return unreadable()
	}
	return nil
}

// scale counts what a message holds.
type scale struct{ items, messages int }

// full reports whether there is more than is counted on.
func (s *scale) full() bool { return s.items > heldItems || s.messages > heldMessages }

// message counts what a message holds, and reports whether it can be read so far; it stops once
// there is too much.
func (s *scale) message(raw []byte, d protoreflect.MessageDescriptor, depth int) bool {
	if depth > heldDepth {
		return false
	}
	for len(raw) > 0 && !s.full() {
		number, kind, n := protowire.ConsumeTag(raw)
		if n < 0 {
			return false
		}
		raw = raw[n:]
		size := protowire.ConsumeFieldValue(number, kind, raw)
		if size < 0 {
			return false
		}
		f := d.Fields().ByNumber(number)
		if f != nil && !s.field(raw[:size], f, kind, depth) {
			return false
		}
		raw = raw[size:]
	}
	return true
}

// field counts one value of a field.
func (s *scale) field(value []byte, f protoreflect.FieldDescriptor, kind protowire.Type, depth int) bool {
	inner, n := protowire.ConsumeBytes(value)
	within := kind == protowire.BytesType && n > 0
	switch {
	case within && f.Message() != nil:
		if s.messages++; f.Cardinality() == protoreflect.Repeated {
			s.messages, s.items = s.messages-1, s.items+1
		}
		return s.message(inner, f.Message(), depth+1)
	case f.Cardinality() != protoreflect.Repeated:
		return true
	case within && f.Kind() != protoreflect.StringKind && f.Kind() != protoreflect.BytesKind:
		s.items += packed(inner, f.Kind())
	default:
		s.items++
	}
	return true
}

// packed is how many numbers stand behind each other in one value: each is at its end at a byte
// without the highest bit, or all are of one length.
func packed(inner []byte, kind protoreflect.Kind) int {
	switch kind {
	case protoreflect.DoubleKind, protoreflect.Fixed64Kind, protoreflect.Sfixed64Kind:
		return len(inner) / 8
	case protoreflect.FloatKind, protoreflect.Fixed32Kind, protoreflect.Sfixed32Kind:
		return len(inner) / 4
	default:
		return varints(inner)
	}
}

func varints(inner []byte) int {
	const more = 0x80
	n := 0
	for _, b := range inner {
		if b < more {
			n++
		}
	}
	return n
}
