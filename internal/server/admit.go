package server

import (
	"context"
	"errors"
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

// tooBusy asks a caller to come again in a second: what reckons now takes about
// that at most.
func tooBusy() *problem {
	return &problem{
		code: codes.ResourceExhausted, reason: reasonTooBusy, retry: time.Second,
		message: "too many calls are being reckoned at once; try again a little later",
	}
}
