package cabinet

import (
	"context"
	"errors"

	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/maquette"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Errors of finding a mesh of a brief.
var (
	// ErrNone says that the owner keeps no mesh under the name. It goes on a sentence, as
	// brief.Meshes has it.
	ErrNone = errors.New("which is no mesh here; allowed: the name of one that was uploaded")
	// ErrNotAtHand says that a mesh would have to be studied first.
	ErrNotAtHand = errors.New("which is not studied yet")
)

// Meshes finds an owner's meshes for one brief, and studies those that are not at hand. A
// name stands for one mesh as long as the brief is worked on, and the mesh is held as long.
// What those eyes may not see is ErrNone; any other error is not the brief's. It serves one
// caller.
func (c *Cabinet) Meshes(ctx context.Context, owner string, eyes store.Eyes) brief.Meshes {
	return c.meshes(ctx, owner, eyes, c.Models(ctx))
}

// AtHand is the same for a brief that is only looked at: a mesh that would have to be studied
// is ErrNotAtHand.
func (c *Cabinet) AtHand(ctx context.Context, owner string, eyes store.Eyes) brief.Meshes {
	return c.meshes(ctx, owner, eyes, func(sum string) (*maquette.Maquette, error) {
		if item := c.models.atHand(sum); item != nil {
			return item.Model, nil
		}
		return nil, ErrNotAtHand
	})
}

// found is what a name led to.
type found struct {
	model *maquette.Maquette
	sum   string
	err   error
}

func (c *Cabinet) meshes(ctx context.Context, owner string, eyes store.Eyes, of func(sum string) (*maquette.Maquette, error)) brief.Meshes {
	known := map[string]found{}
	return func(name string) (*maquette.Maquette, string, error) {
		f, ok := known[name]
		if !ok {
			f = c.named(ctx, owner, name, eyes, of)
			known[name] = f
		}
		return f.model, f.sum, f.err
	}
}

func (c *Cabinet) named(ctx context.Context, owner, name string, eyes store.Eyes, of func(sum string) (*maquette.Maquette, error)) found {
	head, err := c.head(ctx, owner, name, eyes)
	var model *maquette.Maquette
	if err == nil {
		model, err = of(head.Sum)
	}
	switch {
	case errors.Is(err, store.ErrNotFound): // or dropped meanwhile
		return found{err: ErrNone}
	case err != nil:
		return found{err: err}
	}
	return found{model: model, sum: head.Sum}
}

// Models finds models by their Sum, whatever names stand for by now: those that a revision
// was priced with. Each is held as long as this is used. It serves one caller.
func (c *Cabinet) Models(ctx context.Context) func(sum string) (*maquette.Maquette, error) {
	known := map[string]*shelf.Item{}
	return func(sum string) (*maquette.Maquette, error) {
		item, ok := known[sum]
		if !ok {
			var err error
			if item, err = c.of(ctx, sum); err != nil {
				return nil, err
			}
			known[sum] = item
		}
		return item.Model, nil
	}
}
