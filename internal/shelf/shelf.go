// Package shelf keeps the meshes that callers uploaded, under names that briefs
// refer to: the file as it came, what it is, and the model that was studied from
// it. It holds them in memory.
package shelf

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"github.com/mouldwright/mouldwright/internal/maquette"
)

// Prefix begins the resource name of every mesh.
const Prefix = "meshes/"

// Shelf keeps models. It may be used by several callers at once.
type Shelf struct {
	room int64 // bytes of all files, each counted as Item.room does

	mu    sync.Mutex
	used  int64
	items map[string]*Item // by name
}

// Most bounds how many meshes one shelf keeps.
const Most = 1000

// New returns an empty shelf with room for files of so many bytes together.
func New(room int64) *Shelf {
	return &Shelf{room: room, items: map[string]*Item{}}
}

// Errors of keeping a mesh.
var (
	ErrTaken = errors.New("another mesh is kept under this name")
	ErrFull  = errors.New("there is no room for another mesh; delete one first")
)

// Keep puts an item on the shelf and returns what is kept under its name: the
// item, or the like one that was there before. A name that stands for another file,
// or for the same file read otherwise, is ErrTaken; a shelf without room is ErrFull.
func (s *Shelf) Keep(item *Item) (*Item, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if kept, err := s.kept(item); kept != nil || err != nil {
		return kept, err
	}
	if len(s.items) >= Most || s.used+item.room() > s.room {
		return nil, ErrFull
	}
	s.used += item.room()
	s.items[item.Name] = item
	return item, nil
}

// Kept returns the item that is kept already where it is like this one, nil where
// nothing is kept under its name, and ErrTaken where that is something else.
func (s *Shelf) Kept(item *Item) (*Item, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.kept(item)
}

func (s *Shelf) kept(item *Item) (*Item, error) {
	kept, ok := s.items[item.Name]
	if ok && kept.Sum != item.Sum {
		return nil, fmt.Errorf("%w: %s", ErrTaken, item.Name)
	}
	return kept, nil
}

// Find returns what is kept under a name, or nil.
func (s *Shelf) Find(name string) *Item {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.items[name]
}

// Model returns the model kept under a name and the sum of its file, or why there is
// none.
func (s *Shelf) Model(name string) (model *maquette.Maquette, sum string, err error) {
	if item := s.Find(name); item != nil {
		return item.Model, item.Sum, nil
	}
	return nil, "", errNotKept
}

var errNotKept = errors.New("which is no mesh here; allowed: the name of one that was uploaded")

// List returns up to n items with names after one, in the order of their names, and
// whether there are more.
func (s *Shelf) List(after string, n int) (items []*Item, more bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for name, item := range s.items {
		if name > after {
			items = append(items, item)
		}
	}
	slices.SortFunc(items, func(a, b *Item) int { return cmp.Compare(a.Name, b.Name) })
	if len(items) > n {
		return items[:n], true
	}
	return items, false
}

// Delete takes a mesh off the shelf and reports whether it was there.
func (s *Shelf) Delete(name string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	item, ok := s.items[name]
	if ok {
		s.used -= item.room()
		delete(s.items, name)
	}
	return ok
}

// IsName reports whether a string is a mesh's resource name as the contract has them:
// the prefix, and 1 to 80 lower-case letters, digits and hyphens.
func IsName(s string) bool {
	const longest = 80
	id, ok := strings.CutPrefix(s, Prefix)
	odd := func(c rune) bool { return (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' }
	return ok && id != "" && len(id) <= longest && !strings.ContainsFunc(id, odd)
}
