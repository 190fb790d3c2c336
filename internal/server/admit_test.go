package server

import (
	"context"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// crowd is a quote service whose calls say when they are in hand and wait to be let go.
type crowd struct {
	inHand chan struct{}
	let    chan struct{}
}

func newCrowd() *crowd {
	return &crowd{inHand: make(chan struct{}, 100), let: make(chan struct{}, 100)}
}

func (c *crowd) stub() *quotesStub {
	return &quotesStub{preview: func(context.Context) error {
		c.inHand <- struct{}{}
		<-c.let
		return nil
	}}
}

// ask starts a call by a door and gives what it comes to.
func ask(ctx context.Context, t *testing.T, s *running, door string) <-chan codes.Code {
	t.Helper()
	came := make(chan codes.Code, 1)
	r := decoded(t, onePiece("", high, ""), &mouldwrightv1.PreviewQuoteRequest{})
	go func() {
		if door == "grpc" {
			_, err := mouldwrightv1.NewQuoteServiceClient(s.conn).PreviewQuote(ctx, r)
			came <- status.Code(err)
			return
		}
		came <- askREST(ctx, s)
	}()
	return came
}

func askREST(ctx context.Context, s *running) codes.Code {
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+s.address+preview, strings.NewReader(onePiece("", high, "")))
	if err != nil {
		return codes.Internal
	}
	request.Header.Set("Content-Type", "application/json")
	reply, err := s.web.Do(request)
	if err != nil {
		return codes.Canceled
	}
	_ = reply.Body.Close()
	return map[int]codes.Code{200: codes.OK, 429: codes.ResourceExhausted, 504: codes.DeadlineExceeded}[reply.StatusCode]
}

// A full house sends callers away by either door, with a word on when to come again, and takes them once there is room.
func TestAFullHouseSendsCallersAway(t *testing.T) {
	c := newCrowd()
	s := start(t, Config{Places: 2, Patience: 20 * time.Millisecond, Timeout: time.Minute}, c.stub())
	byREST, byGRPC := ask(t.Context(), t, s, "rest"), ask(t.Context(), t, s, "grpc")
	<-c.inHand
	<-c.inHand
	for door, got := range both(t, s) {
		assert.Equal(t, codes.ResourceExhausted, got.Code(), door)
		assert.Equal(t, reasonTooBusy, got.info.GetReason(), door)
		assert.Equal(t, time.Second, got.retry, door)
	}
	refused := s.post(t, preview, onePiece("", high, ""))
	assert.Equal(t, http.StatusTooManyRequests, refused.status)
	assert.Equal(t, "1", refused.header.Get("Retry-After"))

	c.let <- struct{}{}
	c.let <- struct{}{}
	assert.Equal(t, codes.OK, <-byREST)
	assert.Equal(t, codes.OK, <-byGRPC)
	c.let <- struct{}{}
	assert.Equal(t, codes.OK, <-ask(t.Context(), t, s, "rest"))
	assert.Empty(t, s.log.lines(t, `"ERROR"`))
	assert.Len(t, s.log.lines(t, reasonTooBusy), 3)
}

// A place that comes free goes to a caller who waits, by whichever door.
func TestACallerWaitsForAPlace(t *testing.T) {
	for _, door := range []string{"rest", "grpc"} {
		c := newCrowd()
		s := start(t, Config{Places: 1, Patience: time.Minute, Timeout: time.Minute}, c.stub())
		first := ask(t.Context(), t, s, "grpc")
		<-c.inHand
		second := ask(t.Context(), t, s, door)
		select {
		case <-c.inHand:
			t.Error("two have the one place")
		case <-time.After(30 * time.Millisecond): // long enough to be wrong in, if it is
		}
		c.let <- struct{}{}
		assert.Equal(t, codes.OK, <-first)
		<-c.inHand
		c.let <- struct{}{}
		assert.Equal(t, codes.OK, <-second)
	}
}

// Whoever leaves while waiting, or has no more time, had no place and gives none back.
func TestACallerWhoLeavesFreesNothing(t *testing.T) {
	p := newPlaces(1, time.Minute)
	require.NoError(t, p.take(t.Context()))
	gone, leave := context.WithCancel(t.Context())
	leave()
	assert.ErrorIs(t, p.take(gone), context.Canceled)
	late, cancel := context.WithTimeout(t.Context(), time.Millisecond)
	defer cancel()
	assert.Equal(t, tooBusy(), p.take(late), "the caller's own time is up")
	assert.Len(t, p.taken, 1)

	for _, door := range []string{"rest", "grpc"} {
		c := newCrowd()
		s := start(t, Config{Places: 1, Patience: 100 * time.Millisecond, Timeout: time.Minute}, c.stub())
		first := ask(t.Context(), t, s, "grpc")
		<-c.inHand
		ctx, leave := context.WithTimeout(t.Context(), 10*time.Millisecond)
		<-ask(ctx, t, s, door)
		leave()
		assert.Equal(t, codes.ResourceExhausted, <-ask(t.Context(), t, s, door), "the place is still taken")
		c.let <- struct{}{}
		assert.Equal(t, codes.OK, <-first)
		c.let <- struct{}{}
		assert.Equal(t, codes.OK, <-ask(t.Context(), t, s, door))
	}
}

// A panic gives its place back, and so does a fault.
func TestAPlaceIsGivenBackWhateverHappens(t *testing.T) {
	s := start(t, Config{Places: 1, Patience: 20 * time.Millisecond}, &quotesStub{preview: func(context.Context) error { panic("x") }})
	for range 3 {
		for door, got := range both(t, s) {
			assert.Equal(t, codes.Internal, got.Code(), door)
		}
	}
}

// What reckons nothing needs no place: whether the service lives, and what its rates are, can be asked at any time.
func TestLookingUpNeedsNoPlace(t *testing.T) {
	c := newCrowd()
	s := start(t, Config{Places: 1, Patience: time.Millisecond, Timeout: time.Minute}, c.stub())
	first := ask(t.Context(), t, s, "rest")
	<-c.inHand
	_, err := healthv1.NewHealthClient(s.conn).Check(t.Context(), &healthv1.HealthCheckRequest{})
	assert.NoError(t, err)
	assert.Equal(t, http.StatusOK, s.send(t, "GET", "/v1/rateBooks/current", nil).status)
	assert.Equal(t, http.StatusBadRequest, s.post(t, preview, "{}").status, "what is refused waits for no place")
	for _, r := range rpcs(t) {
		if r.verb == http.MethodPost && reckons(decoded(t, r.body, r.request(t))) {
			assert.Equal(t, http.StatusTooManyRequests, r.byREST(t, s).status, "%s reckons", r.method)
		}
	}
	c.let <- struct{}{}
	assert.Equal(t, codes.OK, <-first)
}
