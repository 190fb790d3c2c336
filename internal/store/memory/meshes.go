package memory

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

type meshName struct{ owner, name string }

func (n meshName) compare(o meshName) int {
	return cmp.Or(cmp.Compare(n.owner, o.owner), cmp.Compare(n.name, o.name))
}

// mesh is what belongs to a name. What belongs to the file is kept by its sum.
type mesh struct {
	meshName
	sum     string
	reading []byte
	room    int
	at      time.Time
}

// KeepMesh keeps a mesh.
func (tx *transaction) KeepMesh(m store.Mesh, most, room int) (store.Mesh, error) {
	m, err := tx.keepMesh(m, most, room)
	return m, tx.write(err)
}

func (tx *transaction) keepMesh(m store.Mesh, most, room int) (store.Mesh, error) {
	if err := m.Fit(); err != nil {
		return store.Mesh{}, err
	}
	m.FileSum, m.Size = sumOf(m.File), len(m.File)
	kept, found := tx.meshes.get(meshName{m.Owner, m.Name})
	switch {
	case !found:
		return tx.newMesh(m, most, room)
	case kept.sum != m.Sum || tx.head(kept).FileSum != m.FileSum:
		return store.Mesh{}, fmt.Errorf("mesh %s: %w", m.Name, store.ErrTaken)
	}
	return tx.head(kept), nil
}

func (tx *transaction) newMesh(m store.Mesh, most, room int) (store.Mesh, error) {
	count, used := tx.meshRoom(m.Owner)
	if count >= most || used > room-m.Room {
		return store.Mesh{}, fmt.Errorf("mesh %s of %d bytes beside %d of %d: %w", m.Name, m.Room, count, used, store.ErrNoRoom)
	}
	if err := tx.keepFile(m); err != nil {
		return store.Mesh{}, err
	}
	named := mesh{meshName{m.Owner, m.Name}, m.Sum, blob(m.Reading), m.Room, asKept(m.At)}
	tx.meshes.put(named.meshName, named)
	return tx.head(named), nil
}

// keepFile keeps a file unless it is kept.
func (tx *transaction) keepFile(m store.Mesh) error {
	kept, found := tx.files.get(m.Sum)
	if found && kept.FileSum != m.FileSum {
		return fmt.Errorf("%w: the sum of mesh %s names another file", store.ErrUnfit, m.Name)
	}
	if !found {
		m = copyOfMesh(m)
		m.Owner, m.Name, m.Room, m.At = "", "", 0, time.Time{}
		tx.files.put(m.Sum, m)
	}
	return nil
}

func copyOfMesh(m store.Mesh) store.Mesh {
	m.Reading, m.File = blob(m.Reading), blob(m.File)
	return m
}

// DropMesh forgets a name.
func (tx *transaction) DropMesh(owner, name string, eyes store.Eyes) error {
	return tx.write(tx.dropMesh(owner, name, eyes))
}

func (tx *transaction) dropMesh(owner, name string, eyes store.Eyes) error {
	kept, err := tx.named(owner, name, eyes)
	if err != nil {
		return err
	}
	tx.meshes.drop(kept.meshName)
	tx.sweep(kept.sum)
	return nil
}

// sweep forgets a file to which nothing refers any more.
func (tx *transaction) sweep(sum string) {
	named := slices.ContainsFunc(tx.meshes.rows, func(r row[meshName, mesh]) bool { return r.value.sum == sum })
	priced := slices.ContainsFunc(tx.quotes.rows, func(r row[life.Number, quote]) bool { return r.value.refersTo(sum) })
	if !named && !priced {
		tx.files.drop(sum)
	}
}

// refersTo reports whether a revision of the quote was priced with a file.
func (q *quote) refersTo(sum string) bool {
	return slices.ContainsFunc(q.contents, func(c store.Content) bool {
		return slices.ContainsFunc(c.Meshes, func(m store.MeshRef) bool { return m.Sum == sum })
	})
}

// named returns what belongs to a name that the eyes may see.
func (s *state) named(owner, name string, eyes store.Eyes) (mesh, error) {
	kept, found := s.meshes.get(meshName{owner, name})
	if !found || !eyes.Sees(owner) {
		return mesh{}, fmt.Errorf("mesh %s: %w", name, store.ErrNotFound)
	}
	return kept, nil
}

// head puts a name and its file together, but for the bytes of the file.
func (s *state) head(named mesh) store.Mesh {
	m, _ := s.files.get(named.sum) // as long as a name refers to it, it is kept
	m.Owner, m.Name, m.Room, m.At = named.owner, named.name, named.room, named.at
	m.Reading, m.File = blob(named.reading), nil
	return m
}

// MeshHead returns a mesh without its file.
func (s *state) MeshHead(owner, name string, eyes store.Eyes) (store.Mesh, error) {
	named, err := s.named(owner, name, eyes)
	if err != nil {
		return store.Mesh{}, err
	}
	return s.head(named), nil
}

// Meshes lists meshes without their files.
func (s *state) Meshes(owner, after string, limit int, eyes store.Eyes) ([]store.Mesh, error) {
	if !eyes.Sees(owner) || !store.Readable(owner, after) {
		return nil, nil
	}
	var meshes []store.Mesh
	for _, named := range pick(s.meshes.beyond(meshName{owner, after}), limit, func(m mesh) bool { return m.owner == owner }) {
		meshes = append(meshes, s.head(named))
	}
	return meshes, nil
}

// MeshOf returns a file by its sum.
func (s *state) MeshOf(sum string) (store.Mesh, error) {
	m, found := s.files.get(sum)
	if !found {
		return store.Mesh{}, unmeshed(sum)
	}
	return copyOfMesh(m), nil
}

func unmeshed(sum string) error { return fmt.Errorf("a mesh of sum %s: %w", sum, store.ErrNotFound) }

// meshRoom says how many meshes an owner has, and how much room they take.
func (s *state) meshRoom(owner string) (count, room int) {
	for _, r := range s.meshes.rows {
		if r.key.owner == owner {
			count++
			room += r.value.room
		}
	}
	return count, room
}
