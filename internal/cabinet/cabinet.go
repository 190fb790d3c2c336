// Package cabinet keeps meshes: files in the store, under names of their owners, and the
// models that were studied from them in memory, as many as there is room for. A model that
// is not at hand is read from the store and studied again, and measures the same.
package cabinet

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/mouldwright/mouldwright/internal/meshfile"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Most bounds how many meshes one owner keeps.
const Most = 1000

// Room is what meshes may take, each counted as shelf.Item's Room is.
type Room struct {
	Owner  int64 // bytes of all that one owner keeps
	Memory int64 // bytes of the models at hand
}

// Cabinet keeps meshes. It may be used by several callers at once. An owner is a partner, or
// the studio, which is the empty name.
type Cabinet struct {
	store  store.Store
	now    func() time.Time
	room   int // bytes of one owner
	models *models
}

// New returns a cabinet of what a store keeps.
func New(s store.Store, now func() time.Time, room Room) (*Cabinet, error) {
	m, err := newModels(room.Memory)
	return &Cabinet{store: s, now: now, room: int(room.Owner), models: m}, err
}

// UnusableError says that a file cannot be read, or its mesh not be measured.
type UnusableError struct{ Err error }

// Error says why.
func (e *UnusableError) Error() string { return e.Err.Error() }

// Unwrap is the reader's own error, a *meshfile.Fault where the file cannot be read.
func (e *UnusableError) Unwrap() error { return e.Err }

// Keep keeps a mesh for an owner and returns what is kept under its name by then, studied:
// the mesh, or the like one that was there before. A name that stands for another file, or
// for the same file read otherwise, is store.ErrTaken; an owner without room, store.ErrNoRoom.
// A file of which nothing can be made is an *UnusableError, and not kept.
func (c *Cabinet) Keep(ctx context.Context, owner string, item *shelf.Item) (*shelf.Item, error) {
	head, err := c.head(ctx, owner, item.Name, store.Studio())
	fresh := errors.Is(err, store.ErrNotFound)
	switch {
	case err != nil && !fresh:
		return nil, err
	case !fresh && head.Sum != item.Sum:
		return nil, fmt.Errorf("mesh %s: %w", item.Name, store.ErrTaken)
	}
	model, err := c.taken(ctx, owner, item, !fresh)
	if err == nil && fresh {
		head, err = c.write(ctx, owner, item, model)
	}
	if err != nil {
		return nil, err
	}
	return labelled(head, model)
}

// write keeps a mesh that was studied, unless a like one came under the name meanwhile.
func (c *Cabinet) write(ctx context.Context, owner string, item, model *shelf.Item) (head store.Mesh, err error) {
	words, err := writeLabel(item.Reading, model.Reading.Unit)
	if err != nil {
		return store.Mesh{}, err
	}
	kept := store.Mesh{
		Owner: owner, Name: item.Name, Sum: item.Sum, Format: string(model.Format), Reading: words,
		Room: int(model.Room()), File: item.File, At: c.now(),
	}
	err = c.store.Update(ctx, func(tx store.Tx) (err error) {
		head, err = tx.KeepMesh(kept, Most, c.room)
		return err
	})
	return head, err
}

func (c *Cabinet) head(ctx context.Context, owner, name string, eyes store.Eyes) (head store.Mesh, err error) {
	err = c.store.View(ctx, func(r store.Reader) (err error) {
		head, err = r.MeshHead(owner, name, eyes)
		return err
	})
	return head, err
}

// Find returns a mesh of an owner's, studied, without its file. One that there is not, or
// that those eyes may not see, is store.ErrNotFound.
func (c *Cabinet) Find(ctx context.Context, owner, name string, eyes store.Eyes) (*shelf.Item, error) {
	head, err := c.head(ctx, owner, name, eyes)
	if err != nil {
		return nil, err
	}
	model, err := c.of(ctx, head.Sum)
	if err != nil {
		return nil, err
	}
	return labelled(head, model)
}

// of returns what a file of such a Sum is, from memory or from the store.
func (c *Cabinet) of(ctx context.Context, sum string) (*shelf.Item, error) {
	item, err := c.models.study(ctx, sum, func() (*shelf.Item, error) { return c.read(ctx, sum) })
	var bad *UnusableError
	if errors.As(err, &bad) {
		return nil, fmt.Errorf("the mesh of sum %s could be used when it was kept, and cannot now: %w", sum, bad.Err)
	}
	return item, err
}

// read reads a file from the store, to be studied as it was when it was kept.
func (c *Cabinet) read(ctx context.Context, sum string) (*shelf.Item, error) {
	var kept store.Mesh
	err := c.store.View(ctx, func(r store.Reader) (err error) {
		kept, err = r.MeshOf(sum)
		return err
	})
	if err != nil {
		return nil, err
	}
	reading, _, err := readLabel(kept.Reading)
	return &shelf.Item{Reading: reading, FileSum: kept.FileSum, Sum: sum, File: kept.File, Size: int64(kept.Size)}, err
}

// List returns up to n meshes of an owner with names after one, in the order of their names,
// without files and models, and whether there are more. Eyes that may not see them see none.
func (c *Cabinet) List(ctx context.Context, owner, after string, n int, eyes store.Eyes) (items []*shelf.Item, more bool, err error) {
	var heads []store.Mesh
	err = c.store.View(ctx, func(r store.Reader) (err error) {
		heads, err = r.Meshes(owner, after, n+1, eyes)
		return err
	})
	if err != nil {
		return nil, false, err
	}
	for _, head := range heads[:min(n, len(heads))] {
		item, err := labelled(head, &shelf.Item{})
		if err != nil {
			return nil, false, err
		}
		items = append(items, item)
	}
	return items, len(heads) > n, nil
}

// Drop forgets a name. One that there is not, or that those eyes may not see, is
// store.ErrNotFound. Revisions of quotes that were priced with the mesh keep its file.
func (c *Cabinet) Drop(ctx context.Context, owner, name string, eyes store.Eyes) error {
	return c.store.Update(ctx, func(tx store.Tx) error { return tx.DropMesh(owner, name, eyes) })
}

// labelled is a mesh as its owner knows it: with the name and the words that are kept, and
// the model that is at hand.
func labelled(head store.Mesh, model *shelf.Item) (*shelf.Item, error) {
	reading, err := shown(head)
	if err != nil {
		return nil, err
	}
	return &shelf.Item{
		Name: head.Name, Reading: reading, FileSum: head.FileSum, Sum: head.Sum, Size: int64(head.Size),
		Format: meshfile.Format(head.Format), Model: model.Model,
	}, nil
}
