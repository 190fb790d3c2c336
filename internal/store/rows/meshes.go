package rows

import (
	"errors"
	"fmt"

	"github.com/mouldwright/mouldwright/internal/store"
)

// KeepMesh keeps a mesh.
func (tx *Tx) KeepMesh(m store.Mesh, most, room int) (store.Mesh, error) {
	m, err := tx.keepMesh(m, most, room)
	return m, tx.write(err)
}

func (tx *Tx) keepMesh(m store.Mesh, most, room int) (store.Mesh, error) {
	if err := m.Fit(); err != nil {
		return store.Mesh{}, err
	}
	m.FileSum, m.Size, m.Reading, m.At = sumOf(m.File), len(m.File), blob(m.Reading), asKept(m.At)
	tx.inLine(m.Owner)
	kept, err := tx.MeshHead(m.Owner, m.Name, store.Studio())
	switch {
	case errors.Is(err, store.ErrNotFound):
		return tx.newMesh(m, most, room)
	case err != nil:
		return store.Mesh{}, err
	case kept.Sum != m.Sum || kept.FileSum != m.FileSum:
		return store.Mesh{}, fmt.Errorf("mesh %s: %w", m.Name, store.ErrTaken)
	}
	return kept, nil
}

// inLine has those wait for each other who keep meshes of one owner, so that each sees how
// much room the one before left.
func (tx *Tx) inLine(owner string) {
	tx.exec(statement(`INSERT INTO mesh_owners (owner) VALUES ($1) ON CONFLICT (owner) DO UPDATE SET owner = excluded.owner`, owner))
}

func (tx *Tx) newMesh(m store.Mesh, most, room int) (store.Mesh, error) {
	count, used, err := tx.meshRoom(m.Owner)
	if err == nil && (count >= most || used > room-m.Room) {
		err = fmt.Errorf("mesh %s of %d bytes beside %d of %d: %w", m.Name, m.Room, count, used, store.ErrNoRoom)
	}
	if err == nil {
		err = tx.keepFile(m)
	}
	if err != nil {
		return store.Mesh{}, err
	}
	tx.exec(statement(`INSERT INTO meshes (owner, name, sum, reading, room, at) VALUES ($1, $2, $3, $4, $5, $6)`,
		m.Owner, m.Name, m.Sum, m.Reading, m.Room, micros(m.At)))
	m.File = nil
	return m, nil
}

// goneTries bounds how often a file may be dropped by others between being found and being held.
const goneTries = 10

// keepFile keeps a file unless it is kept, and holds that it stays.
func (tx *Tx) keepFile(m store.Mesh) error {
	for range goneTries {
		var fileSum string
		found, err := tx.one(`SELECT file_sum FROM mesh_files WHERE sum = $1`+tx.locks.Refer, []any{m.Sum}, []any{&fileSum})
		switch {
		case err != nil:
			return err
		case found && fileSum != m.FileSum:
			return fmt.Errorf("%w: the sum of mesh %s names another file", store.ErrUnfit, m.Name)
		case found:
			return nil
		}
		added, err := tx.try(`INSERT INTO mesh_files (sum, file_sum, format, reading, size, file) VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING`,
			m.Sum, m.FileSum, m.Format, blob(m.Reading), m.Size, blob(m.File))
		if added || err != nil {
			return err
		}
	}
	return fmt.Errorf("%w: the file of mesh %s comes and goes", store.ErrUnavailable, m.Name)
}

// DropMesh forgets a name.
func (tx *Tx) DropMesh(owner, name string, eyes store.Eyes) error {
	return tx.write(tx.dropMesh(owner, name, eyes))
}

func (tx *Tx) dropMesh(owner, name string, eyes store.Eyes) error {
	if !eyes.Sees(owner) || !store.Readable(owner, name) {
		return noMesh(name)
	}
	var sum string
	found, err := tx.one(`DELETE FROM meshes WHERE owner = $1 AND name = $2 RETURNING sum`, []any{owner, name}, []any{&sum})
	if err == nil && !found {
		err = noMesh(name)
	}
	if err != nil {
		return err
	}
	return tx.sweep(sum)
}

func noMesh(name string) error { return fmt.Errorf("mesh %s: %w", name, store.ErrNotFound) }

// sweep forgets files to which nothing refers any more. A file is locked before it is asked
// who refers to it, in a statement of its own: one that waited for the lock would not see
// what was committed while it waited.
func (tx *Tx) sweep(sums ...string) error {
	for _, sum := range sums {
		var one int
		found, err := tx.one(`SELECT 1 FROM mesh_files WHERE sum = $1`+tx.locks.Change, []any{sum}, []any{&one})
		if err == nil && found {
			_, err = tx.try(`DELETE FROM mesh_files WHERE sum = $1
				AND NOT EXISTS (SELECT 1 FROM meshes WHERE meshes.sum = mesh_files.sum)
				AND NOT EXISTS (SELECT 1 FROM revision_meshes WHERE revision_meshes.sum = mesh_files.sum)`, sum)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// MeshHead returns a mesh without its file.
func (tx *Tx) MeshHead(owner, name string, eyes store.Eyes) (store.Mesh, error) {
	if !eyes.Sees(owner) || !store.Readable(owner, name) {
		return store.Mesh{}, noMesh(name)
	}
	found, err := tx.meshes("meshes.name = $2", owner, name)
	if err == nil && len(found) == 0 {
		err = noMesh(name)
	}
	if err != nil {
		return store.Mesh{}, err
	}
	return found[0], nil
}

// Meshes lists meshes without their files.
func (tx *Tx) Meshes(owner, after string, limit int, eyes store.Eyes) ([]store.Mesh, error) {
	if !eyes.Sees(owner) || limit < 1 || !store.Readable(owner, after) {
		return nil, nil
	}
	return tx.meshes(fmt.Sprintf("meshes.name > $2 ORDER BY meshes.name LIMIT %d", limit), owner, after)
}

// meshes reads those of an owner for which a condition on their names holds.
func (tx *Tx) meshes(condition, owner, name string) ([]store.Mesh, error) {
	var meshes []store.Mesh
	err := tx.each(func(scan func(...any) error) error {
		m := store.Mesh{Owner: owner}
		var at int64
		err := scan(&m.Name, &m.Sum, &m.Reading, &m.Room, &at, &m.FileSum, &m.Format, &m.Size)
		m.At = fromMicros(at)
		meshes = append(meshes, m)
		return err
	}, `SELECT meshes.name, meshes.sum, meshes.reading, meshes.room, meshes.at, mesh_files.file_sum, mesh_files.format, mesh_files.size
		FROM meshes JOIN mesh_files ON mesh_files.sum = meshes.sum WHERE meshes.owner = $1 AND `+condition, owner, name)
	return meshes, err
}

// MeshOf returns a file by its sum.
func (tx *Tx) MeshOf(sum string) (store.Mesh, error) {
	m, found, err := store.Mesh{Sum: sum}, false, error(nil)
	if store.Readable(sum) {
		found, err = tx.one(`SELECT file_sum, format, reading, size, file FROM mesh_files WHERE sum = $1`, []any{sum},
			[]any{&m.FileSum, &m.Format, &m.Reading, &m.Size, &m.File})
	}
	switch {
	case err != nil:
		return store.Mesh{}, err
	case !found:
		return store.Mesh{}, unmeshed(sum)
	case sumOf(m.File) != m.FileSum:
		return store.Mesh{}, fmt.Errorf("%w: the file of the mesh of sum %s is not as its own sum says", store.ErrDamaged, sum)
	}
	return m, nil
}

func unmeshed(sum string) error { return fmt.Errorf("a mesh of sum %s: %w", sum, store.ErrNotFound) }

// meshRoom says how many meshes an owner has, and how much room they take.
func (tx *Tx) meshRoom(owner string) (count, room int, err error) {
	_, err = tx.one(`SELECT COUNT(*), CAST(COALESCE(SUM(room), 0) AS BIGINT) FROM meshes WHERE owner = $1`, []any{owner}, []any{&count, &room})
	return count, room, err
}
