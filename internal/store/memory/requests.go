package memory

import (
	"cmp"
	"fmt"
	"time"

	"github.com/mouldwright/mouldwright/internal/store"
)

type requestName struct{ caller, id string }

func (n requestName) compare(o requestName) int {
	return cmp.Or(cmp.Compare(n.caller, o.caller), cmp.Compare(n.id, o.id))
}

func nameOf(r store.Request) requestName { return requestName{r.Caller, r.ID} }

// request is a request with its last claim.
type request struct {
	claim store.Claim
	since time.Time // when it was claimed last
}

// Begin claims a request, or returns the answer that was kept.
func (tx *transaction) Begin(r store.Request, at time.Time, patience time.Duration) (store.Claim, error) {
	claim, err := tx.claim(r, at, patience)
	return claim, tx.write(err)
}

func (tx *transaction) claim(r store.Request, at time.Time, patience time.Duration) (store.Claim, error) {
	if err := r.Fit(); err != nil {
		return store.Claim{}, err
	}
	kept, found := tx.requests.get(nameOf(r))
	switch {
	case !found:
		kept.claim.Request = r
	case kept.claim.Request.Body != r.Body:
		return store.Claim{}, fmt.Errorf("request %s: %w", r.ID, store.ErrOtherBody)
	case kept.claim.Done:
		kept.claim.Answer = blob(kept.claim.Answer)
		return kept.claim, nil
	case at.Sub(kept.since) < patience:
		return store.Claim{}, inFlight(r)
	}
	kept.claim.Attempt++
	kept.since = store.Moment(at)
	tx.requests.put(nameOf(r), kept)
	return kept.claim, nil
}

func inFlight(r store.Request) error { return fmt.Errorf("request %s: %w", r.ID, store.ErrInFlight) }

// Answered returns the answer of a request that came before.
func (s *state) Answered(r store.Request) (store.Claim, error) {
	kept, found := s.requests.get(nameOf(r))
	switch {
	case !found:
		return store.Claim{}, fmt.Errorf("request %s: %w", r.ID, store.ErrNotFound)
	case kept.claim.Request.Body != r.Body:
		return store.Claim{}, fmt.Errorf("request %s: %w", r.ID, store.ErrOtherBody)
	case !kept.claim.Done:
		return store.Claim{}, inFlight(r)
	}
	kept.claim.Answer = blob(kept.claim.Answer)
	return kept.claim, nil
}

// Finish keeps the answer of a claim.
func (tx *transaction) Finish(claim store.Claim, answer []byte) error {
	return tx.write(tx.finish(claim, answer))
}

func (tx *transaction) finish(claim store.Claim, answer []byte) error {
	kept, found := tx.requests.get(nameOf(claim.Request))
	if !found || kept.claim.Done || kept.claim.Attempt != claim.Attempt {
		return inFlight(claim.Request)
	}
	kept.claim.Done, kept.claim.Answer = true, blob(answer)
	tx.requests.put(nameOf(claim.Request), kept)
	return nil
}

// ForgetRequests forgets requests that were claimed last before a time.
func (tx *transaction) ForgetRequests(before time.Time) (int, error) {
	before = store.Moment(before)
	return tx.requests.dropAll(func(r request) bool { return r.since.Before(before) }), nil
}
