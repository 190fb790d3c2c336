//go:build linux

package endurance

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"testing"
	"time"
)

// The program is killed at chance moments while eight callers write, again and again on the
// same store. What was acknowledged is there each time, and what was not answered, sent again,
// is kept once.
func TestKilledWhileItWrites(t *testing.T) {
	onEachStore(t, func(t *testing.T, fresh func(testing.TB) place) {
		random := chance(t)
		kept := fresh(t)
		writers := newWriters(another(random), 8, begun)
		count := &tally{}
		kills := many(t, "MOULDWRIGHT_KILLS", 8, 2)
		for n := range kills {
			p := start(t, kept)
			survived(t, p, writers, random)
			through := doors(t, p)
			if random.IntN(2) == 0 {
				slices.Reverse(through) // what was not answered by one door is sent again by the other
			}
			if err := killed(t, p, writers, through, count, moment(n, random, count)); err != nil {
				t.Fatalf("before kill %d: %v", n+1, err)
			}
		}
		p := start(t, kept)
		survived(t, p, writers, random)
		finish(t, writers, doors(t, p))
		complete(t, p, writers, random)
		p.stop(t)
		again := start(t, kept)
		complete(t, again, writers, random)
		again.stop(t)
		t.Logf("%d kills: %v, of which %d had been kept", kills, count, unheardOf(writers))
	})
}

// unheardOf counts what was kept before a kill without an answer.
func unheardOf(writers []*writer) (count int) {
	for _, w := range writers {
		for _, s := range w.tales {
			count += s.kept
		}
	}
	return count
}

// moment is when a kill comes: after a time by chance, and every other one after some writes
// and a moment, so that slow machines see as many.
func moment(n int, random *rand.Rand, count *tally) func(ctx context.Context) {
	after, enough := between(random, 50*time.Millisecond, 700*time.Millisecond), int64(0)
	if n%2 == 1 {
		after, enough = between(random, 0, 3*time.Millisecond), count.acknowledged.Load()+random.Int64N(60)+1
	}
	return func(ctx context.Context) {
		for count.acknowledged.Load() < enough && wait(ctx, time.Millisecond) == nil {
			continue
		}
		_ = wait(ctx, after) // what ends it early is told of elsewhere
	}
}

// killed has callers write, kills the program when the moment comes, and waits for the callers.
func killed(t testing.TB, p *process, writers []*writer, through []door, count *tally, come func(ctx context.Context)) error {
	t.Helper()
	var dying atomic.Bool
	m := steady()
	m.count = count
	m.unheard = func(err error) error {
		if dying.Load() {
			return errLeft
		}
		return fmt.Errorf("no answer, and the program was not killed yet: %w", err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	done := make(chan error, 1)
	go func() {
		defer cancel() // before its time, where something is wrong
		done <- write(t.Context(), writers, through, m, func(*writer) bool { return true })
	}()
	come(ctx)
	dying.Store(true)
	p.kill(t)
	return <-done
}

// The program is killed at chance moments while it brings a new store to its form, and starts
// there all the same the next time.
func TestKilledWhileItStarts(t *testing.T) {
	onEachStore(t, func(t *testing.T, fresh func(testing.TB) place) {
		random := chance(t)
		began := time.Now()
		start(t, fresh(t)).stop(t)
		took := time.Since(began) // with the stop, which takes little
		for range (many(t, "MOULDWRIGHT_KILLS", 8, 2) + 1) / 2 {
			startedAfterKills(t, fresh(t), took, random)
		}
	})
}

func startedAfterKills(t *testing.T, kept place, took time.Duration, random *rand.Rand) {
	t.Helper()
	for range 2 {
		p := begin(t, kept, "--without-keys")
		time.Sleep(between(random, 0, took))
		p.kill(t)
	}
	p := start(t, kept)
	writers := []*writer{{tales: []*tale{ordered("W0-1", nil)}}}
	finish(t, writers, doors(t, p))
	complete(t, p, writers, random)
	p.stop(t)
}
