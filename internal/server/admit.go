package server

import (
	"context"
	"errors"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// places are for calls that reckon: as many reckon at once as there are places,
// so that each gets enough of the processors to be done in its time. Further
// ones wait for a place, and go away without an answer when none comes free.
type places struct {
	taken    chan struct{}
	patience time.Duration
}

func newPlaces(n int, patience time.Duration) *places {
	return &places{taken: make(chan struct{}, n), patience: patience}
}

// admit lets a call that reckons go on once there is a place for it.
func (p *places) admit(ctx context.Context, request any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	if !reckons(request) {
		return next(ctx, request)
	}
	if err := p.take(ctx); err != nil {
		return nil, err
	}
	defer p.free()
	return next(ctx, request)
}

// reckons reports whether an RPC takes more than looking something up.
func reckons(request any) bool {
	switch request.(type) {
	case briefed, *mouldwrightv1.ApplyMarginRequest, *mouldwrightv1.CheckRateBookRequest, *mouldwrightv1.CreateRateBookRequest, *mouldwrightv1.RecomputeQuoteRequest,
		*mouldwrightv1.GetQuoteRequest, *mouldwrightv1.GetQuoteDocumentRequest, *mouldwrightv1.IssueQuoteRequest, *mouldwrightv1.AcceptQuoteRequest, *mouldwrightv1.DeclineQuoteRequest,
		*mouldwrightv1.CreateMeshRequest, *mouldwrightv1.GetMeshRequest, *mouldwrightv1.MeasureMeshRequest, *mouldwrightv1.CompareMeshesRequest, *mouldwrightv1.GetMeshPictureRequest:
		return true
	default:
		return false
	}
}

// free gives a place back.
func (p *places) free() { <-p.taken }

func (p *places) take(ctx context.Context) error {
	select {
	case p.taken <- struct{}{}:
		return nil
	default: // has to wait
	}
	ctx, cancel := context.WithTimeout(ctx, p.patience)
	defer cancel()
	select {
	case p.taken <- struct{}{}:
		return nil
	case <-ctx.Done():
		if errors.Is(ctx.Err(), context.Canceled) {
			return ctx.Err()
		}
		return tooBusy()
	}
}

// halves keep any one owner from holding more than half of some places: the other half is left
// for others, however slow he is.
type halves struct {
	half     int
	patience time.Duration

	mu sync.Mutex
	of map[string]*half // of owners who hold or await a place
}

// half is what one owner may hold.
type half struct {
	*places
	users int // who hold or await one of its places
}

func newHalves(n int, patience time.Duration) *halves {
	return &halves{half: max(1, n/2), patience: patience, of: map[string]*half{}}
}

// take takes one of the places of an owner's half, and returns how it is given back.
func (h *halves) take(ctx context.Context, owner string) (free func(), err error) {
	own := h.join(owner)
	if err := own.take(ctx); err != nil {
		h.leave(owner, own)
		return nil, err
	}
	return func() { own.free(); h.leave(owner, own) }, nil
}

func (h *halves) join(owner string) *half {
	h.mu.Lock()
	defer h.mu.Unlock()
	own := h.of[owner]
	if own == nil {
		own = &half{places: newPlaces(h.half, h.patience)}
		h.of[owner] = own
	}
	own.users++
	return own
}

func (h *halves) leave(owner string, own *half) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if own.users--; own.users == 0 {
		delete(h.of, owner)
	}
}

// tooBusy asks a caller to come again in a second: what reckons now takes about
// that at most.
func tooBusy() *problem {
	return &problem{
		code: codes.ResourceExhausted, reason: reasonTooBusy, retry: time.Second,
		message: "too many calls are being reckoned at once; try again a little later",
	}
}
