package cabinet

import (
	"context"
	"errors"
	"sync"

	"github.com/hashicorp/golang-lru/v2/simplelru"

	"github.com/mouldwright/mouldwright/internal/shelf"
)

// mostModels bounds how many models are at hand, however small.
const mostModels = 10_000

// models are what was studied, by Sum: those that were asked for last, as many as there is
// room for. A file is studied by one caller at a time; others wait for what comes of it, and
// try for themselves where nothing does.
type models struct {
	room int64 // bytes

	mu       sync.Mutex
	used     int64 // bytes
	studied  *simplelru.LRU[string, *shelf.Item]
	studying map[string]*study
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
	m := &models{room: room, studying: map[string]*study{}}
	var err error
	m.studied, err = simplelru.NewLRU(mostModels, func(_ string, gone *shelf.Item) { m.used -= gone.Room() })
	return m, err
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
	for {
		if err := ctx.Err(); err != nil {
			return nil, err // a study cannot be broken off, so none is begun too late
		}
		item, s, mine := m.begin(sum)
		switch {
		case item != nil:
			return item, nil
		case mine:
			return m.lead(sum, s, open)
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
func (m *models) begin(sum string) (item *shelf.Item, s *study, mine bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if item, ok := m.studied.Get(sum); ok {
		return item, nil, false
	}
	if s, ok := m.studying[sum]; ok {
		return nil, s, false
	}
	s = &study{done: make(chan struct{}), err: errUnfinished}
	m.studying[sum] = s
	return nil, s, true
}

func (m *models) lead(sum string, s *study, open func() (*shelf.Item, error)) (*shelf.Item, error) {
	defer m.end(sum, s)
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

// end lets go of those who wait, and keeps what was studied at hand if there is room for it.
func (m *models) end(sum string, s *study) {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.studying, sum)
	close(s.done)
	if s.item == nil || s.item.Room() > m.room {
		return
	}
	for m.used+s.item.Room() > m.room {
		m.studied.RemoveOldest()
	}
	m.used += s.item.Room()
	m.studied.Add(sum, s.item)
}
