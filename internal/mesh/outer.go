package mesh

// Outer returns the outer skin: the faces of the components that no other component
// holds, wound outward where they are closed. Without inner skins it is Mesh itself;
// it shares its vertices in any case, and names no zones where it is not.
func (s *Survey) Outer() *Mesh { return s.outer }

// outward picks the faces of the outer skin.
func (s *Survey) outward(t *topology) {
	s.outer = s.Mesh
	if !s.nested() {
		return
	}
	s.outer = &Mesh{Vertices: s.Mesh.Vertices}
	for f, face := range s.Mesh.Faces {
		if s.Components[t.parts.of(uint32(f))].Depth == 0 { //nolint:gosec // readers bound the file
			s.outer.Faces = append(s.outer.Faces, face)
		}
	}
}

func (s *Survey) nested() bool {
	for i := range s.Components {
		if s.Components[i].Depth > 0 {
			return true
		}
	}
	return false
}
