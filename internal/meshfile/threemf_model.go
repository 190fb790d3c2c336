package meshfile

import (
	"encoding/xml"
	"math"
	"strings"
)

// The namespaces that are read (3MF core specification; materials and properties
// extension; production extension).
const (
	coreSpace       = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
	materialSpace   = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
	productionSpace = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
)

// mostModels bounds the files with objects.
const mostModels = 1024

// PartsSkipped is the warning that a file holds what is no part of the surface, such as
// supports, points or lines.
const PartsSkipped = "parts_skipped"

// model is what the models of a package hold, all in the same few tables: millions of
// triangles, or of objects without any, cost no more than their text.
type model struct {
	unit       float64  // m
	parts      []string // the files, the root model first
	index      map[resource]uint32
	objects    []object
	vertices   [][3]float32 // the range of the formats: one model has one price in each
	triangles  []triangle
	components []component
	placements []placement
	items      []component
	groups     map[resource]span
	names      []string          // of materials
	paths      map[string]uint32 // parts by the names that they are compared by
	skipped    int
	lattices   int
	laid       part    // the part being laid
	whose      *object // and the object it is
	last       struct {
		id           resource
		names        span
		named, known bool
	} // the group of materials asked for last
}

// resource is an identifier in one of the files.
type resource struct{ part, id uint32 }

// span is a stretch of a table.
type span struct{ first, end uint32 }

func (s span) size() int { return int(s.end) - int(s.first) }

// object is a mesh or an assembly of components.
type object struct {
	part                            uint32
	group, property                 uint32 // 1 + pid, 1 + pindex; 0 for none
	vertices, triangles, components span
	support                         bool // by its type, which counts for nothing where it holds components
}

// triangle is three vertices of its object and its material.
type triangle struct {
	corners         [3]uint32
	group, property uint32 // 1 + pid, 1 + p1; 0 for none
}

// component is an object put somewhere.
type component struct {
	refers resource
	at     uint32 // 1 + its placement; 0 for as drawn
}

func newModel(root string) *model {
	return &model{
		parts: []string{root}, paths: map[string]uint32{compared(root): 0},
		index: make(map[resource]uint32), groups: make(map[resource]span),
	}
}

// modelReader reads one file into a model.
type modelReader struct {
	*walk
	model *model
	part  uint32
}

func (r *modelReader) root(w *walk, e xml.StartElement) error {
	r.walk = w
	if e.Name.Space != coreSpace || e.Name.Local != "model" {
		return r.faultf(NotAMesh, "%s begins with %.40q, not with a 3MF model", w.name, e.Name.Local)
	}
	if err := r.understood(e); err != nil {
		return err
	}
	if err := r.unit(e); err != nil {
		return err
	}
	return r.children(func(e xml.StartElement) error {
		switch {
		case isCore(e, "resources"):
			return r.children(r.resource)
		case isCore(e, "build") && r.part == 0:
			return r.children(r.item)
		}
		return r.skip()
	})
}

// most is how many objects may be held, and how many components with the items of the
// build: as many as glTF may hold in as many bytes. An empty object of 19 bytes takes some
// 250 with its tables, a component with its placement no less.
func (r *modelReader) most() int { return freeObjects + int(r.in.container.inflated)/bytesPerObject }

func isCore(e xml.StartElement, name string) bool {
	return e.Name.Space == coreSpace && e.Name.Local == name
}

// understood says whether every required extension is read.
func (r *modelReader) understood(e xml.StartElement) error {
	for _, prefix := range strings.Fields(attribute(e, "requiredextensions")) {
		switch space := attributeOf(e, "xmlns", prefix); space {
		case coreSpace, materialSpace, productionSpace:
		default:
			return r.faultf(Unsupported, "the model needs the extension %.40q (%.100s), which is not read", prefix, space)
		}
	}
	return nil
}

// unit reads the unit of a model (3MF core specification, ST_Unit).
func (r *modelReader) unit(e xml.StartElement) error {
	unit, ok := lengthOf(attribute(e, "unit"))
	switch {
	case !ok:
		return r.faultf(Unit, "the unit is %.40q; allowed are micron, millimeter, centimeter, inch, foot and meter", attribute(e, "unit")) //nolint:misspell // the word of 3MF
	case r.part == 0:
		r.model.unit = unit
	case unit != r.model.unit:
		return r.faultf(Unit, "%s has units of %g m, the root model of %g m", r.name, unit, r.model.unit)
	}
	return nil
}

// lengthOf is a unit of a model in metres; a model that names none is in millimetres.
func lengthOf(unit string) (float64, bool) {
	switch strings.TrimSpace(unit) {
	case "micron":
		return 1e-6, true
	case "millimeter", "": //nolint:misspell // the word of 3MF
		return 1e-3, true
	case "centimeter": //nolint:misspell // the word of 3MF
		return 1e-2, true
	case "inch":
		return 0.0254, true
	case "foot":
		return 0.3048, true
	case "meter":
		return 1, true
	}
	return 0, false
}

func (r *modelReader) resource(e xml.StartElement) error {
	switch {
	case isCore(e, "object"):
		return r.object(e)
	case isCore(e, "basematerials"):
		return r.materials(e, coreSpace, "base", "name")
	case e.Name.Space == materialSpace && e.Name.Local == "colorgroup":
		return r.materials(e, materialSpace, "color", "color") //nolint:misspell // the word of 3MF
	}
	return r.skip()
}

// materials reads a group of materials, which name zones.
func (r *modelReader) materials(group xml.StartElement, space, each, name string) error {
	id, err := r.needed(group, "id")
	if err != nil {
		return err
	}
	m := r.model
	if err := r.unused(id); err != nil {
		return err
	}
	s := span{first: tableSize(len(m.names))}
	err = r.children(func(e xml.StartElement) error {
		if e.Name.Space == space && e.Name.Local == each {
			if !has(e, name) {
				return r.faultf(Syntax, "%s has no %s", each, name)
			}
			m.names = append(m.names, attribute(e, name))
		}
		return r.skip()
	})
	s.end = tableSize(len(m.names))
	m.groups[resource{r.part, id}] = s
	return err
}

// unused says whether an identifier is free (3MF core specification, 3.4.2: they are
// unique within the model).
func (r *modelReader) unused(id uint32) error {
	_, object := r.model.index[resource{r.part, id}]
	_, group := r.model.groups[resource{r.part, id}]
	if object || group {
		return r.faultf(Syntax, "two resources have the id %d", id)
	}
	return nil
}

// tableSize is the size of a table. A package inflates to 512 MiB at most, so that no
// table reaches 2^32.
func tableSize(n int) uint32 { return uint32(n) } //nolint:gosec // bounded by the inflated size

func (r *modelReader) object(e xml.StartElement) error {
	m := r.model
	if most := r.most(); len(m.objects) >= most {
		return r.faultf(TooLarge, "the model holds more than %d objects in so many bytes", most)
	}
	id, err := r.needed(e, "id")
	if err != nil {
		return err
	}
	if err := r.unused(id); err != nil {
		return err
	}
	o := object{part: r.part, support: isSupport(attribute(e, "type"))}
	if o.group, o.property, err = r.material(e, "pindex"); err != nil {
		return err
	}
	if err := r.shape(&o); err != nil {
		return err
	}
	m.index[resource{r.part, id}] = tableSize(len(m.objects))
	m.objects = append(m.objects, o)
	return nil
}

// isSupport says whether an object is no part of what is to be made: of the types of the
// specification, support structures and objects of other use.
func isSupport(kind string) bool { return kind == "support" || kind == "other" }

// material reads which material an object or a triangle has: 1 + the group, 1 + the
// place in it; 0 for none.
func (r *modelReader) material(e xml.StartElement, index string) (group, property uint32, err error) {
	group, grouped, err := r.whole(e, "pid")
	if err != nil {
		return 0, 0, err
	}
	if grouped {
		group++
	}
	property, given, err := r.whole(e, index)
	if given {
		property++
	}
	return group, property, err
}

// shape reads the mesh or the components of an object: one of the two, and once (3MF
// core specification, schema). An object that is made of something else alone cannot be
// left out, for it would not be paid for.
func (r *modelReader) shape(o *object) error {
	m := r.model
	vertices, triangles, components := len(m.vertices), len(m.triangles), len(m.components)
	shapes, other := 0, ""
	err := r.children(func(e xml.StartElement) error {
		switch {
		case isCore(e, "mesh"):
			shapes++
			return r.children(r.mesh)
		case isCore(e, "components"):
			shapes++
			return r.children(r.component)
		case e.Name.Space != coreSpace:
			other = e.Name.Local
		}
		return r.skip()
	})
	switch {
	case err != nil:
	case shapes > 1:
		err = r.faultf(Syntax, "an object has %d shapes; it takes one mesh or one list of components", shapes)
	case shapes == 0 && other != "" && !o.support:
		err = r.faultf(Unsupported, "an object is made of %.40q, which is not read", other)
	}
	o.vertices = span{tableSize(vertices), tableSize(len(m.vertices))}
	o.triangles = span{tableSize(triangles), tableSize(len(m.triangles))}
	o.components = span{tableSize(components), tableSize(len(m.components))}
	return err
}

func (r *modelReader) mesh(e xml.StartElement) error {
	switch {
	case isCore(e, "vertices"):
		return r.children(r.vertex)
	case isCore(e, "triangles"):
		return r.children(r.triangle)
	case e.Name.Space != coreSpace && e.Name.Local == "beamlattice": // beam lattice extension
		r.model.lattices++
	}
	return r.skip()
}

func (r *modelReader) vertex(e xml.StartElement) error {
	if !isCore(e, "vertex") {
		return r.skip()
	}
	var p [3]float32
	for i, axis := range [3]string{"x", "y", "z"} {
		v, err := r.number(attribute(e, axis))
		if err != nil {
			return err
		}
		if math.Abs(v) > math.MaxFloat32 {
			return r.faultf(OutOfRange, "a coordinate is %g; allowed is up to %g m from the origin", v, float64(MostReach))
		}
		p[i] = float32(v)
	}
	r.model.vertices = append(r.model.vertices, p)
	return r.skip()
}

func (r *modelReader) triangle(e xml.StartElement) error {
	if !isCore(e, "triangle") {
		return r.skip()
	}
	var t triangle
	var err error
	for i, corner := range [3]string{"v1", "v2", "v3"} {
		if t.corners[i], err = r.needed(e, corner); err != nil {
			return err
		}
	}
	if t.group, t.property, err = r.material(e, "p1"); err != nil {
		return err
	}
	r.model.triangles = append(r.model.triangles, t)
	return r.skip()
}

func (r *modelReader) component(e xml.StartElement) error {
	if !isCore(e, "component") {
		return r.skip()
	}
	c, err := r.placed(e)
	if err != nil {
		return err
	}
	r.model.components = append(r.model.components, c)
	return r.skip()
}

func (r *modelReader) item(e xml.StartElement) error {
	if !isCore(e, "item") {
		return r.skip()
	}
	c, err := r.placed(e)
	if err != nil {
		return err
	}
	r.model.items = append(r.model.items, c)
	return r.skip()
}

// placed reads what a component and an item of the build share: the object, the file
// that holds it (production extension, path) and its transform.
func (r *modelReader) placed(e xml.StartElement) (component, error) {
	if most := r.most(); len(r.model.components)+len(r.model.items) >= most {
		return component{}, r.faultf(TooLarge, "the model holds more than %d components and items in so many bytes", most)
	}
	id, err := r.needed(e, "objectid")
	if err != nil {
		return component{}, err
	}
	c := component{refers: resource{part: r.part, id: id}}
	if name := attributeOf(e, productionSpace, "path"); name != "" {
		if c.refers.part, err = r.file(partName(name)); err != nil {
			return component{}, err
		}
	}
	c.at, err = r.transform(attribute(e, "transform"))
	return c, err
}

// file returns the number of a file of the package, which is read later if it was not.
func (r *modelReader) file(name string) (uint32, error) {
	m := r.model
	if i, met := m.paths[compared(name)]; met {
		return i, nil
	}
	if len(m.parts) == mostModels {
		return 0, r.faultf(TooLarge, "the package spreads its model over more than %d files", mostModels)
	}
	m.paths[compared(name)] = tableSize(len(m.parts))
	m.parts = append(m.parts, name)
	return tableSize(len(m.parts) - 1), nil
}

// transform reads the twelve numbers of a transform; 0 stands for none.
func (r *modelReader) transform(text string) (uint32, error) {
	fields := strings.Fields(text)
	if len(fields) == 0 {
		return 0, nil
	}
	if len(fields) != 12 {
		return 0, r.faultf(Syntax, "a transform has %d numbers; it takes 12", len(fields))
	}
	var at placement
	for i, f := range fields {
		v, err := r.number(f)
		if err != nil {
			return 0, err
		}
		at[i/3][i%3] = v
	}
	r.model.placements = append(r.model.placements, at)
	return tableSize(len(r.model.placements)), nil
}
