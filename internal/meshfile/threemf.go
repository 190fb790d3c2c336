package meshfile

// read3MF reads a 3MF package (3MF core specification 1.3): what its build lists, with
// every component in place. The unit of the model is applied after all transforms, for
// it covers the translations too.
func read3MF(data []byte, o Options) (*File, error) {
	c, err := openContainer(data)
	if err != nil {
		return nil, err
	}
	m, err := c.models()
	if err != nil {
		return nil, err
	}
	f := &File{}
	if f.Unit, err = o.carried(TMF, m.unit); err != nil {
		return nil, err
	}
	return f, m.build(f, c.inflated+int64(len(data)), o)
}

// build lays every item of the build.
func (m *model) build(f *File, size int64, o Options) error {
	count := m.census()
	total := tally{}
	for i := range m.items {
		object, err := m.find(&m.items[i])
		if err != nil {
			return err
		}
		t, err := count.count(object, 1)
		if err != nil {
			return err
		}
		total.add(t)
	}
	if err := total.allow(size, o); err != nil {
		return err
	}
	root := asDrawn()
	err := f.assemble(m.soup(size, o), total, func(a *assembly) error {
		for i := range m.items {
			if err := m.lay(a, count, &m.items[i], &root); err != nil {
				return err
			}
		}
		return nil
	})
	m.report(f)
	return err
}

// soup has the allowance of a file of so many bytes, less what the tables of the model
// take, which are held meanwhile.
func (m *model) soup(size int64, o Options) *soup {
	s := newSoup(int(size), o)
	s.memory -= m.held()
	return s
}

// held is how many bytes the tables take. A resource takes some 40 where it is found by
// its number, an object as many where its copies are counted, a name a block of its own.
func (m *model) held() int64 {
	resources, names, objects := len(m.index)+len(m.groups), 0, cap(m.objects)
	for _, name := range m.names {
		names += 16 + len(name)
	}
	return int64(12*cap(m.vertices) + 20*cap(m.triangles) + 12*(cap(m.components)+cap(m.items)) + 96*cap(m.placements) +
		(40+40)*objects + 40*resources + 16*cap(m.names) + names)
}

func (m *model) report(f *File) {
	if m.skipped > 0 {
		f.warn(PartsSkipped, "%d objects are supports or of no declared use and are left out", m.skipped)
	}
	if m.lattices > 0 {
		f.warn(PartsSkipped, "%d lattices of beams are left out", m.lattices)
	}
}

// census counts the triangles of objects; supports have none.
func (m *model) census() *census {
	c := newCensus(len(m.objects))
	c.own = func(object int) (tally, error) {
		o := &m.objects[object]
		if o.support && o.components.size() == 0 {
			m.skipped++
			return tally{copies: 1}, nil
		}
		return tally{triangles: int64(o.triangles.size()), copies: 1}, nil
	}
	c.held = func(object, n int) (int, bool, error) {
		held := m.objects[object].components
		if n >= held.size() {
			return 0, false, nil
		}
		child, err := m.find(&m.components[int(held.first)+n])
		return child, true, err
	}
	return c
}

// find returns the object that a component or an item refers to.
func (m *model) find(c *component) (int, error) {
	object, ok := m.index[c.refers]
	if !ok {
		return 0, faultf(IndexRange, "object %d is used, but %s does not hold it", c.refers.id, m.parts[c.refers.part])
	}
	return int(object), nil
}

// lay puts the object of a component, and what it holds, into an assembly.
func (m *model) lay(a *assembly, count *census, c *component, outer *placement) error {
	object, err := m.find(c)
	if err != nil || count.tallies[object].triangles == 0 {
		return err
	}
	at := *outer
	if c.at > 0 {
		at = m.placements[c.at-1].within(outer)
	}
	o := &m.objects[object]
	if err := a.lay(m.surface(o), &at); err != nil {
		return err
	}
	for i := o.components.first; i < o.components.end; i++ {
		if err := m.lay(a, count, &m.components[i], &at); err != nil {
			return err
		}
	}
	return nil
}

// surface is the mesh of an object. The same part stands for each in turn: a small file
// may ask for a great many copies.
func (m *model) surface(o *object) *part {
	if m.laid.vertex == nil {
		m.laid.vertex = func(i uint32) [3]float64 {
			v := m.vertices[m.whose.vertices.first+i]
			return [3]float64{float64(v[0]), float64(v[1]), float64(v[2])}
		}
		m.laid.triangle = func(t int) [3]uint32 { return m.triangles[int(m.whose.triangles.first)+t].corners }
		m.laid.zone = func(t int) (string, error) {
			return m.zone(m.whose, &m.triangles[int(m.whose.triangles.first)+t])
		}
	}
	m.whose = o
	m.laid.vertices, m.laid.triangles = o.vertices.size(), o.triangles.size()
	return &m.laid
}

// zone is the name of the material of a triangle: its own, from its group or that of its
// object; that of its object where it names none (3MF core specification, 4.1.4.1: "if p1
// is not specified then the default object property, if specified, is assigned").
func (m *model) zone(o *object, t *triangle) (string, error) {
	group, property := t.group, t.property
	switch {
	case property == 0:
		group, property = o.group, max(o.property, 1)
	case group == 0:
		group = o.group
	}
	if group == 0 {
		return "", nil
	}
	if id := (resource{part: o.part, id: group - 1}); m.last.id != id || !m.last.known {
		m.last.id, m.last.known = id, true
		m.last.names, m.last.named = m.groups[id]
	}
	if !m.last.named {
		return "", nil // a texture, or another extension's
	}
	if int(property) > m.last.names.size() {
		return "", faultf(IndexRange, "a triangle uses material %d of the %d in group %d", property-1, m.last.names.size(), group-1)
	}
	return m.names[m.last.names.first+property-1], nil
}
