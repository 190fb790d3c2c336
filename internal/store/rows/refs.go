package rows

import (
	"fmt"
	"slices"
	"strings"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// meshed holds that the files of meshes are kept, and stay until they are referred to. They
// are held in one order, so that no two wait for each other.
func (tx *Tx) meshed(meshes []store.MeshRef) error {
	var missing, marks []string
	var args []any
	for _, m := range meshes {
		if !slices.Contains(missing, m.Sum) {
			missing, args = append(missing, m.Sum), append(args, m.Sum)
			marks = append(marks, fmt.Sprintf("$%d", len(args)))
		}
	}
	if len(missing) == 0 {
		return nil
	}
	err := tx.each(func(scan func(...any) error) error {
		var sum string
		err := scan(&sum)
		missing = slices.DeleteFunc(missing, func(s string) bool { return s == sum })
		return err
	}, fmt.Sprintf(`SELECT sum FROM mesh_files WHERE sum IN (%s) ORDER BY sum%s`, strings.Join(marks, ", "), tx.locks.Refer), args...)
	if err == nil && len(missing) > 0 {
		err = unmeshed(missing[0])
	}
	return err
}

// refer notes which meshes a revision was priced with.
func refer(n life.Number, r life.Revision, meshes []store.MeshRef) []Statement {
	var done []Statement
	for _, m := range meshes {
		done = append(done, statement(`INSERT INTO revision_meshes (year, serial, revision, name, sum) VALUES ($1, $2, $3, $4, $5)`,
			n.Year, n.Serial, r.Number, m.Name, m.Sum))
	}
	return done
}

// refs reads which meshes a revision was priced with.
func refs(n life.Number, revision int, meshes *[]store.MeshRef) Query {
	return Query{
		Statement: statement(`SELECT name, sum FROM revision_meshes WHERE year = $1 AND serial = $2 AND revision = $3 ORDER BY name`, n.Year, n.Serial, revision),
		Row: func(scan func(...any) error) error {
			var m store.MeshRef
			err := scan(&m.Name, &m.Sum)
			*meshes = append(*meshes, m)
			return err
		},
	}
}

// let forgets which meshes a draft was priced with, and returns their sums, each once and in
// one order.
func (tx *Tx) let(n life.Number, draft life.Revision) ([]string, error) {
	var sums []string
	err := tx.each(func(scan func(...any) error) error {
		var sum string
		err := scan(&sum)
		sums = append(sums, sum)
		return err
	}, `DELETE FROM revision_meshes WHERE year = $1 AND serial = $2 AND revision = $3 RETURNING sum`, n.Year, n.Serial, draft.Number)
	slices.Sort(sums)
	return slices.Compact(sums), err
}
