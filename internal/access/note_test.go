package access_test

import (
	"context"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/store"
)

// call authenticates a key that should open.
func call(t *testing.T, g *access.Gate, key access.Key) {
	t.Helper()
	if _, err := g.Authenticate(t.Context(), key.Reveal()); err != nil {
		t.Errorf("%s: %v", key, err)
	}
}

// ended runs a gate's Run that has nothing to wait for.
func ended(g *access.Gate) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	g.Run(ctx)
}

func TestLastUseIsNotedOnceAMinute(t *testing.T) {
	c, studio, partner := furnished(t)
	g := c.gate()
	for range 7 { // at 0, 20, ... 120 s
		call(t, g, studio)
		call(t, g, studio)
		c.pass(20 * time.Second)
	}
	call(t, g, partner)
	_, _ = g.Authenticate(t.Context(), keyNo(t, 3).Reveal()) // opens nothing, so it is not used
	_, _ = g.Authenticate(t.Context(), "")
	ended(g)
	s, p := studio.ID(), partner.ID()
	if want := []string{s + " 09:30:00", s + " 09:31:00", s + " 09:32:00", p + " 09:32:20"}; !slices.Equal(c.noted, want) {
		t.Errorf("noted %q, want %q", c.noted, want)
	}
}

// A key that is revoked, expired or wrong was not used.
func TestRefusedKeysAreNotNoted(t *testing.T) {
	c, studio, partner := furnished(t)
	c.change(studio.ID(), func(k *store.Key) { k.Revoked = morning })
	c.change(partner.ID(), func(k *store.Key) { k.Expires = morning })
	g := c.gate()
	for _, key := range []access.Key{studio, partner} {
		_, _ = g.Authenticate(t.Context(), key.Reveal())
	}
	ended(g)
	if len(c.noted) != 0 {
		t.Errorf("noted %q", c.noted)
	}
}

func TestRunNotesAsItGoesAndOnceMoreAtTheEnd(t *testing.T) {
	c, studio, partner := furnished(t)
	synctest.Test(t, func(t *testing.T) {
		g := c.gate()
		ctx, cancel := context.WithCancel(t.Context())
		done := false
		go func() { g.Run(ctx); done = true }()
		call(t, g, studio)
		synctest.Wait()
		if len(c.noted) != 1 || done {
			t.Errorf("noted %q while it runs", c.noted)
		}
		call(t, g, partner)
		cancel()
		synctest.Wait()
		if len(c.noted) != 2 || !done {
			t.Errorf("noted %q when it has ended", c.noted)
		}
	})
}

// The end does not break off a note that was begun.
func TestANoteThatWasBegunIsFinished(t *testing.T) {
	c, studio, _ := furnished(t)
	synctest.Test(t, func(t *testing.T) {
		g := c.gate()
		release := make(chan struct{})
		g.Note = func(ctx context.Context, id string, at time.Time) error {
			<-release
			return c.note(ctx, id, at)
		}
		ctx, cancel := context.WithCancel(t.Context())
		go g.Run(ctx)
		call(t, g, studio)
		synctest.Wait()
		cancel()
		synctest.Wait()
		close(release)
		synctest.Wait()
		if len(c.noted) != 1 {
			t.Errorf("noted %q", c.noted)
		}
	})
}

// A failed note is dropped: the call does not hear of it, and a minute on it is tried again.
func TestANoteThatFails(t *testing.T) {
	c, studio, _ := furnished(t)
	g := c.gate()
	note := g.Note
	tries := 0
	g.Note = func(ctx context.Context, id string, at time.Time) error {
		if tries++; tries == 1 {
			return store.ErrUnavailable
		}
		return note(ctx, id, at)
	}
	for range 2 {
		call(t, g, studio)
		ended(g)
		c.pass(time.Minute)
	}
	if want := []string{studio.ID() + " 09:31:00"}; tries != 2 || !slices.Equal(c.noted, want) {
		t.Errorf("noted %q after %d tries", c.noted, tries)
	}
}

// A note that hangs holds up no call, and the end only for some seconds (of synctest's clock, which waits for nobody).
func TestNotesAreInNobodysWay(t *testing.T) {
	c, studio, partner := furnished(t)
	synctest.Test(t, func(t *testing.T) {
		g := c.gate()
		g.Note = func(ctx context.Context, _ string, _ time.Time) error {
			if ctx.Err() != nil {
				t.Error("a note is begun that has no time left")
			}
			<-ctx.Done()
			return ctx.Err()
		}
		ctx, cancel := context.WithCancel(t.Context())
		ran := make(chan time.Time)
		go func() { g.Run(ctx); ran <- time.Now() }()
		begun := time.Now()
		call(t, g, studio)
		synctest.Wait()
		for n := range 2 * access.NoteQueue {
			key := keyNo(t, 100+n)
			c.keys[key.ID()] = store.Key{Digest: key.Digest()}
			call(t, g, key)
		}
		call(t, g, partner)
		if waited := time.Since(begun); waited != 0 {
			t.Errorf("calls waited %s", waited)
		}
		cancel()
		if took := (<-ran).Sub(begun); took > 10*time.Second {
			t.Errorf("the end took %s", took)
		}
	})
}

// What finds the queue full is noted at the next use, once there is room.
func TestAFullQueue(t *testing.T) {
	c, _, partner := furnished(t)
	g := c.gate()
	for n := range access.NoteQueue {
		key := keyNo(t, 100+n)
		c.keys[key.ID()] = store.Key{Digest: key.Digest()}
		call(t, g, key)
	}
	call(t, g, partner)
	ended(g)
	late := partner.ID() + " 09:30:00"
	if len(c.noted) != access.NoteQueue || slices.Contains(c.noted, late) {
		t.Errorf("%d notes", len(c.noted))
	}
	call(t, g, partner)
	ended(g)
	if len(c.noted) != access.NoteQueue+1 || !slices.Contains(c.noted, late) {
		t.Errorf("%d notes", len(c.noted))
	}
}

func TestNobodyWantsNotes(t *testing.T) {
	c, studio, _ := furnished(t)
	g := c.gate()
	g.Note = nil
	call(t, g, studio)
	ended(g)
}
