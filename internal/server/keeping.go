package server

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// keeping writes to the store: each write with the mark of who made it when, and at most
// once for each request that has an id.
type keeping struct {
	store store.Store
	now   func() time.Time
	zone  *time.Location // of the studio, where its days begin and end

	mu     sync.Mutex
	flying map[flight]bool // requests that are being worked on
}

// flight is a request that is being worked on: the studio's ids and each partner's are apart.
type flight struct{ caller, id string }

// repeatable is a request that its caller may send again.
type repeatable interface {
	proto.Message
	GetRequestId() string
}

// today is the day at the studio.
func (k *keeping) today() life.Day { return life.Day(k.now().In(k.zone).Format(time.DateOnly)) }

// mark is who writes, and when.
func (k *keeping) mark(ctx context.Context) life.Mark {
	now := k.now()
	return life.Mark{By: callerOf(ctx).Actor(), At: now, On: life.Day(now.In(k.zone).Format(time.DateOnly))}
}

// patience is after how long a request that was never answered is taken for left. Requests
// and what they write are kept in one transaction, so none is left but by a defect.
const patience = time.Minute

// work prepares what a request writes, and returns how it is written; that fills the answer.
type work func(ctx context.Context) (write func(store.Tx) error, err error)

// once does a request's work. Sent again with the same id, it is answered with the first
// answer, whatever has become of things meanwhile; while it is being worked on it is
// store.ErrInFlight, and with another body store.ErrOtherBody. Answers of another server
// that is still at work are waited for.
func (k *keeping) once(ctx context.Context, r repeatable, reply proto.Message, do work) error {
	request, err := k.request(ctx, r)
	if err != nil {
		return err
	}
	if request.ID == "" {
		write, err := do(ctx)
		if err != nil {
			return err
		}
		return k.store.Update(ctx, write)
	}
	return repeated(k.only(ctx, request, reply, do), request.ID)
}

// repeated tells a caller which of its own ids an error is about: the error's requestId is that
// of the call.
func repeated(err error, id string) error {
	if !errors.Is(err, store.ErrInFlight) && !errors.Is(err, store.ErrOtherBody) {
		return err
	}
	told := keptProblem(err)
	told.metadata = map[string]string{"repeatedRequestId": id}
	return told
}

// only does the work of a request that has an id.
func (k *keeping) only(ctx context.Context, request store.Request, reply proto.Message, do work) error {
	land, err := k.takeOff(flight{request.Caller, request.ID})
	if err != nil {
		return err
	}
	defer land()
	if done, err := k.before(ctx, request, reply); done || err != nil {
		return err
	}
	return k.answer(ctx, request, reply, do)
}

// request names a request by whose it is, its id, and the sum over what it asks. It is the
// studio's or the partner's, whichever of its keys it came with: the next key may send it again.
func (k *keeping) request(ctx context.Context, r repeatable) (store.Request, error) {
	if r.GetRequestId() == "" {
		return store.Request{}, nil
	}
	plain, err := proto.MarshalOptions{Deterministic: true}.Marshal(r)
	if err != nil {
		return store.Request{}, err
	}
	name := string(r.ProtoReflect().Descriptor().FullName())
	sum := sha256.New()
	sum.Write(binary.BigEndian.AppendUint64(nil, uint64(len(name))))
	sum.Write([]byte(name))
	sum.Write(plain)
	caller := callerOf(ctx)
	return store.Request{Caller: caller.Kind.String() + "/" + caller.Owner(), ID: r.GetRequestId(), Body: [sha256.Size]byte(sum.Sum(nil))}, nil
}

// takeOff notes that a request is being worked on, and returns how to note that it is not.
func (k *keeping) takeOff(f flight) (land func(), err error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.flying[f] {
		return nil, store.ErrInFlight
	}
	k.flying[f] = true
	return func() {
		k.mu.Lock()
		defer k.mu.Unlock()
		delete(k.flying, f)
	}, nil
}

// before gives the answer of a request that came before, without claiming it. One that was
// claimed and never answered is left to whoever claims it next.
func (k *keeping) before(ctx context.Context, r store.Request, reply proto.Message) (done bool, err error) {
	var kept store.Claim
	err = k.store.View(ctx, func(tx store.Reader) (err error) {
		kept, err = tx.Answered(r)
		return err
	})
	switch {
	case errors.Is(err, store.ErrNotFound), errors.Is(err, store.ErrInFlight):
		return false, nil
	case err != nil:
		return false, err
	}
	return true, proto.Unmarshal(kept.Answer, reply)
}

// answer does the work and keeps the answer beside it, all or nothing.
func (k *keeping) answer(ctx context.Context, r store.Request, reply proto.Message, do work) error {
	write, err := do(ctx)
	if err != nil {
		return err
	}
	return k.store.Update(ctx, func(tx store.Tx) error {
		claim, err := tx.Begin(r, k.now(), patience)
		if err != nil {
			return err
		}
		if claim.Done { // by another server
			return proto.Unmarshal(claim.Answer, reply)
		}
		if err := write(tx); err != nil {
			return err
		}
		kept, err := proto.Marshal(reply)
		if err != nil {
			return err
		}
		return tx.Finish(claim, kept)
	})
}
