package meshfile

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
)

// deepestXML bounds the open elements that the decoder remembers.
const deepestXML = 100

// walk reads XML one token at a time, so that a model is never held whole.
type walk struct {
	decoder *xml.Decoder
	in      *inflater
	name    string // of the file in the package
	depth   int
}

func newWalk(in *inflater, name string) *walk {
	return &walk{decoder: xml.NewDecoder(in), in: in, name: name}
}

func (w *walk) token() (xml.Token, error) {
	w.in.since = 0
	t, err := w.decoder.Token()
	if err != nil && !errors.Is(err, io.EOF) {
		line, _ := w.decoder.InputPos()
		err = walkFault(err, line)
	}
	switch t.(type) {
	case xml.StartElement:
		w.depth++
	case xml.EndElement:
		w.depth--
	case xml.Directive: // it could give attributes that are not written (3MF core specification, 2.3.2)
		return nil, w.faultf(Syntax, "%s holds a document type definition, which 3MF forbids", w.name)
	}
	if w.depth > deepestXML {
		return nil, w.faultf(TooLarge, "elements are nested more than %d deep", deepestXML)
	}
	return t, err
}

// document reads to the end of the file, for its checksum stands there.
func (w *walk) document(root func(xml.StartElement) error) error {
	for met := false; ; {
		t, err := w.token()
		switch {
		case errors.Is(err, io.EOF) && met:
			return nil
		case errors.Is(err, io.EOF):
			return w.faultf(Truncated, "%s is empty", w.name)
		case err != nil:
			return err
		}
		if e, ok := t.(xml.StartElement); ok {
			if met {
				return w.faultf(Syntax, "%s has two roots", w.name)
			}
			met = true
			if err := root(e); err != nil {
				return err
			}
		}
	}
}

// children hands on every element in the one that was opened last. Each must be read
// to its end.
func (w *walk) children(each func(xml.StartElement) error) error {
	for {
		t, err := w.token()
		if err != nil {
			return err
		}
		switch t := t.(type) {
		case xml.StartElement:
			if err := each(t); err != nil {
				return err
			}
		case xml.EndElement:
			return nil
		}
	}
}

// skip reads to the end of the element that was opened last.
func (w *walk) skip() error {
	for until := w.depth - 1; w.depth > until; {
		if _, err := w.token(); err != nil {
			return err
		}
	}
	return nil
}

func (w *walk) faultf(code, format string, args ...any) *Fault {
	f := faultf(code, format, args...)
	f.Line, _ = w.decoder.InputPos()
	f.Offset = w.decoder.InputOffset()
	return f
}

// attribute returns an attribute of no namespace, empty where it is not there.
func attribute(e xml.StartElement, name string) string {
	return attributeOf(e, "", name)
}

// has says whether an attribute of no namespace is there, empty or not.
func has(e xml.StartElement, name string) bool {
	for i := range e.Attr {
		if a := &e.Attr[i]; a.Name.Local == name && a.Name.Space == "" {
			return true
		}
	}
	return false
}

func attributeOf(e xml.StartElement, space, name string) string {
	for i := range e.Attr {
		if a := &e.Attr[i]; a.Name.Local == name && a.Name.Space == space {
			return a.Value
		}
	}
	return ""
}

// number reads a coordinate (3MF core specification, ST_Number): decimals, so that what
// else Go takes for a number, 0x1p2 and 1_0, is none.
func (w *walk) number(text string) (float64, error) {
	text = strings.TrimSpace(text)
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case math.IsNaN(v), err == nil && math.IsInf(v, 0):
		return 0, w.faultf(NonFinite, "a number is %.40q; allowed are finite ones", text)
	case err == nil && !strings.ContainsAny(text, "xX_"):
		return v, nil
	case errors.Is(err, strconv.ErrRange):
		return 0, w.faultf(OutOfRange, "a number is %.40q, which is too large", text)
	case strings.Contains(text, ","):
		return 0, w.faultf(DecimalComma, "a number is %.40q: write it with a point", text)
	}
	return 0, w.faultf(Syntax, "a number is %.40q", text)
}

// whole reads an index or an identifier, allowed below 2^31 (3MF core specification,
// ST_ResourceIndex); missing says whether it may be left out.
func (w *walk) whole(e xml.StartElement, name string) (v uint32, given bool, err error) {
	text := strings.TrimSpace(attribute(e, name))
	if text == "" {
		return 0, false, nil
	}
	n, err := strconv.ParseUint(text, 10, 31)
	switch {
	case err == nil:
		return uint32(n), true, nil
	case errors.Is(err, strconv.ErrRange):
		return 0, false, w.faultf(IndexRange, "%s of %s is %.40q; allowed is 0 to 2147483647", name, e.Name.Local, text)
	}
	return 0, false, w.faultf(Syntax, "%s of %s is %.40q; allowed is 0 to 2147483647", name, e.Name.Local, text)
}

// needed reads an index or an identifier that must be there.
func (w *walk) needed(e xml.StartElement, name string) (uint32, error) {
	v, given, err := w.whole(e, name)
	if err == nil && !given {
		err = w.faultf(Syntax, "%s has no %s", e.Name.Local, name)
	}
	return v, err
}
