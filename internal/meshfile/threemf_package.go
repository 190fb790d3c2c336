package meshfile

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"path"
	"strings"
)

// The bounds of a package.
const (
	freeInflated  = 1 << 20   // bytes that every package may inflate to
	mostInflated  = 512 << 20 // bytes that none may exceed
	inflateRatio  = 100       // bytes inflated for each byte of the zip
	mostZipped    = 16_384    // files in the zip
	longestToken  = 64 << 10  // bytes of one tag or text
	relationships = "_rels/.rels"
	rootModel     = "3D/3dmodel.model"
	startPart     = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
)

// container is the zip of a 3MF package. It inflates the files that are asked for and
// counts their bytes as they come, whatever the zip says of them.
type container struct {
	files          []*zip.File
	inflated, most int64
}

func openContainer(data []byte) (*container, error) {
	if !bytes.HasPrefix(data, []byte("PK")) {
		return nil, faultf(NotAMesh, "a 3MF file is a zip, and this is none")
	}
	if n := bytes.Count(data, []byte("PK\x01\x02")); n > mostZipped {
		return nil, faultf(TooLarge, "the 3MF file packs %d files; allowed are %d", n, mostZipped)
	}
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, faultf(Truncated, "the zip's list of files at its end is missing or damaged (%v)", err)
	}
	most := min(mostInflated, max(freeInflated, inflateRatio*int64(len(data))))
	return &container{files: z.File, most: most}, nil
}

// find returns a file by its part name, nil where there is none. Part names differ by
// more than the case of their letters (Open Packaging Conventions, ECMA-376 part 2).
func (c *container) find(name string) *zip.File {
	for _, f := range c.files {
		if strings.EqualFold(partName(f.Name), name) {
			return f
		}
	}
	return nil
}

// partName is a name in the form in which names are compared: from the root, without
// the leading slash.
func partName(name string) string {
	return strings.TrimPrefix(path.Clean("/"+strings.ReplaceAll(name, `\`, "/")), "/")
}

// walk reads the XML of a file of the zip, its root element first.
func (c *container) walk(f *zip.File, root func(*walk, xml.StartElement) error) error {
	if size := f.UncompressedSize64; size > uint64(c.most) { //nolint:gosec // a bound above zero
		return c.tooLarge()
	}
	in, err := f.Open()
	if err != nil {
		return walkFault(err, 0)
	}
	defer func() { _ = in.Close() }()
	w := newWalk(&inflater{container: c, in: in}, f.Name)
	return w.document(func(e xml.StartElement) error { return root(w, e) })
}

func (c *container) tooLarge() *Fault {
	return faultf(TooLarge, "the 3MF file inflates to more than %d bytes; allowed is %d times its size, and at most %d MiB",
		c.most, inflateRatio, mostInflated>>20)
}

// start returns the root model: where the relationships of the package say it is, else
// where it always was.
func (c *container) start() (*zip.File, error) {
	name := rootModel
	if rels := c.find(relationships); rels != nil {
		err := c.walk(rels, func(w *walk, _ xml.StartElement) error {
			return w.children(func(e xml.StartElement) error {
				if e.Name.Local == "Relationship" && attribute(e, "Type") == startPart {
					name = partName(attribute(e, "Target"))
				}
				return w.skip()
			})
		})
		if err != nil {
			return nil, err
		}
	}
	f := c.find(name)
	if f == nil {
		return nil, faultf(NotAMesh, "the package holds no 3D model: %s is not there", name)
	}
	return f, nil
}

// models reads the root model and the models that it refers to.
func (c *container) models() (*model, error) {
	f, err := c.start()
	if err != nil {
		return nil, err
	}
	m := newModel(partName(f.Name))
	for i := 0; i < len(m.parts); i++ {
		if f = c.find(m.parts[i]); f == nil {
			return nil, faultf(IndexRange, "the model refers to %s, which the package does not hold", m.parts[i])
		}
		r := modelReader{model: m, part: uint32(i)} //nolint:gosec // bounded by the files of the zip
		if err := c.walk(f, r.root); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// inflater is a file of the zip, read within the bounds of the container.
type inflater struct {
	container *container
	in        io.Reader
	since     int // bytes read for the token at hand
}

// Read reads on, or says which bound the file breaks.
func (i *inflater) Read(b []byte) (int, error) {
	n, err := i.in.Read(b)
	i.container.inflated += int64(n)
	i.since += n
	if i.container.inflated > i.container.most {
		return 0, i.container.tooLarge()
	}
	if i.since > longestToken {
		return 0, faultf(TooLarge, "one tag or text of the model is longer than %d bytes", longestToken)
	}
	return n, err
}

// walkFault makes a fault of what stopped the reading of XML.
func walkFault(err error, line int) error {
	var f *Fault
	var s *xml.SyntaxError
	switch {
	case errors.As(err, &f):
		return f
	case errors.As(err, &s) && strings.Contains(s.Msg, "unexpected EOF"), errors.Is(err, io.ErrUnexpectedEOF):
		f = faultf(Truncated, "the model ends in the middle")
	case errors.As(err, &s):
		f, line = faultf(Syntax, "the model is not well-formed XML: %s", s.Msg), s.Line
	case errors.Is(err, zip.ErrAlgorithm):
		f = faultf(Unsupported, "the model is packed in a way that is not read; allowed is deflate")
	default:
		f = faultf(Syntax, "the model cannot be read: %v", err)
	}
	f.Line = line
	return f
}
