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
	mostZipped    = 4096      // files in the zip, some 250 bytes each once listed
	longestToken  = 64 << 10  // bytes of one tag or text
	relationships = "_rels/.rels"
	rootModel     = "3D/3dmodel.model"
	startPart     = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
)

// container is the zip of a 3MF package. It inflates the files that are asked for and
// counts their bytes as they come, whatever the zip says of them.
type container struct {
	files          map[string]*zip.File // by the names that they are compared by
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
	c := &container{files: make(map[string]*zip.File, len(z.File)), most: most}
	return c, c.list(z.File)
}

// list lists the files by their names. Where two have one name, which of them is read
// would depend on the reader (Open Packaging Conventions: names are not equivalent).
func (c *container) list(files []*zip.File) error {
	for _, f := range files {
		if strings.HasSuffix(f.Name, "/") {
			continue // a folder
		}
		name := compared(partName(f.Name))
		if c.files[name] != nil {
			return faultf(Syntax, "the package holds two files of the name %.80q", f.Name)
		}
		c.files[name] = f
	}
	return nil
}

// find returns a file by its part name, nil where there is none.
func (c *container) find(name string) *zip.File { return c.files[compared(name)] }

// compared is a part name as it is compared: names differ by more than the case of their
// letters (Open Packaging Conventions, ECMA-376 part 2).
func compared(name string) string { return strings.ToLower(name) }

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
	if f.Flags&1 != 0 { // APPNOTE 4.4.4, bit 0
		return faultf(Unsupported, "%.80q is encrypted with a password: save the model without", f.Name)
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
	name := ""
	if rels := c.find(relationships); rels != nil {
		err := c.walk(rels, func(w *walk, _ xml.StartElement) error {
			return w.children(func(e xml.StartElement) error {
				if e.Name.Local == "Relationship" && attribute(e, "Type") == startPart {
					if err := started(w, e, &name); err != nil {
						return err
					}
				}
				return w.skip()
			})
		})
		if err != nil {
			return nil, err
		}
	}
	if name == "" {
		name = rootModel
	}
	f := c.find(name)
	if f == nil {
		return nil, faultf(NotAMesh, "the package holds no 3D model: %s is not there", name)
	}
	return f, nil
}

// started reads the name of the root model from a relationship. There is one, and it is
// in the package.
func started(w *walk, e xml.StartElement, name *string) error {
	target := attribute(e, "Target")
	if attribute(e, "TargetMode") == "External" {
		return w.faultf(ExternalFile, "the model is in another file, %.80q", target)
	}
	target = partName(target)
	if *name != "" && compared(*name) != compared(target) {
		return w.faultf(Syntax, "the package begins with two models, %.80q and %.80q", *name, target)
	}
	*name = target
	return nil
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
