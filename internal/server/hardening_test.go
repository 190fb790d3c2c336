package server

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/tap"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/store"
)

// hanging is a store that counts its readings, and that may hang.
type hanging struct {
	store.Store
	views atomic.Int64
	hangs atomic.Bool
}

func (h *hanging) View(ctx context.Context, do func(store.Reader) error) error {
	h.views.Add(1)
	if h.hangs.Load() {
		<-ctx.Done()
		return errors.Join(store.ErrUnavailable, ctx.Err())
	}
	return h.Store.View(ctx, do)
}

// madeUp is a key that was never given out.
func madeUp(t testing.TB) string {
	t.Helper()
	key, err := access.NewKey(rand.Reader)
	require.NoError(t, err)
	return key.Reveal()
}

// ofEmpties is a message with a field that holds so many empty messages of a list.
func ofEmpties(outer, list protowire.Number, n int) []byte {
	item := protowire.AppendBytes(protowire.AppendTag(nil, list, protowire.BytesType), nil)
	return protowire.AppendBytes(protowire.AppendTag(nil, outer, protowire.BytesType), bytes.Repeat(item, n))
}

func materials(t testing.TB) protowire.Number {
	t.Helper()
	f := (&mouldwrightv1.RateBook{}).ProtoReflect().Descriptor().Fields().ByName("materials")
	require.True(t, f != nil && f.IsList() && f.Message() != nil)
	return f.Number()
}

// createBook sends a message to an RPC of rate books as it is.
func createBook(ctx context.Context, s *running, rpc string, raw []byte) *refusal {
	err := s.conn.Invoke(ctx, "/mouldwright.v1.RateBookService/"+rpc, raw, &mouldwrightv1.CreateRateBookResponse{}, grpc.ForceCodecV2(rawCodec{}))
	return refusalOf(status.Convert(err))
}

// allocated is how many bytes are allocated by a call.
func allocated(do func()) uint64 {
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	do()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// A MiB of empty materials is not taken in from a caller without a key, and not unpacked from one with a key.
func TestAMessageOfEmptiesTakesLittleMemory(t *testing.T) {
	o := newOffice(t, Config{})
	raw := ofEmpties(1, materials(t), 500_000)
	const most = 16 << 20
	for _, rpc := range []string{"CreateRateBook", "CheckRateBook"} {
		took := allocated(func() {
			refused := createBook(t.Context(), o.running, rpc, raw)
			assert.Equal(t, codes.Unauthenticated, refused.Code(), refused.Message())
			assert.Equal(t, reasonNoKey, refused.info.GetReason())
		})
		assert.Less(t, took, uint64(most), rpc)
		t.Logf("%s without a key: %d KiB", rpc, took>>10)
		ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+o.admin)
		took = allocated(func() {
			refused := createBook(ctx, o.running, rpc, raw)
			if rpc == "CreateRateBook" {
				assert.Equal(t, codes.InvalidArgument, refused.Code(), refused.Message())
				assert.Contains(t, refused.fields[""], "more than 20000 items in lists")
			}
		})
		assert.Less(t, took, uint64(most), rpc)
		t.Logf("%s with one: %d KiB", rpc, took>>10)
	}
	assert.Len(t, o.log.lines(t, reasonNoKey), 2, "each in the log once")
}

// Who is not let in is told that, whatever is wrong with what he sends.
func TestWhoCallsIsLookedAtBeforeTheMessage(t *testing.T) {
	o := newOffice(t, Config{})
	for name, raw := range map[string][]byte{"no message": {0x0a, 0x7f, 0x01}, "too long": make([]byte, 300<<10)} {
		err := o.conn.Invoke(t.Context(), mouldwrightv1.QuoteService_ListQuotes_FullMethodName, raw, &mouldwrightv1.ListQuotesResponse{}, grpc.ForceCodecV2(rawCodec{}))
		assert.Equal(t, reasonNoKey, refusalOf(status.Convert(err)).info.GetReason(), name)
	}
}

// What is counted before a message is read, by the encoding's own rules (Protocol Buffers, "Encoding": packed fields, and fields
// that stand more than once).
func TestWeighing(t *testing.T) {
	book := (&mouldwrightv1.CreateRateBookRequest{}).ProtoReflect().Descriptor()
	assert.Nil(t, weigh(ofEmpties(1, materials(t), heldItems), book))
	assert.Contains(t, weigh(ofEmpties(1, materials(t), heldItems+1), book).Error(), "20000 items")
	again := bytes.Repeat(ofEmpties(1, 1, 0), heldMessages)
	assert.Nil(t, weigh(again, book))
	assert.Contains(t, weigh(append(again, ofEmpties(1, 1, 0)...), book).Error(), "40000 messages")
	assert.Equal(t, unreadable(), weigh(append(ofEmpties(1, materials(t), heldItems), 0x0a, 0x7f), book))
	whole, err := proto.Marshal(&mouldwrightv1.CreateRateBookRequest{RateBook: demoDocument(t)})
	require.NoError(t, err)
	assert.Nil(t, weigh(whole, book))
	var s scale
	require.True(t, s.message(whole, book, 0))
	t.Logf("the demo's rate book: %d bytes, %d items, %d messages besides", len(whole), s.items, s.messages)
	assert.Equal(t, 3, varints([]byte{1, 0x96, 0x01, 0}))
}

func FuzzWeigh(f *testing.F) {
	f.Add(ofEmpties(1, 1, 100))
	f.Add([]byte{0x0a, 0x7f, 0x01})
	d := (&mouldwrightv1.CreateQuoteRequest{}).ProtoReflect().Descriptor()
	f.Fuzz(func(t *testing.T, raw []byte) {
		var s scale
		if s.message(raw, d, 0) || s.full() {
			return
		}
		if proto.Unmarshal(raw, &mouldwrightv1.CreateQuoteRequest{}) == nil {
			t.Fatal("it can be read, and was said not to be")
		}
	})
}

// A page of another site cannot write to a service without keys (W3C, Fetch Metadata Request Headers; RFC 6454). Programs, and pages
// of the service's own, can.
func TestPagesOfOtherSitesWriteNothing(t *testing.T) {
	s := start(t, Config{})
	for name, row := range map[string]struct {
		headers []string
		status  int
	}{
		"another site":         {[]string{"Sec-Fetch-Site", "cross-site", "Origin", "https://evil.example"}, 403},
		"a neighbouring site":  {[]string{"Sec-Fetch-Site", "same-site"}, 403},
		"an old browser":       {[]string{"Origin", "https://evil.example"}, 403},
		"an origin of its own": {[]string{"Origin", "null"}, 403},
		"another port":         {[]string{"Origin", "http://127.0.0.1:1"}, 403},
		"a page of ours":       {[]string{"Sec-Fetch-Site", "same-origin", "Origin", "http://" + s.address}, 200},
		"an old browser's":     {[]string{"Origin", "http://" + s.address}, 200},
		"a program":            {nil, 200},
	} {
		got := s.post(t, preview, onePiece("", high, ""), row.headers...)
		require.Equal(t, row.status, got.status, "%s: %s", name, got.body)
		if row.status != http.StatusOK {
			assert.Equal(t, reasonOrigin, got.refusal(t).info.GetReason(), name)
		}
	}
	o := newOffice(t, Config{})
	got := o.post(t, preview, onePiece("", high, ""), "Authorization", "Bearer "+o.admin, "Origin", "https://evil.example")
	assert.Equal(t, http.StatusOK, got.status, "a key is nothing that a browser sends of its own accord")
}

// A body says what it is: one that does not could come from any page.
func TestBodiesSayTheirType(t *testing.T) {
	s := start(t, Config{})
	for path, names := range map[string][]string{preview: {"application/json"}, "/v1/meshes": {"application/json", "model/stl", "application/octet-stream"}} {
		for _, given := range []string{"", "text/plain"} {
			got := s.send(t, http.MethodPost, path, strings.NewReader(`{}`), "Content-Type", given)
			require.Equal(t, http.StatusUnsupportedMediaType, got.status, "%s", got.body)
			for _, name := range names {
				assert.Contains(t, got.refusal(t).Message(), name)
			}
		}
	}
	request, err := http.NewRequest(http.MethodPost, "http://"+s.address+preview, nil)
	require.NoError(t, err)
	reply, err := s.web.Do(request)
	require.NoError(t, err)
	assert.Equal(t, http.StatusBadRequest, whole(t, reply).status, "no body is none of any type")
}

// headersOnly begins a call and sends no message.
func headersOnly(ctx context.Context, t testing.TB, conn *grpc.ClientConn, rpc string) grpc.ClientStream {
	t.Helper()
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ClientStreams: true, ServerStreams: true}, rpc)
	require.NoError(t, err)
	return stream
}

// A call without a key is answered before it brings a message, and counts.
func TestHeadersAloneAreCounted(t *testing.T) {
	o := newOffice(t, Config{})
	codesOf := map[codes.Code]int{}
	for range 25 {
		stream := headersOnly(soon(t), t, o.conn, mouldwrightv1.RateBookService_CreateRateBook_FullMethodName)
		codesOf[status.Code(stream.RecvMsg(&mouldwrightv1.CreateRateBookResponse{}))]++
	}
	assert.Equal(t, map[codes.Code]int{codes.Unauthenticated: 20, codes.ResourceExhausted: 5}, codesOf)
	assert.Len(t, o.log.lines(t, reasonTooOften), 1, "one line a second by the clock, which stands still")
}

// A caller who may call and says nothing is waited for as long as a call may last, and no longer.
func TestHeadersAloneEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{Timeout: time.Second, Patience: time.Second})
		began := time.Now()
		stream := headersOnly(t.Context(), t, s.conn, mouldwrightv1.RateBookService_CreateRateBook_FullMethodName)
		assert.Equal(t, codes.DeadlineExceeded, status.Code(stream.RecvMsg(&mouldwrightv1.CreateRateBookResponse{})))
		assert.Equal(t, 19*time.Second, time.Since(began), "15 s for a body, and twice a second to be let in and answered, each with its patience")
		synctest.Wait() // grpc has told the caller before the chain
		assert.Len(t, s.log.lines(t, reasonDeadline), 1)
	})
}

// A stream ends after some minutes, however quiet it is.
func TestWatchingEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{})
		began := time.Now()
		stream, err := healthv1.NewHealthClient(s.conn).Watch(t.Context(), &healthv1.HealthCheckRequest{})
		require.NoError(t, err)
		_, err = stream.Recv()
		require.NoError(t, err)
		_, err = stream.Recv()
		assert.Equal(t, codes.DeadlineExceeded, status.Code(err))
		assert.Equal(t, 5*time.Minute, time.Since(began))
	})
}

// Every question on a stream counts as a call does.
func TestQuestionsOnAStreamAreCounted(t *testing.T) {
	o := newOffice(t, Config{})
	stream, err := reflectionv1.NewServerReflectionClient(o.conn).ServerReflectionInfo(soon(t))
	require.NoError(t, err)
	answers := 0
	for {
		_ = stream.Send(&reflectionv1.ServerReflectionRequest{MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{}})
		if _, err = stream.Recv(); err != nil {
			break
		}
		answers++
	}
	assert.Equal(t, codes.ResourceExhausted, status.Code(err))
	assert.Equal(t, 20, answers)
}

func TestHowLongCallsMayLast(t *testing.T) {
	l := newLasting(Config{}.withDefaults())
	assert.Less(t, l.of(mouldwrightv1.QuoteService_ListQuotes_FullMethodName), time.Minute)
	assert.Greater(t, l.of(mouldwrightv1.TakeoffService_UploadMesh_FullMethodName), readingTime(64<<20)+time.Minute)
	assert.Equal(t, l.stream, l.of("/grpc.reflection.v1.ServerReflection/ServerReflectionInfo"))
	synctest.Test(t, func(t *testing.T) {
		ctx, err := l.begin(t.Context(), &tap.Info{FullMethodName: "/no/such"})
		require.NoError(t, err)
		require.NoError(t, overdue(ctx))
		time.Sleep(l.call)
		synctest.Wait()
		assert.Error(t, overdue(ctx))
	})
}

// One address has so many connections, and another once one of them is closed; a known proxy has any number.
func TestConnectionsOfOneAddress(t *testing.T) {
	inner, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	book := &logbook{}
	gate := newTurnstile(inner, Config{Now: march, Logger: loggerTo(book)})
	gate.most = 2
	came := make(chan net.Conn, 10)
	go func() {
		defer close(came)
		for {
			conn, err := gate.Accept()
			if err != nil {
				return
			}
			came <- conn
		}
	}()
	dial(t, inner.Addr().String())
	dial(t, inner.Addr().String())
	first, _ := <-came, <-came
	turned := dial(t, inner.Addr().String())
	require.NoError(t, turned.SetReadDeadline(time.Now().Add(patient)))
	_, err = turned.Read(make([]byte, 1))
	require.Error(t, err)
	var slow net.Error
	assert.False(t, errors.As(err, &slow) && slow.Timeout(), "it is closed")
	assert.Len(t, book.lines(t, "a connection too many"), 1)
	require.NoError(t, first.Close())
	_ = first.Close()
	dial(t, inner.Addr().String())
	<-came
	gate.proxies = proxies{netip.MustParsePrefix("127.0.0.0/8")}
	require.NoError(t, inner.Close())
	for range came {
	}
	assert.Len(t, gate.of, 1)
	assert.Equal(t, 2, gate.of["127.0.0.1"])
}

// Once an address has had its share of calls with made-up keys, the store is not asked about more of them. A key that was good
// before is not held back by that, and is not counted under the address.
func TestMadeUpKeysDoNotReachTheStoreWithoutEnd(t *testing.T) {
	for _, door := range doors() {
		t.Run(door, func(t *testing.T) {
			kept := &hanging{Store: demoStore(t, rulesOf(t))}
			o := &office{kept: kept, clock: &stopped{at: march()}}
			good := o.cut(t, store.Key{Title: "The till", Scopes: access.Read.Names()})
			fresh := o.cut(t, store.Key{Title: "The spare", Scopes: access.Read.Names()})
			s := start(t, Config{Store: kept, Now: o.clock.now})
			for range 30 { // more than an address may at once
				require.Equal(t, codes.OK, opens(t, s, door, good))
			}
			require.Equal(t, codes.OK, opens(t, s, door, fresh))
			before, got := kept.views.Load(), map[codes.Code]int{}
			for range 100 {
				got[opens(t, s, door, madeUp(t))]++
			}
			assert.Equal(t, map[codes.Code]int{codes.Unauthenticated: 20, codes.ResourceExhausted: 80}, got)
			assert.Equal(t, int64(20), kept.views.Load()-before)
			o.clock.pass(600 * time.Millisecond) // the key is asked for anew
			assert.Equal(t, codes.OK, opens(t, s, door, good))
		})
	}
}

// A store that hangs keeps nobody waiting for longer than a call may take, and who comes is counted then too.
func TestAStoreThatHangs(t *testing.T) {
	for _, door := range doors() {
		t.Run(door, func(t *testing.T) {
			kept := &hanging{Store: demoStore(t, rulesOf(t))}
			s := start(t, Config{Store: kept, Now: march, Timeout: 50 * time.Millisecond, AddressRate: Rate{PerMinute: 1, Burst: 3}})
			kept.hangs.Store(true)
			t.Cleanup(func() { kept.hangs.Store(false) })
			var got []codes.Code
			for range 4 {
				got = append(got, opens(t, s, door, madeUp(t)))
			}
			assert.Equal(t, []codes.Code{codes.DeadlineExceeded, codes.DeadlineExceeded, codes.DeadlineExceeded, codes.ResourceExhausted}, got)
			assert.Equal(t, http.StatusServiceUnavailable, s.send(t, "GET", "/readyz", nil).status)
			assert.Equal(t, http.StatusOK, s.send(t, "GET", "/healthz", nil).status)
		})
	}
}

// Whether the store answers is asked once a second, and waited for no longer.
func TestReadinessAsksTheStore(t *testing.T) {
	kept := &hanging{Store: demoStore(t, rulesOf(t))}
	clock := &stopped{at: march()}
	look := &lookout{store: kept, now: clock.now}
	var all sync.WaitGroup
	for range 10 {
		all.Go(func() { assert.True(t, look.sees(t.Context())) })
	}
	all.Wait()
	assert.Equal(t, int64(1), kept.views.Load())
	kept.hangs.Store(true)
	assert.True(t, look.sees(t.Context()))
	clock.pass(time.Second)
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		assert.False(t, look.sees(t.Context()))
		assert.Equal(t, time.Second, time.Since(began))
	})
	assert.False(t, look.sees(t.Context()))
	kept.hangs.Store(false)
	clock.pass(time.Second)
	assert.True(t, look.sees(t.Context()))
}

// A key that is revoked while its file is under way keeps nothing.
func TestAKeyRevokedDuringAnUpload(t *testing.T) {
	for _, door := range doors() {
		t.Run(door, func(t *testing.T) {
			o := newOffice(t, Config{})
			o.takeOn(t, "quillmere", "Quillmere Displays")
			text := o.cut(t, store.Key{Title: "Till", Owner: "quillmere", Scopes: access.Write.Names()})
			begin, end := o.slowUpload(t, door, text)
			begin()
			key, err := access.ParseKey(text)
			require.NoError(t, err)
			got := o.post(t, "/v1/keys/"+key.ID()+":revoke", "{}", "Authorization", "Bearer "+o.admin)
			require.Equal(t, http.StatusOK, got.status, "%s", got.body)
			assert.Equal(t, codes.Unauthenticated, end())
			require.NoError(t, o.kept.View(t.Context(), func(r store.Reader) error {
				kept, err := r.Meshes("quillmere", "", 1, store.Studio())
				assert.Empty(t, kept)
				return err
			}))
		})
	}
}

// slowUpload sends a file in two halves: begin returns once the server waits for the second.
func (o *office) slowUpload(t *testing.T, door, key string) (begin func(), end func() codes.Code) {
	t.Helper()
	if door == "grpc" {
		ctx := metadata.AppendToOutgoingContext(soon(t), "authorization", "Bearer "+key)
		stream := o.upload(ctx, t)
		begin = func() { say(t, stream, head("late"), chunk([]byte(corner[:100]))); o.remembered(t, key) }
		return begin, func() codes.Code {
			say(t, stream, chunk([]byte(corner[100:])))
			require.NoError(t, stream.CloseSend())
			return status.Code(unclosed(stream))
		}
	}
	conn := dial(t, o.address)
	begin = func() {
		_, err := fmt.Fprintf(conn, "POST /v1/meshes?unit=mm&meshId=late HTTP/1.1\r\nHost: x\r\nConnection: close\r\nAuthorization: Bearer %s\r\n"+
			"Content-Type: model/stl\r\nContent-Length: %d\r\n\r\n%s", key, len(corner), corner[:100])
		require.NoError(t, err)
		o.remembered(t, key)
	}
	return begin, func() codes.Code {
		_, err := conn.Write([]byte(corner[100:]))
		require.NoError(t, err)
		return answerTo(t, conn).refusal(t).Code()
	}
}

// remembered waits until the server has let a key in, which it notes with the key.
func (o *office) remembered(t *testing.T, key string) {
	t.Helper()
	require.Eventually(t, func() bool {
		var last time.Time
		err := o.kept.View(t.Context(), func(r store.Reader) error {
			k, err := r.Key(strings.Split(key, "_")[1])
			last = k.Used
			return err
		})
		return err == nil && !last.IsZero()
	}, patient, 5*time.Millisecond)
}

// answerTo reads what the REST door says on a connection.
func answerTo(t *testing.T, conn net.Conn) answerOf {
	t.Helper()
	reply, err := http.ReadResponse(bufio.NewReader(conn), nil)
	require.NoError(t, err)
	return whole(t, reply)
}

// One owner's files, however slow, leave half of the places to others.
func TestOneOwnersFilesTakeHalfOfThePlaces(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		all, each := newPlaces(uploadsAtOnce, time.Second), newHalves(uploadsAtOnce, time.Second)
		c := &chain{guard: &guard{}, uploads: all, halves: each}
		as := func(partner string) context.Context {
			return withCall(t.Context(), &call{caller: access.Caller{Kind: access.Partner, Partner: partner}})
		}
		var free []func()
		for range uploadsAtOnce / 2 {
			f, err := c.takeUpload(as("quillmere"))
			require.NoError(t, err)
			free = append(free, f)
		}
		_, err := c.takeUpload(as("quillmere"))
		var busy *problem
		require.ErrorAs(t, err, &busy)
		assert.Equal(t, reasonTooBusy, busy.reason)
		for range uploadsAtOnce / 2 {
			f, err := c.takeUpload(as("tamsin-row"))
			require.NoError(t, err)
			free = append(free, f)
		}
		_, err = c.takeUpload(as("")) // the studio finds all places taken
		require.ErrorAs(t, err, &busy)
		free[0]()
		f, err := c.takeUpload(as(""))
		require.NoError(t, err)
		for _, f := range append(free[1:], f) {
			f()
		}
		assert.Empty(t, each.of)
		assert.Empty(t, all.taken)
	})
}

// Pages and what there is not are counted by address, generously; what watches over the service is not.
func TestStraysAreCounted(t *testing.T) {
	o := newOffice(t, Config{AddressRate: Rate{PerMinute: 6, Burst: 1}})
	got := map[int]int{}
	for range 20 {
		got[o.send(t, "GET", "/v1/nothing", nil).status]++
	}
	assert.Equal(t, map[int]int{404: 10, 429: 10}, got)
	assert.Equal(t, http.StatusTooManyRequests, o.send(t, "GET", "/openapi.json", nil).status)
	assert.Equal(t, http.StatusTooManyRequests, o.send(t, "DELETE", "/v1/quotes", nil).status)
	assert.Len(t, o.log.lines(t, reasonNoPath), 10)
	assert.Len(t, o.log.lines(t, reasonTooOften), 1)
	for range 50 {
		require.Equal(t, http.StatusOK, o.send(t, "GET", "/healthz", nil).status)
		require.Equal(t, http.StatusOK, o.send(t, "GET", "/readyz", nil).status)
	}
	assert.Equal(t, codes.OK, opens(t, o.running, "rest", o.admin), "calls are counted apart")
}

// The log repeats no more of an RPC's name than of a path.
func TestNamesOfUnknownRPCsAreClipped(t *testing.T) {
	s := start(t, Config{})
	err := s.conn.Invoke(t.Context(), "/"+strings.Repeat("x", 5000)+"/y", &mouldwrightv1.ListQuotesRequest{}, &mouldwrightv1.ListQuotesResponse{})
	require.Equal(t, codes.Unimplemented, status.Code(err))
	lines := s.log.lines(t, reasonNoMethod)
	require.Len(t, lines, 1)
	assert.Less(t, len(lines[0]["method"].(string)), 70)
}

// The generosity of lines is one a second; what is left out is counted.
func TestSeldom(t *testing.T) {
	clock := &stopped{at: march()}
	s := &seldom{now: clock.now}
	may := func(wantLeft int, want bool) {
		t.Helper()
		left, ok := s.may()
		assert.Equal(t, want, ok)
		assert.Equal(t, wantLeft, left)
	}
	may(0, true)
	may(0, false)
	clock.pass(time.Second - 1)
	may(0, false)
	clock.pass(1)
	may(2, true)
}

// A header that is not as keys are sent is told how they are, alike for every key; one that is as they are is told nothing.
func TestAKeyWithoutItsScheme(t *testing.T) {
	o := newOffice(t, Config{})
	for header, told := range map[string]bool{o.admin: true, madeUp(t): true, "Basic abc": true, "Bearer " + madeUp(t): false, "Bearer mwk_nobody": false} {
		got := o.send(t, "GET", "/v1/quotes", nil, "Authorization", header)
		assert.Equal(t, http.StatusUnauthorized, got.status)
		assert.Equal(t, "Bearer", got.header.Get("WWW-Authenticate"))
		refused := got.refusal(t)
		assert.Equal(t, reasonBadKey, refused.info.GetReason())
		assert.Equal(t, told, strings.Contains(refused.Message(), "Authorization: Bearer"), refused.Message())
		assert.NotContains(t, refused.Message(), "mwk_")
	}
	assert.NotContains(t, o.log.String(), o.admin)
}

// Calls that come at the same time are each counted, and none fails for the others.
func TestCountingAtOnce(t *testing.T) {
	r, err := newRate(unhurried(), time.Now)
	require.NoError(t, err)
	var all sync.WaitGroup
	var failed atomic.Int64
	for range 32 {
		all.Go(func() {
			for range 1000 {
				if r.take(context.Background(), "one") != nil {
					failed.Add(1)
				}
			}
		})
	}
	all.Wait()
	assert.Zero(t, failed.Load())
}

// What is given back may be taken again, and no more than that.
func TestGivingBack(t *testing.T) {
	clock := &stopped{at: march()}
	r, err := newRate(Rate{PerMinute: 60, Burst: 2}, clock.now)
	require.NoError(t, err)
	ctx := t.Context()
	for range 5 {
		require.NoError(t, r.take(ctx, "a"))
		r.giveBack(ctx, "a")
	}
	require.NoError(t, r.take(ctx, "a"))
	clock.pass(time.Hour)
	r.giveBack(ctx, "a") // long after
	require.NoError(t, r.take(ctx, "a"))
	require.NoError(t, r.take(ctx, "a"))
	assert.Error(t, r.take(ctx, "a"), "no more than may come at once")
}

// Health is asked for before a message is taken too.
func TestHealthCountsHeaders(t *testing.T) {
	o := newOffice(t, Config{AddressRate: Rate{PerMinute: 1, Burst: 1}})
	conn, err := grpc.NewClient(o.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	got, err := healthv1.NewHealthClient(conn).Check(soon(t), &healthv1.HealthCheckRequest{})
	require.NoError(t, err)
	assert.Equal(t, healthv1.HealthCheckResponse_SERVING, got.GetStatus())
	stream := headersOnly(soon(t), t, conn, healthv1.Health_Check_FullMethodName)
	assert.Equal(t, codes.ResourceExhausted, status.Code(stream.RecvMsg(got)))
}

// What reads a whole quote takes a place like what prices one.
func TestReadingsThatCostTakeAPlace(t *testing.T) {
	for _, m := range []proto.Message{
		&mouldwrightv1.GetQuoteRequest{}, &mouldwrightv1.GetQuoteDocumentRequest{}, &mouldwrightv1.IssueQuoteRequest{},
		&mouldwrightv1.AcceptQuoteRequest{}, &mouldwrightv1.DeclineQuoteRequest{},
	} {
		assert.True(t, reckons(m), "%T", m)
	}
	assert.False(t, reckons(&mouldwrightv1.ListQuotesRequest{}))
}
