package cabinet

import (
	"context"
	"errors"
	"slices"
	"sync"

	"github.com/hashicorp/golang-lru/v2/simplelru"

	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
)

// mostModels bounds how many models are at hand, however small.
const mostModels = 10_000

// models are what was studied, by Sum: those that were asked for last, as many as there is
// room for. A file is studied for one purpose by one caller at a time; others wait for what
// comes of it, and try for themselves where nothing does.
type models struct {
	room int64 // bytes

	mu       sync.Mutex
	used     int64 // bytes
	studied  *simplelru.LRU[string, *shelf.Item]
	studying map[purpose]*study
}

// purpose is what a file is studied for: to be looked up, by whoever keeps it, or to be taken
// in from one owner, to whom it is new.
type purpose struct {
	sum   string
	taken bool
	from  string // the owner that it is taken in from
}

// study is a study that is going on.
type study struct {
	done chan struct{} // closed at its end; what follows is read after that
	item *shelf.Item
	err  error
}

// errUnfinished is what is found of a study that never came to an end.
var errUnfinished = errors.New("the study of a mesh broke off")

func newModels(room int64) (*models, error) {
	m := &models{room: room, studying: map[purpose]*study{}}
	var err error
	m.studied, err = simplelru.NewLRU(mostModels, func(_ string, gone *shelf.Item) { m.used -= gone.Room() })
	return m, err
}

// taken returns what was studied of a mesh that an owner brings. What is at hand serves only
// an owner that keeps the same content already, be it under another name.
func (c *Cabinet) taken(ctx context.Context, owner string, item *shelf.Item, keeps bool) (*shelf.Item, error) {
	if !keeps {
		var err error
		keeps, err = c.keeps(ctx, owner, item.Sum)
		if err != nil {
			return nil, err
		}
	}
	open := func() (*shelf.Item, error) { return item, nil }
	if !keeps {
		return c.models.take(ctx, owner, item.Sum, open)
	}
	return c.models.study(ctx, item.Sum, open)
}

// keeps reports whether an owner keeps content of a Sum, under any name.
func (c *Cabinet) keeps(ctx context.Context, owner, sum string) (found bool, err error) {
	err = c.store.View(ctx, func(r store.Reader) error {
		heads, err := r.Meshes(owner, "", Most, store.Studio())
		found = slices.ContainsFunc(heads, func(m store.Mesh) bool { return m.Sum == sum })
		return err
	})
	return found, err
}

// atHand returns what was studied of a Sum; nil where it is not at hand.
func (m *models) atHand(sum string) *shelf.Item {
	m.mu.Lock()
	defer m.mu.Unlock()
	item, _ := m.studied.Get(sum)
	return item
}

// study returns what was studied of a Sum, or studies what is opened: that is done by the
// caller who came first, in that caller's time.
func (m *models) study(ctx context.Context, sum string, open func() (*shelf.Item, error)) (*shelf.Item, error) {
	return m.once(ctx, purpose{sum: sum}, open)
}

// take studies a file that is new to an owner, whatever is at hand of it or being studied.
// Another owner may have the same file, and how soon the answer came would tell so. What
// comes of it goes in the place of what is at hand, which remembers what it was measured for.
func (m *models) take(ctx context.Context, owner, sum string, open func() (*shelf.Item, error)) (*shelf.Item, error) {
	return m.once(ctx, purpose{sum, true, owner}, open)
}

func (m *models) once(ctx context.Context, of purpose, open func() (*shelf.Item, error)) (*shelf.Item, error) {
	for {
		if err := ctx.Err(); err != nil {
			return nil, err // a study cannot be broken off, so none is begun too late
		}
		item, s, mine := m.begin(of)
		switch {
		case item != nil:
			return item, nil
		case mine:
			return m.lead(of, s, open)
		}
		select {
		case <-s.done:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
		var unusable *UnusableError
		if s.err == nil || errors.As(s.err, &unusable) {
			return s.item, s.err
		}
		// Who studied could not open it, or had no more time: those who waited may have better luck.
	}
}

// begin returns the item that is at hand, or a study: one's own, or another's that goes on.
func (m *models) begin(of purpose) (item *shelf.Item, s *study, mine bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !of.taken {
		if item, ok := m.studied.Get(of.sum); ok {
			return item, nil, false
		}
	}
	if s, ok := m.studying[of]; ok {
		return nil, s, false
	}
	s = &study{done: make(chan struct{}), err: errUnfinished}
	m.studying[of] = s
	return nil, s, true
}

func (m *models) lead(of purpose, s *study, open func() (*shelf.Item, error)) (*shelf.Item, error) {
	defer m.end(of, s)
	item, err := open()
	if err == nil {
		item, err = plain(item)
	}
	s.item, s.err = item, err
	return item, err
}

// plain is a studied item without its file and without anyone's words, for all who have the
// like. The item itself stays as it is.
func plain(i *shelf.Item) (*shelf.Item, error) {
	own := *i
	if own.Model == nil {
		if err := own.Study(); err != nil {
			return nil, &UnusableError{err}
		}
	}
	own.Name, own.File, own.Reading = "", nil, shelf.Reading{Unit: own.Reading.Unit, Up: own.Reading.Up}
	return &own, nil
}

// end lets go of those who wait, and keeps what was studied at hand if there is room for it,
// in the place of what was at hand before.
func (m *models) end(of purpose, s *study) {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.studying, of)
	close(s.done)
	if s.item == nil || s.item.Room() > m.room {
		return
	}
	m.studied.Remove(of.sum)
	for m.used+s.item.Room() > m.room {
		m.studied.RemoveOldest()
	}
	m.used += s.item.Room()
	m.studied.Add(of.sum, s.item)
}
