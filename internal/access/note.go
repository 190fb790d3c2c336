package access

import (
	"context"
	"sync"
	"time"

	"github.com/hashicorp/golang-lru/v2/simplelru"
)

const (
	noteEvery = time.Minute     // a key's uses are noted at most so often
	noteQueue = 256             // notes that wait to be kept
	notePause = 2 * time.Second // what one note may take, and all that are left at the end
)

// notes are the last uses of keys that wait to be kept.
type notes struct {
	queue chan note
	mu    sync.Mutex
	last  *simplelru.LRU[string, time.Time] // when a key was last noted, held by mu
}

// note is that a key was used at a time.
type note struct {
	id string
	at time.Time
}

func (n *notes) open() {
	n.queue = make(chan note, noteQueue)
	n.last, _ = simplelru.NewLRU[string, time.Time](keptKeys, nil) // fails for sizes below one only
}

// used notes that a key was used, unless it was noted within the last minute. It never waits:
// where the queue is full, the next use is noted.
func (g *Gate) used(id string, now time.Time) {
	if g.Note == nil {
		return
	}
	n := &g.notes
	n.mu.Lock()
	defer n.mu.Unlock()
	if last, ok := n.last.Get(id); ok && now.Sub(last).Abs() < noteEvery {
		return
	}
	select {
	case n.queue <- note{id, now}:
		n.last.Add(id, now)
	default:
	}
}

// Run keeps notes of last uses until the context ends, and then those that are left, which
// takes some seconds at most. One Run serves a gate.
func (g *Gate) Run(ctx context.Context) {
	g.once.Do(g.open)
	for {
		select {
		case n := <-g.notes.queue:
			g.keep(ctx, n)
		case <-ctx.Done():
			g.flush(ctx)
			return
		}
	}
}

// keep lets a note that was begun be finished although the context ends.
func (g *Gate) keep(ctx context.Context, n note) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), notePause)
	defer cancel()
	_ = g.Note(ctx, n.id, n.at)
}

// flush keeps what waits, all of it within the time of one note.
func (g *Gate) flush(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), notePause)
	defer cancel()
	for ctx.Err() == nil {
		select {
		case n := <-g.notes.queue:
			_ = g.Note(ctx, n.id, n.at)
		default:
			return
		}
	}
}
