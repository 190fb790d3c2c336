package rows

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	"github.com/mouldwright/mouldwright/internal/store"
)

// Begin claims a request, or returns the answer that was kept.
func (tx *Tx) Begin(r store.Request, at time.Time, patience time.Duration) (store.Claim, error) {
	claim, err := tx.claim(r, at, patience)
	return claim, tx.write(err)
}

func (tx *Tx) claim(r store.Request, at time.Time, patience time.Duration) (store.Claim, error) {
	if err := r.Fit(); err != nil {
		return store.Claim{}, err
	}
	fresh, err := tx.try(`INSERT INTO requests (caller, id, body, attempt, claimed_at, answered, answer)
		VALUES ($1, $2, $3, 1, $4, 0, $5) ON CONFLICT DO NOTHING`, r.Caller, r.ID, r.Body[:], at.UnixMicro(), []byte{})
	if err != nil {
		return store.Claim{}, err
	}
	if fresh {
		return store.Claim{Request: r, Attempt: 1}, nil
	}
	return tx.again(r, at, patience)
}

// again looks at a request that came before.
func (tx *Tx) again(r store.Request, at time.Time, patience time.Duration) (store.Claim, error) {
	claim, since, err := tx.claimed(r, tx.locks.Change)
	switch {
	case errors.Is(err, store.ErrNotFound): // it went away between the two statements
		return store.Claim{}, inFlight(r)
	case err != nil || claim.Done:
		return claim, err
	case at.Sub(since) < patience:
		return store.Claim{}, inFlight(r)
	}
	claim.Attempt++
	tx.exec(statement(`UPDATE requests SET attempt = $3, claimed_at = $4 WHERE caller = $1 AND id = $2`, r.Caller, r.ID, claim.Attempt, at.UnixMicro()))
	return claim, nil
}

func inFlight(r store.Request) error { return fmt.Errorf("request %s: %w", r.ID, store.ErrInFlight) }

// claimed reads the last claim of a request, and since when it is claimed.
func (tx *Tx) claimed(r store.Request, locked string) (claim store.Claim, since time.Time, err error) {
	var body, answer []byte
	var us int64
	var answered int
	found, err := tx.one(`SELECT body, attempt, claimed_at, answered, answer FROM requests WHERE caller = $1 AND id = $2`+locked,
		[]any{r.Caller, r.ID}, []any{&body, &claim.Attempt, &us, &answered, &answer})
	switch {
	case err != nil:
	case !found:
		err = fmt.Errorf("request %s: %w", r.ID, store.ErrNotFound)
	case !bytes.Equal(body, r.Body[:]):
		err = fmt.Errorf("request %s: %w", r.ID, store.ErrOtherBody)
	}
	if err != nil {
		return store.Claim{}, time.Time{}, err
	}
	claim.Request, claim.Done = r, answered == 1
	if claim.Done {
		claim.Answer = answer
	}
	return claim, time.UnixMicro(us), nil
}

// Answered returns the answer of a request that came before. Whoever is told it takes it for
// kept, so it is told once it is on the disk.
func (tx *Tx) Answered(r store.Request) (store.Claim, error) {
	if r.Fit() != nil {
		return store.Claim{}, fmt.Errorf("request %s: %w", r.ID, store.ErrNotFound)
	}
	claim, _, err := tx.claimed(r, "")
	if err == nil && !claim.Done {
		err = inFlight(r)
	}
	if err == nil {
		err = tx.q.Settle(tx.ctx)
	}
	if err != nil {
		return store.Claim{}, err
	}
	return claim, nil
}

// Finish keeps the answer of a claim.
func (tx *Tx) Finish(claim store.Claim, answer []byte) error {
	return tx.write(tx.finish(claim, answer))
}

func (tx *Tx) finish(claim store.Claim, answer []byte) error {
	kept, err := tx.try(`UPDATE requests SET answered = 1, answer = $4 WHERE caller = $1 AND id = $2 AND attempt = $3 AND answered = 0`,
		claim.Request.Caller, claim.Request.ID, claim.Attempt, blob(answer))
	if err == nil && !kept {
		err = fmt.Errorf("request %s: %w", claim.Request.ID, store.ErrInFlight)
	}
	return err
}

// ForgetRequests forgets requests that were claimed last before a time.
func (tx *Tx) ForgetRequests(before time.Time) (int, error) {
	count, err := tx.count(`DELETE FROM requests WHERE claimed_at < $1`, before.UnixMicro())
	return count, tx.write(err)
}
