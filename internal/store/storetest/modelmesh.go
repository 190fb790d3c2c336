package storetest

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/store"
)

// The room of an owner in the model.
const (
	modelMost = 2
	modelRoom = 25
)

// file is one of three files of this try.
func (m *model) file(t *rapid.T) store.Mesh {
	letter := rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "file")
	mesh := hare("", "", fmt.Sprint(letter, m.year))
	mesh.Room = map[string]int{"a": 5, "b": 10, "c": 20}[letter]
	return mesh
}

// owner is one of two of this try, with eyes that may see what it has.
func (m *model) owner(t *rapid.T) (string, store.Eyes) {
	owners := []string{fmt.Sprint("fair", m.year), fmt.Sprint("Fair", m.year)}
	owner := rapid.SampledFrom(owners).Draw(t, "whose")
	return owner, rapid.SampledFrom([]store.Eyes{store.Studio(), store.EyesOf(owners[0]), store.EyesOf(owners[1]), {}}).Draw(t, "mesh eyes")
}

// referred reports whether a name or a revision refers to a file.
func (m *model) referred(sum string) bool {
	for _, meshes := range m.meshes {
		for _, mesh := range meshes {
			if mesh.Sum == sum {
				return true
			}
		}
	}
	return slices.ContainsFunc(m.quotes, func(q kept) bool {
		return slices.ContainsFunc(q.contents, func(c store.Content) bool {
			return slices.ContainsFunc(c.Meshes, func(r store.MeshRef) bool { return r.Sum == sum })
		})
	})
}

// holds reports whether what content refers to is kept.
func (m *model) holds(c store.Content) bool {
	return !slices.ContainsFunc(c.Meshes, func(r store.MeshRef) bool { return !m.referred(r.Sum) })
}

func (m *model) keepMesh(t *rapid.T) {
	mesh := m.file(t)
	mesh.Owner, _ = m.owner(t)
	mesh.Name = rapid.SampledFrom([]string{"x", "y", "z"}).Draw(t, "name")
	var got store.Mesh
	err := m.s.Update(t.Context(), func(tx store.Tx) (err error) {
		got, err = tx.KeepMesh(mesh, modelMost, modelRoom)
		return err
	})
	mine := m.meshes[mesh.Owner]
	used := 0
	for _, other := range mine {
		used += other.Room
	}
	before, taken := mine[mesh.Name]
	switch {
	case taken && before.Sum != mesh.Sum:
		is(t, "taken", errors.Is(err, store.ErrTaken), true)
		return
	case !taken && (len(mine) == modelMost || used+mesh.Room > modelRoom):
		is(t, "no room", errors.Is(err, store.ErrNoRoom), true)
		return
	}
	is(t, "the error", err, nil)
	is(t, "what is kept", []any{got.Name, got.Sum, got.Room, got.Size, len(got.File)}, []any{mesh.Name, mesh.Sum, mesh.Room, len(mesh.File), 0})
	if mine == nil {
		m.meshes[mesh.Owner] = map[string]store.Mesh{}
	}
	m.meshes[mesh.Owner][mesh.Name] = got
}

func (m *model) dropMesh(t *rapid.T) {
	owner, eyes := m.owner(t)
	name := rapid.SampledFrom([]string{"x", "y", "z"}).Draw(t, "name")
	err := m.s.Update(t.Context(), func(tx store.Tx) error { return tx.DropMesh(owner, name, eyes) })
	if _, there := m.meshes[owner][name]; !there || !eyes.Sees(owner) {
		is(t, "not found", errors.Is(err, store.ErrNotFound), true)
		return
	}
	is(t, "the error", err, nil)
	delete(m.meshes[owner], name)
}

// sameMeshes looks at an owner's meshes and at a file.
func (m *model) sameMeshes(t *rapid.T) {
	owner, eyes := m.owner(t)
	mesh := m.file(t)
	var want []store.Mesh
	for _, name := range slices.Sorted(maps.Keys(m.meshes[owner])) {
		want = append(want, m.meshes[owner][name])
	}
	err := m.s.View(t.Context(), func(r store.Reader) error {
		if !eyes.Sees(owner) {
			want = nil
		}
		list, err := r.Meshes(owner, "", 10, eyes)
		is(t, "the error", err, nil)
		is(t, "the meshes", list, want)
		got, err := r.MeshOf(mesh.Sum)
		if !m.referred(mesh.Sum) {
			is(t, "no file", errors.Is(err, store.ErrNotFound), true)
			return nil
		}
		is(t, "the file", string(got.File), string(mesh.File))
		return err
	})
	is(t, "the error", err, nil)
}
