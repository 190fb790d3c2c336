//go:build linux

package endurance

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"
)

// circle sends each call to the next of several servers, by one door and then the other, and
// where no answer comes on to the next one, with the same request id.
type circle struct {
	through []door
	turn    atomic.Int64
	broken  atomic.Int64
}

// call makes one call.
func (c *circle) call(ctx context.Context, one call) error {
	var failed error
	for range c.through {
		err := c.through[int(c.turn.Add(1))%len(c.through)].call(ctx, one)
		_, unanswered := tried(err)
		if unanswered == nil {
			return err
		}
		c.broken.Add(1)
		failed = unanswered
	}
	return fmt.Errorf("no server answered; the last: %w", failed)
}

// Three servers share one database, sixteen callers go round them, and one of the servers is
// killed midway. What was acknowledged is there once; what the dead server left open was kept
// once, whichever server answered it in the end.
func TestThreeServersOnOneDatabase(t *testing.T) {
	random := chance(t)
	creates := many(t, "MOULDWRIGHT_CREATES", 300, 60)
	servers, ring := three(t, shared(t), "--without-keys")
	writers := newWriters(another(random), 16, ordered)
	m := steady()
	done := make(chan error, 1)
	var left atomic.Int64
	left.Store(int64(creates))
	more := func(w *writer) bool { return w.busy() || left.Add(-1) >= 0 }
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		defer cancel() // of the waits for them
		done <- write(t.Context(), writers, []door{ring}, m, more)
	}()
	dead := random.IntN(len(servers))
	for n := range creates / 20 { // to half of the three acts of each
		if err := goesOn(ctx, m.count, 30); err != nil {
			t.Fatalf("after %d writes: %v, and of the writers: %v", 30*n, err, within(done))
		}
	}
	servers[dead].kill(t)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if ring.broken.Load() == 0 {
		t.Error("no call went to the dead server: nothing was shown")
	}
	for i, p := range servers {
		if i != dead {
			complete(t, p, writers, random)
			p.stop(t)
		}
	}
	t.Logf("server %d of 3 killed midway: %v, %d calls sent on to another server", dead+1, m.count, ring.broken.Load())
}

// three starts three servers at once on one store, and the circle of their doors.
func three(t testing.TB, kept place, more ...string) ([]*process, *circle) {
	t.Helper()
	servers := []*process{begin(t, kept, more...), begin(t, kept, more...), begin(t, kept, more...)}
	ring := &circle{}
	for _, p := range servers {
		p.await(t)
		ring.through = append(ring.through, doors(t, p)...)
	}
	return servers, ring
}
