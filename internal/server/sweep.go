package server

import (
	"context"
	"errors"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

const (
	sweepEvery = time.Minute
	// remembered is how long the answer of a request that named itself is kept.
	remembered  = 7 * 24 * time.Hour
	sweptAtOnce = 100
)

// sweeping does what nobody asks for: it notes offers whose last valid day is past, and
// forgets answers that nobody will ask for again. Several servers may do so at once.
func (s *Server) sweeping(ctx context.Context) {
	every := time.NewTicker(sweepEvery)
	defer every.Stop()
	for {
		if err := s.keep.sweep(ctx); err != nil && ctx.Err() == nil {
			s.config.Logger.Warn("sweeping", "cause", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
	}
}

func (k *keeping) sweep(ctx context.Context) error {
	lapsed := k.expire(ctx)
	err := k.store.Update(ctx, func(tx store.Tx) error {
		_, err := tx.ForgetRequests(k.now().Add(-remembered))
		return err
	})
	return errors.Join(lapsed, err)
}

// expire notes the offers that have lapsed, each by itself.
func (k *keeping) expire(ctx context.Context) (failed error) {
	var after life.Number
	for {
		var lapsed []store.Head
		err := k.store.View(ctx, func(r store.Reader) (err error) {
			lapsed, err = r.Quotes(store.Filter{LapsedBy: k.today()}, after, sweptAtOnce, store.Studio())
			return err
		})
		if err != nil || len(lapsed) == 0 {
			return errors.Join(failed, err)
		}
		for _, head := range lapsed {
			failed = errors.Join(failed, k.lapse(ctx, head.Number)) // the others lapse all the same
		}
		after = lapsed[len(lapsed)-1].Number
	}
}

// lapse notes that an offer has lapsed. Another server may have done so just before, or
// somebody may have issued a new one.
func (k *keeping) lapse(ctx context.Context, number life.Number) error {
	mark := life.Mark{By: life.Actor{Kind: "service", Name: "calendar"}, At: k.now(), On: k.today()}
	err := k.store.Update(ctx, func(tx store.Tx) error {
		_, err := tx.Change(number, "", store.Studio(), life.Expire(), store.Content{}, mark)
		return err
	})
	var refused life.Refused
	if errors.As(err, &refused) {
		return nil
	}
	return err
}
