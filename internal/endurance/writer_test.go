//go:build linux

package endurance

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
)

// writer keeps a journal of the quotes that it writes, one after the other.
type writer struct {
	id     int
	random *rand.Rand
	course func(key string, random *rand.Rand) *tale // begins one
	tales  []*tale                                   // the last may not have ended
	seen   int                                       // how many of the tales were looked at since they ended
}

func newWriters(random *rand.Rand, n int, course func(string, *rand.Rand) *tale) []*writer {
	writers := make([]*writer, n)
	for i := range writers {
		writers[i] = &writer{id: i, random: another(random), course: course}
	}
	return writers
}

// current is the tale that has not ended, or another one.
func (w *writer) current() *tale {
	if n := len(w.tales); n > 0 && !w.tales[n-1].ended() {
		return w.tales[n-1]
	}
	w.tales = append(w.tales, w.course(fmt.Sprintf("W%d-%d", w.id, len(w.tales)+1), w.random))
	return w.tales[len(w.tales)-1]
}

// busy reports whether a tale of the writer has not ended.
func (w *writer) busy() bool { return len(w.tales) > 0 && !w.tales[len(w.tales)-1].ended() }

// manner is how writers take what goes wrong: with nil the ask is sent again, with errLeft the
// writer leaves it open and stops, and any other error fails the test.
type manner struct {
	away    func(*refusal) error // the store could not be reached or written
	unheard func(error) error    // no answer came
	count   *tally
}

// tally counts what writers heard.
type tally struct{ acknowledged, unavailable, unheard, busy atomic.Int64 }

// String is for the test's log.
func (n *tally) String() string {
	return fmt.Sprintf("%d writes acknowledged, %d refused for the store's sake, %d unanswered, %d told to come again",
		n.acknowledged.Load(), n.unavailable.Load(), n.unheard.Load(), n.busy.Load())
}

// errLeft says that a writer leaves its ask open.
var errLeft = errors.New("left open")

// steady is the manner for a program that nothing should befall.
func steady() manner {
	return manner{away: func(r *refusal) error { return r }, unheard: func(err error) error { return err }, count: &tally{}}
}

// pause is how long a writer waits before it sends an ask again.
const pause = 20 * time.Millisecond

// send sends what a tale has open until it is acknowledged.
func (m manner) send(ctx context.Context, d door, s *tale) error {
	for {
		c, reply := s.next().call()
		refused, unanswered := tried(d.call(ctx, c))
		switch {
		case refused != nil:
			if err := m.refusal(s, refused); err != nil {
				return err
			}
		case unanswered != nil:
			m.count.unheard.Add(1)
			if err := m.unheard(unanswered); err != nil {
				return err
			}
		default:
			m.count.acknowledged.Add(1)
			return s.heard(reply.GetQuote())
		}
		if err := wait(ctx, pause); err != nil {
			return fmt.Errorf("%s: %s was not acknowledged in time", s.key, s.open.rpc)
		}
	}
}

// refusal makes an error of a refusal, or nil where the ask is to be sent again.
func (m manner) refusal(s *tale, r *refusal) error {
	wrong := fmt.Errorf("%s: %s was refused: %w", s.key, s.open.rpc, r)
	switch r.reason {
	case "TOO_BUSY", "REQUEST_IN_FLIGHT", "DEADLINE_EXCEEDED": // a slow machine, or an ask that is still worked on
		m.count.busy.Add(1)
		return nil
	case "STORE_UNAVAILABLE":
		if r.code != codes.Unavailable || r.status != 0 && r.status != 503 || !r.retry {
			return wrong
		}
		m.count.unavailable.Add(1)
		return m.away(r)
	default:
		return wrong
	}
}

func wait(ctx context.Context, long time.Duration) error {
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(long):
		return nil
	}
}

// write has writers go on with their tales for as long as goOn says, side by side.
func write(ctx context.Context, writers []*writer, through []door, m manner, goOn func(*writer) bool) error {
	failed := make([]error, len(writers))
	var running sync.WaitGroup
	for i, w := range writers {
		running.Go(func() {
			for goOn(w) && failed[i] == nil {
				failed[i] = m.send(ctx, through[i%len(through)], w.current())
			}
		})
	}
	running.Wait()
	for i, err := range failed {
		if errors.Is(err, errLeft) {
			failed[i] = nil
		}
	}
	return errors.Join(failed...)
}

// finish has writers end the tales that they are in, over a program that is not killed.
func finish(t testing.TB, writers []*writer, through []door) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	if err := write(ctx, writers, through, steady(), (*writer).busy); err != nil {
		t.Fatal(err)
	}
}
