package server

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// quotesStub prices with a function of the test's.
type quotesStub struct {
	mouldwrightv1.UnimplementedQuoteServiceServer
	preview func(context.Context) error
}

func (q *quotesStub) PreviewQuote(ctx context.Context, _ *mouldwrightv1.PreviewQuoteRequest) (*mouldwrightv1.PreviewQuoteResponse, error) {
	return &mouldwrightv1.PreviewQuoteResponse{Quote: &mouldwrightv1.Quote{Title: "done"}}, q.preview(ctx)
}

// both calls PreviewQuote by both doors and gives what came of it.
func both(t testing.TB, s *running) map[string]*refusal {
	t.Helper()
	r := decoded(t, onePiece("", high, ""), &mouldwrightv1.PreviewQuoteRequest{})
	_, err := mouldwrightv1.NewQuoteServiceClient(s.conn).PreviewQuote(t.Context(), r)
	return map[string]*refusal{"grpc": refusalOf(status.Convert(err)), "rest": s.post(t, preview, onePiece("", high, "")).refusal(t)}
}

func TestAPanicTellsCallersNothing(t *testing.T) {
	s := start(t, Config{}, &quotesStub{preview: func(context.Context) error { panic("secret 42") }})
	for door, got := range both(t, s) {
		assert.Equal(t, codes.Internal, got.Code(), door)
		assert.Equal(t, "internal error", got.Message(), door)
		assert.Equal(t, reasonInternal, got.info.GetReason(), door)
		assert.NotContains(t, got.Proto().String(), "secret", door)

		lines := s.log.lines(t, got.info.GetMetadata()["requestId"])
		require.Len(t, lines, 1)
		assert.Equal(t, "ERROR", lines[0]["level"])
		assert.Equal(t, "panic: secret 42", lines[0]["cause"])
		assert.Contains(t, lines[0]["stack"], "serve_test.go")
	}
	assert.Equal(t, http.StatusOK, s.send(t, "GET", "/healthz", nil).status, "the service goes on")
}

func TestAnUnforeseenErrorTellsCallersNothing(t *testing.T) {
	s := start(t, Config{}, &quotesStub{preview: func(context.Context) error { return errors.New("secret 42") }})
	for door, got := range both(t, s) {
		assert.Equal(t, codes.Internal, got.Code(), door)
		assert.NotContains(t, got.Proto().String(), "secret", door)
	}
	assert.Contains(t, s.log.String(), "secret 42")
}

// An answer that cannot be written is an error of the service at either door.
func TestAnAnswerThatIsNotUTF8(t *testing.T) {
	s := start(t, Config{}, &badQuotes{})
	for door, got := range both(t, s) {
		assert.Equal(t, codes.Internal, got.Code(), door)
	}
}

type badQuotes struct {
	mouldwrightv1.UnimplementedQuoteServiceServer
}

func (*badQuotes) PreviewQuote(context.Context, *mouldwrightv1.PreviewQuoteRequest) (*mouldwrightv1.PreviewQuoteResponse, error) {
	return &mouldwrightv1.PreviewQuoteResponse{Quote: &mouldwrightv1.Quote{Title: "\xff"}}, nil
}

func waits(ctx context.Context) error {
	<-ctx.Done()
	return ctx.Err()
}

func TestTheServicesTimeBoundsACall(t *testing.T) {
	s := start(t, Config{Timeout: 50 * time.Millisecond}, &quotesStub{preview: waits})
	began := time.Now()
	for door, got := range both(t, s) {
		assert.Equal(t, codes.DeadlineExceeded, got.Code(), door)
		assert.Equal(t, reasonDeadline, got.info.GetReason(), door)
	}
	assert.Less(t, time.Since(began), 5*time.Second)
}

func TestACallersTimeBoundsACall(t *testing.T) {
	s := start(t, Config{}, &quotesStub{preview: waits})
	began := time.Now()
	got := s.post(t, preview, onePiece("", high, ""), "Grpc-Timeout", "50m")
	assert.Equal(t, http.StatusGatewayTimeout, got.status)

	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	_, err := mouldwrightv1.NewQuoteServiceClient(s.conn).PreviewQuote(ctx, decoded(t, onePiece("", high, ""), &mouldwrightv1.PreviewQuoteRequest{}))
	assert.Equal(t, codes.DeadlineExceeded, status.Code(err))
	assert.Less(t, time.Since(began), 5*time.Second)
}

// A handler that finishes late has no answer any more.
func TestALateAnswerIsNone(t *testing.T) {
	s := start(t, Config{Timeout: 20 * time.Millisecond}, &quotesStub{preview: func(context.Context) error {
		time.Sleep(60 * time.Millisecond)
		return nil
	}})
	for door, got := range both(t, s) {
		assert.Equal(t, codes.DeadlineExceeded, got.Code(), door)
	}
}

// slowly starts a call by each door, and says when both are in hand.
func slowly(t *testing.T, s *running, inHand *sync.WaitGroup) (rest chan int, direct chan error) {
	rest, direct = make(chan int, 1), make(chan error, 1)
	r := decoded(t, onePiece("", high, ""), &mouldwrightv1.PreviewQuoteRequest{})
	go func() {
		reply, err := s.web.Post("http://"+s.address+preview, "application/json", strings.NewReader(onePiece("", high, "")))
		if err != nil {
			rest <- 0
			return
		}
		_, _ = io.Copy(io.Discard, reply.Body)
		_ = reply.Body.Close()
		rest <- reply.StatusCode
	}()
	go func() {
		_, err := mouldwrightv1.NewQuoteServiceClient(s.conn).PreviewQuote(context.Background(), r)
		direct <- err
	}()
	inHand.Wait()
	return rest, direct
}

func TestStoppingLetsCallsInHandFinish(t *testing.T) {
	var inHand sync.WaitGroup
	inHand.Add(2)
	let := make(chan struct{})
	s := start(t, Config{}, &quotesStub{preview: func(context.Context) error { inHand.Done(); <-let; return nil }})
	watch, err := healthv1.NewHealthClient(s.conn).Watch(t.Context(), &healthv1.HealthCheckRequest{})
	require.NoError(t, err)
	first, err := watch.Recv()
	require.NoError(t, err)
	require.Equal(t, healthv1.HealthCheckResponse_SERVING, first.GetStatus())
	rest, direct := slowly(t, s, &inHand)

	stopped := make(chan error, 1)
	go func() { stopped <- s.stop() }()
	next, err := watch.Recv()
	require.NoError(t, err)
	assert.Equal(t, healthv1.HealthCheckResponse_NOT_SERVING, next.GetStatus(), "health comes first")
	require.Eventually(t, func() bool {
		conn, err := net.Dial("tcp", s.address)
		if err == nil {
			_ = conn.Close()
		}
		return err != nil
	}, 5*time.Second, 5*time.Millisecond, "no more calls are taken")
	close(let)
	assert.Equal(t, http.StatusOK, <-rest)
	assert.NoError(t, <-direct)
	// A caller who watches health would hold the server up to its limit.
	require.NoError(t, watch.CloseSend())
	_ = s.conn.Close()
	assert.NoError(t, <-stopped)
	assert.NotContains(t, s.log.String(), "cut off")
}

func TestStoppingHasALimit(t *testing.T) {
	var inHand sync.WaitGroup
	inHand.Add(2)
	let := make(chan struct{})
	defer close(let)
	s := start(t, Config{DrainLimit: 100 * time.Millisecond}, &quotesStub{preview: func(context.Context) error { inHand.Done(); <-let; return nil }})
	rest, direct := slowly(t, s, &inHand)
	began := time.Now()
	require.NoError(t, s.stop())
	assert.Less(t, time.Since(began), 3*time.Second)
	assert.Equal(t, 0, <-rest)
	assert.Equal(t, codes.Unavailable, status.Code(<-direct))
	assert.Contains(t, s.log.String(), "cut off")
}

func TestNothingIsLeftBehind(t *testing.T) {
	settle := func() int {
		runtime.GC()
		time.Sleep(50 * time.Millisecond)
		return runtime.NumGoroutine()
	}
	before := settle()
	for range 3 {
		s := start(t, Config{})
		require.Equal(t, http.StatusOK, s.post(t, preview, request(demoBrief(t))).status)
		require.Empty(t, refusalOf(status.Convert(func() error {
			_, err := healthv1.NewHealthClient(s.conn).Check(t.Context(), &healthv1.HealthCheckRequest{})
			return err
		}())).fields)
		silent, err := net.Dial("tcp", s.address)
		require.NoError(t, err)
		require.NoError(t, s.stop())
		_ = silent.Close()
	}
	after := settle()
	for range 100 { // testify's Eventually would be a goroutine more
		if after <= before {
			return
		}
		after = settle()
	}
	t.Errorf("%d goroutines became %d", before, after)
}

func TestAServerNeedsAStore(t *testing.T) {
	_, err := New(Config{})
	require.ErrorIs(t, err, ErrNoStore)
	s, err := New(Config{Store: demoStore(t, rulesOf(t))})
	require.NoError(t, err)
	assert.Equal(t, 10*time.Second, s.config.Timeout)
	assert.Equal(t, int64(256<<10), s.config.BodyLimit)
}

func TestAFailingListenerEndsServe(t *testing.T) {
	s, err := New(Config{Store: demoStore(t, rulesOf(t))})
	require.NoError(t, err)
	assert.ErrorContains(t, s.Serve(t.Context(), brokenListener{}), "broken")
}

type brokenListener struct{}

func (brokenListener) Accept() (net.Conn, error) { return nil, errors.New("broken") }
func (brokenListener) Close() error              { return nil }
func (brokenListener) Addr() net.Addr            { return &net.TCPAddr{} }

// ports is a split with somebody at both branches, who says which one he is.
func ports(t *testing.T, patience time.Duration, places int) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s := newSplit(l, patience, places)
	ran := make(chan error, 1)
	go func() { ran <- s.run() }()
	for name, b := range map[string]*branch{"grpc": s.grpc, "http": s.http} {
		go func() {
			for {
				conn, err := b.Accept()
				if err != nil {
					return
				}
				go func() {
					defer func() { _ = conn.Close() }()
					line, _ := bufio.NewReader(conn).ReadString('\n')
					_, _ = io.WriteString(conn, name+" "+line)
				}()
			}
		}()
	}
	t.Cleanup(func() {
		require.NoError(t, s.close())
		require.NoError(t, <-ran)
	})
	return l.Addr().String()
}

func dial(t *testing.T, address string) net.Conn {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	require.NoError(t, conn.SetDeadline(time.Now().Add(10*time.Second)))
	return conn
}

func TestSplitSortsByFirstBytes(t *testing.T) {
	address := ports(t, 5*time.Second, 10)
	for said, branch := range map[string]string{
		"PRI * HTTP/2.0\n": "grpc", "GET / HTTP/1.1\n": "http", "POST /\n": "http", "PROPFIND /\n": "http", "PUT\n": "http", "P\n": "http", "\n": "http", "\x16\x03\x01\n": "http",
	} {
		for _, piecemeal := range []bool{false, true} {
			conn := dial(t, address)
			for _, part := range parts(said, piecemeal) {
				_, err := io.WriteString(conn, part)
				require.NoError(t, err)
			}
			answer, err := bufio.NewReader(conn).ReadString('\n')
			require.NoError(t, err)
			assert.Equal(t, branch+" "+said, answer, "no byte is lost")
		}
	}
}

func parts(s string, piecemeal bool) []string {
	if piecemeal {
		return strings.Split(s, "")
	}
	return []string{s}
}

func TestSplitDropsTheSilent(t *testing.T) {
	address := ports(t, 50*time.Millisecond, 10)
	for _, said := range []string{"", "P", "PR"} {
		conn := dial(t, address)
		_, err := io.WriteString(conn, said)
		require.NoError(t, err)
		_, err = conn.Read(make([]byte, 1))
		assert.ErrorIs(t, err, io.EOF, "%q", said)
	}
}

func TestTheSilentDoNotShutOthersOut(t *testing.T) {
	address := ports(t, 100*time.Millisecond, 2)
	for range 10 {
		dial(t, address)
	}
	conn := dial(t, address)
	_, err := io.WriteString(conn, "GET /\n")
	require.NoError(t, err)
	answer, err := bufio.NewReader(conn).ReadString('\n')
	require.NoError(t, err)
	assert.Equal(t, "http GET /\n", answer)
}

func TestMetadataOfHealthToo(t *testing.T) {
	s := start(t, Config{})
	ctx := metadata.AppendToOutgoingContext(t.Context(), "x-request-id", "probe")
	_, err := healthv1.NewHealthClient(s.conn).Check(ctx, &healthv1.HealthCheckRequest{})
	require.NoError(t, err)
	assert.Len(t, s.log.lines(t, `"probe"`), 1)
}
