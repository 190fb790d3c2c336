package access_test

import (
	"context"
	"errors"
	"testing"

	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/store"
)

// What was found is believed for its time, unless the gate is told to forget it.
func TestForgettingAsksAgain(t *testing.T) {
	c, studio, partner := furnished(t)
	g := c.gate()
	for _, key := range []access.Key{studio, partner} {
		call(t, g, key)
		c.change(key.ID(), func(k *store.Key) { k.Revoked = morning })
		call(t, g, key)
	}
	g.Forget()
	for _, key := range []access.Key{studio, partner} {
		if _, err := g.Authenticate(t.Context(), key.Reveal()); !errors.Is(err, access.ErrBadKey) || access.Reason(err) != access.Revoked {
			t.Errorf("%s: %v", key, err)
		}
	}
}

// What was asked of the store before may be older than the change: it lets in the call that asked, and no other.
func TestForgettingReachesWhatIsBeingFound(t *testing.T) {
	c, studio, _ := furnished(t)
	g := c.gate()
	find, asked := g.Find, 0
	g.Find = func(ctx context.Context, id string) (store.Key, error) {
		found, err := find(ctx, id)
		if asked++; asked == 1 {
			c.change(id, func(k *store.Key) { k.Revoked = morning })
			g.Forget()
		}
		return found, err
	}
	call(t, g, studio)
	if _, err := g.Authenticate(t.Context(), studio.Reveal()); access.Reason(err) != access.Revoked {
		t.Errorf("%v", err)
	}
}
