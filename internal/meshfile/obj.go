package meshfile

import "bytes"

// objCount is what an OBJ file holds.
type objCount struct {
	vertices, triangles, runs, names int64
}

// readOBJ reads the vertices and faces of an OBJ file and its materials by name; it
// opens no material library. Faces may name vertices that come later, so it goes over
// the text three times: to count, for the vertices, for the faces.
func readOBJ(data []byte, o Options) (*File, error) {
	unit, err := o.unitless(OBJ)
	if err != nil {
		return nil, err
	}
	var n objCount
	if err := n.count(data); err != nil {
		return nil, err
	}
	if n.vertices == 0 && n.triangles == 0 {
		return nil, faultf(NotAMesh, "there is no line of an OBJ file in this: no vertex and no face")
	}
	s := newSoup(len(data), o)
	if err := s.hold(n.vertices); err != nil {
		return nil, err
	}
	if err := s.objVertices(data, unit); err != nil {
		return nil, err
	}
	if err := s.holdFaces(n.triangles, n.runs, n.names); err != nil {
		return nil, err
	}
	if err := s.objFaces(data); err != nil {
		return nil, err
	}
	return &File{Mesh: s.mesh(), Unit: unit}, nil
}

// objLines hands on the lines of an OBJ file, by their first words.
func objLines(data []byte, line func(s *scanner, keyword []byte) error) error {
	s := newScanner(data)
	s.wrap = true
	for {
		if keyword := s.word(); keyword != nil {
			if err := line(s, keyword); err != nil {
				return err
			}
		}
		if !s.next() {
			return nil
		}
	}
}

func (n *objCount) count(data []byte) error {
	return objLines(data, func(s *scanner, keyword []byte) error {
		switch string(keyword) {
		case "v":
			n.vertices++
		case "usemtl":
			n.runs++
			n.names += int64(len(s.rest()))
		case "f":
			corners := int64(0)
			for s.word() != nil {
				corners++
			}
			n.triangles += corners - 2
			return s.cornersAllowed(corners)
		}
		return nil
	})
}

// cornersAllowed checks how many corners a face has.
func (s *scanner) cornersAllowed(corners int64) error {
	switch {
	case corners < 3:
		return s.fault(Syntax, "a face has %d corners; at least 3 are needed", corners)
	case corners > mostCorners:
		return s.fault(TooLarge, "a face has %d corners; allowed are %d", corners, mostCorners)
	}
	return nil
}

// objVertices reads the points. What follows x, y and z (a weight, a colour) is not
// used.
func (s *soup) objVertices(data []byte, unit float64) error {
	return objLines(data, func(text *scanner, keyword []byte) (err error) {
		if string(keyword) != "v" {
			return nil
		}
		var v [3]float64
		for i := range v {
			if v[i], err = text.number(text.word()); err != nil {
				return err
			}
		}
		return s.vertex(text, v, unit)
	})
}

// vertex adds a point in file units.
func (s *soup) vertex(text *scanner, v [3]float64, unit float64) error {
	p, ok := placed(v[0], v[1], v[2], unit)
	if !ok {
		f := misplaced(v[0], v[1], v[2], unit)
		f.Line, f.Offset = text.line, int64(text.pos)
		return f
	}
	s.points = append(s.points, p)
	return nil
}

func (s *soup) objFaces(data []byte) error {
	seen := int64(0) // vertices up to this line, from which negative numbers count back
	corners := make([]uint32, 0, 16)
	return objLines(data, func(text *scanner, keyword []byte) error {
		switch string(keyword) {
		case "v":
			seen++
		case "usemtl":
			s.zone(text.rest())
		case "f":
			corners = corners[:0]
			for word := text.word(); word != nil; word = text.word() {
				corner, err := s.corner(text, word, seen)
				if err != nil {
					return err
				}
				corners = append(corners, corner)
			}
			if err := s.face(corners); err != nil {
				return err
			}
		}
		return nil
	})
}

// corner reads a corner such as 7, -1, 7/3, 7//2 or 7/3/2.
func (s *soup) corner(text *scanner, word []byte, seen int64) (uint32, error) {
	name, other, _ := bytes.Cut(word, []byte("/"))
	at, minus := bytes.CutPrefix(name, []byte("-"))
	value, end := digits(at, 0, 0)
	if end == 0 || end != len(at) || len(bytes.Trim(other, "-/0123456789")) > 0 {
		return 0, text.fault(Syntax, "%q is not a corner of a face, such as 7 or 7/3/2", short(word))
	}
	if end > 12 || value == 0 {
		return 0, text.fault(IndexRange, "a face uses vertex %s; vertices are numbered from 1 to %d", short(name), len(s.points))
	}
	index := int64(value) - 1 //nolint:gosec // twelve digits at most
	if minus {
		index = seen - int64(value) //nolint:gosec // twelve digits at most
	}
	if index < 0 || index >= int64(len(s.points)) {
		return 0, text.fault(IndexRange, "a face uses vertex %s; there are %d, %d of them up to here", short(name), len(s.points), seen)
	}
	return uint32(index), nil //nolint:gosec // less than the number of points
}
