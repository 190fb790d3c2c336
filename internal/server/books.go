package server

import (
	"fmt"
	"slices"
	"strings"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/fault"
)

const (
	bookPrefix = "rateBooks/"
	// currentBook is the name that always stands for the book in force.
	currentBook = bookPrefix + "current"
)

// Books are the rate books that the service knows. The zero value knows none.
type Books struct {
	current *desk.Book
	all     map[string]*desk.Book // by resource name
}

// NewBooks returns books, of which the first is the one in force. A later book
// of the same revision takes the place of an earlier one.
func NewBooks(current *desk.Book, others ...*desk.Book) *Books {
	b := &Books{current: current, all: map[string]*desk.Book{}}
	for _, o := range append(slices.Clone(others), current) {
		b.all[bookPrefix+o.Edition.Revision] = o
	}
	return b
}

// Refer lets the briefs that the books price refer to meshes. It is done before any
// is priced.
func (b *Books) Refer(meshes brief.Meshes) {
	for _, book := range b.all {
		book.Meshes = meshes
	}
}

// Find returns the book of a resource name; the one in force for no name and
// for rateBooks/current. Its error says which names there are.
func (b *Books) Find(name string) (*desk.Book, error) {
	if name == "" || name == currentBook {
		name = currentBook
		if b.current != nil {
			return b.current, nil
		}
	}
	if found, ok := b.all[name]; ok {
		return found, nil
	}
	return nil, &missingBookError{name: name, known: b.names()}
}

func (b *Books) names() []string {
	names := []string{currentBook}
	for name := range b.all {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// missingBookError says that there is no such rate book.
type missingBookError struct {
	name  string
	known []string
}

func (e *missingBookError) Error() string {
	return fmt.Sprintf("got %q, which is no rate book here; %s", e.name, fault.Allowed(e.name, e.known))
}

// isUnder reports whether a path is that of field or leads below it.
func isUnder(path, field string) bool {
	rest, ok := strings.CutPrefix(path, field)
	return ok && (rest == "" || rest[0] == '.' || rest[0] == '[')
}
