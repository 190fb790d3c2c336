package server

import (
	"context"
	"encoding/base64"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// keeper stands in for the takeoff service: it notes how many files have a place while
// one is being studied.
type keeper struct {
	mouldwrightv1.UnimplementedTakeoffServiceServer
	uploads *places
	held    []int
}

func (k *keeper) CreateMesh(context.Context, *mouldwrightv1.CreateMeshRequest) (*mouldwrightv1.CreateMeshResponse, error) {
	k.held = append(k.held, len(k.uploads.taken))
	return &mouldwrightv1.CreateMeshResponse{}, nil
}

// kept is a chain with a keeper at its end.
func kept(t *testing.T) (*chain, *keeper, *logbook) {
	t.Helper()
	rules, book := rulesOf(t), &logbook{}
	r := demoRoom(t, rules)
	g, err := newGuard(Config{Keyless: true, Store: r.keep.store}.withDefaults(), r.gate, services(r))
	require.NoError(t, err)
	c := &chain{
		log: loggerTo(book), timeout: time.Minute, study: time.Minute, rules: rules, intake: r.intake, guard: g, masker: wire.NewMasker(),
		places: newPlaces(1, time.Second), uploads: newPlaces(uploadsAtOnce, time.Second), meshLimit: 1 << 20,
	}
	return c, &keeper{uploads: c.uploads}, book
}

// told is a stream of some messages that keeps what it is answered.
type told struct {
	grpc.ServerStream
	ctx    context.Context
	parts  []*mouldwrightv1.UploadMeshRequest
	header error // of telling headers
	answer any
}

func (s *told) Context() context.Context     { return s.ctx }
func (s *told) SetHeader(metadata.MD) error  { return s.header }
func (s *told) SendHeader(metadata.MD) error { return nil }
func (s *told) SetTrailer(metadata.MD)       {}
func (s *told) SendMsg(m any) error          { s.answer = m; return nil }

func (s *told) RecvMsg(m any) error {
	if len(s.parts) == 0 {
		return io.EOF
	}
	proto.Merge(m.(proto.Message), s.parts[0])
	s.parts = s.parts[1:]
	return nil
}

// A file keeps its place until it is studied, whichever way it came: it takes as much
// memory then as on its way in. Afterwards the place is another's.
func TestAFileKeepsItsPlaceUntilItIsStudied(t *testing.T) {
	c, k, _ := kept(t)
	require.NoError(t, c.upload(k, &told{ctx: t.Context(), parts: []*mouldwrightv1.UploadMeshRequest{head("corner"), chunk([]byte(corner))}}))

	all := services(&room{rules: c.rules, books: c.intake.books, intake: c.intake})
	for i := range all {
		if all[i].desc == &mouldwrightv1.TakeoffService_ServiceDesc {
			all[i].impl = k
		}
	}
	door, err := newRESTDoor(t.Context(), c, all, Config{BodyLimit: 1 << 10})
	require.NoError(t, err)
	inJSON := `{"file":"` + base64.StdEncoding.EncodeToString([]byte(corner)) + `"}`
	for media, body := range map[string]string{"model/stl": corner, "application/json": inJSON} {
		r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, "http://localhost/v1/meshes", strings.NewReader(body))
		r.Header.Set("Content-Type", media)
		w := newRecorder()
		door.ServeHTTP(w, r)
		assert.Equal(t, http.StatusOK, w.Code, "%s: %s", media, w.Body)
	}
	assert.Equal(t, []int{1, 1, 1}, k.held)
	assert.Empty(t, c.uploads.taken)
}

// As many files within JSON are let in at once as files by themselves.
func TestFilesWithinJSONWaitForAPlace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{})
		for range uploadsAtOnce {
			say(t, s.upload(t.Context(), t), head("silent"))
		}
		synctest.Wait()
		got := s.post(t, "/v1/meshes", `{}`)
		assert.Equal(t, http.StatusTooManyRequests, got.status, "%s", got.body)
		assert.Equal(t, "1", got.header.Get("Retry-After"))
	})
}

// A caller who has left before he could be told the call's id is in the log, by either
// kind of call; so is a failure to tell one who is there.
func TestACallerWhoCannotBeToldIsLogged(t *testing.T) {
	gone, leave := context.WithCancel(t.Context())
	leave()
	for name, row := range map[string]struct {
		ctx  context.Context
		code codes.Code
	}{"left": {gone, codes.Canceled}, "there": {t.Context(), codes.Internal}} {
		c, k, book := kept(t)
		stream := &told{ctx: row.ctx, header: errors.New("the stream is done")}
		ctx := grpc.NewContextWithServerTransportStream(row.ctx, &streamHeader{stream: stream, method: "/x"})
		_, err := c.unary()(ctx, &mouldwrightv1.GetRateBookRequest{}, &grpc.UnaryServerInfo{FullMethod: "/x"}, nil)
		var known *answered
		require.ErrorAs(t, err, &known, name)
		assert.Equal(t, row.code, known.code, name)

		require.ErrorAs(t, c.upload(k, stream), &known, name)
		assert.Equal(t, row.code, known.code, name)
		err = c.stream(k, stream, &grpc.StreamServerInfo{FullMethod: "/y"}, nil)
		require.ErrorAs(t, err, &known, name)
		assert.Equal(t, row.code, known.code, name)
		assert.Len(t, book.lines(t, `"code":"`+row.code.String()+`"`), 3, "%s:\n%s", name, book)
	}
}

// A JSON body that falls silent is told so when its time is up.
func TestASilentJSONBody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{})
		began := time.Now()
		body, writer := io.Pipe()
		go func() { _, _ = io.WriteString(writer, `{"brief":`) }()
		got := s.send(t, http.MethodPost, preview, body, "Content-Type", "application/json")
		_ = writer.Close()
		assert.Equal(t, http.StatusRequestTimeout, got.status, "%s", got.body)
		assert.Equal(t, codes.DeadlineExceeded, got.refusal(t).Code())
		assert.Contains(t, got.refusal(t).Message(), "15s")
		assert.Equal(t, bodyTime, time.Since(began))
	})
}

// A file within JSON has the time of a file: 15 s, and a second for each 64 KiB of the
// 2 MiB that a file of 1 MiB may take in base64. Its answer is waited for as long as one
// to a file by itself.
func TestASilentFileWithinJSON(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{MeshLimit: 1 << 20})
		began := time.Now()
		body, writer := io.Pipe()
		go func() { _, _ = io.WriteString(writer, `{"file":"`) }()
		got := s.send(t, http.MethodPost, "/v1/meshes", body, "Content-Type", "application/json")
		_ = writer.Close()
		assert.Equal(t, http.StatusRequestTimeout, got.status, "%s", got.body)
		assert.Equal(t, 47*time.Second, time.Since(began))
	})
}

// A query that cannot be read is refused: what was lost of it may have been a name.
func TestAQueryThatCannotBeRead(t *testing.T) {
	s := start(t, Config{})
	for _, query := range []string{"?unit=mm&meshId=a;title=b", "?unit=mm&title=%zz"} {
		got := s.send(t, http.MethodPost, "/v1/meshes"+query, strings.NewReader(corner), "Content-Type", "model/stl")
		require.Equal(t, http.StatusBadRequest, got.status, query)
		assert.Contains(t, got.refusal(t).fields["?"], "cannot be read", query)
	}
	got := s.post(t, preview+"?a;b", request(demoBrief(t)))
	require.Equal(t, http.StatusBadRequest, got.status)
	assert.Contains(t, got.refusal(t).fields, "?")
}

// What is wrong with a parameter is told by the parameter's name, as the caller typed it.
func TestFaultsOfAQueryAreAtItsParameters(t *testing.T) {
	s := start(t, Config{})
	for query, path := range map[string]string{"": "?unit", "?unit=mm&meshId=No": "?meshId", "?unit=mm&title=" + strings.Repeat("x", 201): "?title"} {
		got := s.send(t, http.MethodPost, "/v1/meshes"+query, strings.NewReader(corner), "Content-Type", "model/stl")
		require.Equal(t, http.StatusBadRequest, got.status, query)
		assert.Contains(t, got.refusal(t).fields, path)
		assert.Len(t, got.refusal(t).fields, 1)
	}
}

// A page's token that no page gave is refused, with what was got.
func TestATokenThatNoPageGave(t *testing.T) {
	s := start(t, Config{})
	for _, token := range []string{"!", "YWJj", base64.RawURLEncoding.EncodeToString([]byte("meshes/Ä"))} {
		got := s.send(t, http.MethodGet, "/v1/meshes?pageToken="+token, nil)
		require.Equal(t, http.StatusBadRequest, got.status, token)
		assert.Contains(t, got.refusal(t).fields["?pageToken"], token)
	}
}
