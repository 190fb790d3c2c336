package server

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/shelf"
)

// corner is a mesh of four triangles, as text in STL.
const corner = `solid corner
facet normal 0 0 0
outer loop
vertex 0 0 0
vertex 0 200 0
vertex 300 0 0
endloop
endfacet
facet normal 0 0 0
outer loop
vertex 0 0 0
vertex 300 0 0
vertex 0 0 100
endloop
endfacet
facet normal 0 0 0
outer loop
vertex 0 0 0
vertex 0 0 100
vertex 0 200 0
endloop
endfacet
facet normal 0 0 0
outer loop
vertex 300 0 0
vertex 0 200 0
vertex 0 0 100
endloop
endfacet
endsolid corner
`

// memory is a listener without a port.
type memory struct{ *bufconn.Listener }

// Accept says as a port does that it is closed.
func (m *memory) Accept() (net.Conn, error) {
	conn, err := m.Listener.Accept()
	if err != nil {
		return nil, net.ErrClosed
	}
	return conn, nil
}

// inMemory serves within a bubble of synctest: no port, and a clock that goes on only while everybody waits.
func inMemory(t *testing.T, c Config) *running {
	t.Helper()
	rules, book := rulesOf(t), &logbook{}
	c.Store, c.Keyless, c.Logger = demoStore(t, rules), true, loggerTo(book)
	s, err := New(c)
	require.NoError(t, err)
	l := &memory{bufconn.Listen(1 << 20)}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l) }()
	dial := func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) }
	conn, err := grpc.NewClient("passthrough:///localhost", grpc.WithContextDialer(dial), grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	transport := &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) { return l.DialContext(ctx) }}
	r := &running{address: "localhost", conn: conn, web: &http.Client{Transport: transport}, log: book}
	r.stop = sync.OnceValue(func() error {
		_ = conn.Close()
		transport.CloseIdleConnections()
		cancel()
		return <-ended
	})
	t.Cleanup(func() { require.NoError(t, r.stop()) })
	return r
}

// sending is a stream that brings a mesh in.
type sending = grpc.ClientStreamingClient[mouldwrightv1.UploadMeshRequest, mouldwrightv1.UploadMeshResponse]

func (r *running) upload(ctx context.Context, t testing.TB) sending {
	t.Helper()
	stream, err := mouldwrightv1.NewTakeoffServiceClient(r.conn).UploadMesh(ctx)
	require.NoError(t, err)
	return stream
}

// soon is as long as a test waits for what comes at once, and far less than a silent stream is given.
func soon(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	t.Cleanup(cancel)
	return ctx
}

// head is a stream's first message: how to read what follows.
func head(id string) *mouldwrightv1.UploadMeshRequest {
	reading := &mouldwrightv1.MeshReading{MeshId: id, Unit: mouldwrightv1.LengthUnit_LENGTH_UNIT_MILLIMETRE}
	return &mouldwrightv1.UploadMeshRequest{Part: &mouldwrightv1.UploadMeshRequest_Reading{Reading: reading}}
}

func chunk(b []byte) *mouldwrightv1.UploadMeshRequest {
	return &mouldwrightv1.UploadMeshRequest{Part: &mouldwrightv1.UploadMeshRequest_Chunk{Chunk: b}}
}

// say sends messages. One that is refused early may not take the last of them: its answer says why.
func say(t testing.TB, stream sending, parts ...*mouldwrightv1.UploadMeshRequest) {
	t.Helper()
	for _, part := range parts {
		if err := stream.Send(part); err != nil {
			require.ErrorIs(t, err, io.EOF)
			return
		}
	}
}

// unclosed waits for the answer to a stream that is not closed.
func unclosed(stream sending) error { return stream.RecvMsg(&mouldwrightv1.UploadMeshResponse{}) }

// kept is what a server keeps of its caller's meshes, by name.
func (r *running) kept(t testing.TB) []string {
	t.Helper()
	got, err := mouldwrightv1.NewTakeoffServiceClient(r.conn).ListMeshes(t.Context(), &mouldwrightv1.ListMeshesRequest{PageSize: 100})
	require.NoError(t, err)
	list := []string{}
	for _, m := range got.GetMeshes() {
		list = append(list, m.GetName())
	}
	return list
}

// slowest is how long a file of up to a MiB may take: 15 s, and a second for each 64 KiB.
const slowest = 31 * time.Second

// Streams that fall silent hold all places, until their time is up: then each is told so, its place is another's, and nothing of it is kept.
func TestASilentStreamLosesItsPlace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{MeshLimit: 1 << 20})
		began := time.Now()
		var silent []sending
		for n := range uploadsAtOnce {
			stream := s.upload(t.Context(), t)
			say(t, stream, head(fmt.Sprint("silent-", n)), chunk([]byte(corner[:len(corner)/2])))
			silent = append(silent, stream)
		}
		synctest.Wait()
		turnedAway := s.upload(t.Context(), t)
		say(t, turnedAway, head("corner"))
		got := refusalOf(status.Convert(unclosed(turnedAway)))
		assert.Equal(t, codes.ResourceExhausted, got.Code())
		assert.Equal(t, reasonTooBusy, got.info.GetReason())
		assert.Equal(t, 2*time.Second, time.Since(began), "the patience that a caller has by default")

		for _, stream := range silent {
			got := refusalOf(status.Convert(unclosed(stream)))
			assert.Equal(t, codes.DeadlineExceeded, got.Code())
			assert.Equal(t, reasonDeadline, got.info.GetReason())
			assert.Contains(t, got.Message(), "31s", "what is allowed")
		}
		assert.Equal(t, slowest, time.Since(began))
		synctest.Wait()
		assert.Len(t, s.log.lines(t, reasonDeadline), uploadsAtOnce)
		assert.Empty(t, s.kept(t), "half a file is none")

		stream := s.upload(t.Context(), t)
		say(t, stream, head("corner"), chunk([]byte(corner)))
		_, err := stream.CloseAndRecv()
		require.NoError(t, err)
		assert.Equal(t, []string{"meshes/corner"}, s.kept(t))
		assert.Equal(t, slowest, time.Since(began), "nobody waited for the place")
	})
}

// One that says a little from time to time has no more time than one that says nothing.
func TestAStreamThatTricklesLosesItsPlace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{MeshLimit: 1 << 20})
		began := time.Now()
		stream := s.upload(t.Context(), t)
		say(t, stream, head("corner"))
		for stream.Send(chunk([]byte{'s'})) == nil {
			time.Sleep(time.Second)
		}
		assert.Equal(t, codes.DeadlineExceeded, status.Code(unclosed(stream)))
		assert.Less(t, time.Since(began), slowest+2*time.Second)
	})
}

// A body that falls silent is the same at the REST door.
func TestASilentBodyLosesItsPlace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{MeshLimit: 1 << 20})
		began := time.Now()
		answers := make(chan answerOf, uploadsAtOnce)
		for range uploadsAtOnce {
			body, writer := io.Pipe() // of no length
			go func() { _, _ = io.WriteString(writer, corner[:len(corner)/2]) }()
			go func() {
				answers <- s.send(t, http.MethodPost, "/v1/meshes?unit=mm", body, "Content-Type", "model/stl")
				_ = writer.Close()
			}()
		}
		synctest.Wait()
		turnedAway := s.send(t, http.MethodPost, "/v1/meshes?unit=mm", strings.NewReader(corner), "Content-Type", "model/stl")
		assert.Equal(t, http.StatusTooManyRequests, turnedAway.status)
		assert.Equal(t, "1", turnedAway.header.Get("Retry-After"))

		for range uploadsAtOnce {
			got := <-answers
			assert.Equal(t, http.StatusRequestTimeout, got.status, "%s", got.body)
			assert.Equal(t, codes.DeadlineExceeded, got.refusal(t).Code())
			assert.Equal(t, reasonDeadline, got.refusal(t).info.GetReason())
		}
		assert.Equal(t, slowest, time.Since(began))
		assert.Empty(t, s.kept(t))
		got := s.send(t, http.MethodPost, "/v1/meshes?unit=mm&meshId=corner", strings.NewReader(corner), "Content-Type", "model/stl")
		assert.Equal(t, http.StatusOK, got.status, "%s", got.body)
		assert.Equal(t, []string{"meshes/corner"}, s.kept(t))
	})
}

// A caller who leaves in the middle of a file gives the place back at once, and nothing of the file is kept.
func TestACallerWhoLeavesInTheMiddle(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{})
		began := time.Now()
		for range 3 * uploadsAtOnce {
			ctx, leave := context.WithCancel(t.Context())
			stream := s.upload(ctx, t)
			say(t, stream, head("corner"), chunk([]byte(corner[:200])))
			synctest.Wait()
			leave()
			assert.Equal(t, codes.Canceled, status.Code(unclosed(stream)))
			synctest.Wait()
		}
		assert.Len(t, s.log.lines(t, `"code":"Canceled"`), 3*uploadsAtOnce)
		assert.Empty(t, s.kept(t))
		stream := s.upload(t.Context(), t)
		say(t, stream, head("corner"), chunk([]byte(corner)))
		_, err := stream.CloseAndRecv()
		require.NoError(t, err)
		assert.Equal(t, began, time.Now(), "nobody waited")
	})
}

// The caller's own time ends a stream before the service's does.
func TestACallersTimeBoundsAnUpload(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := inMemory(t, Config{})
		ctx, cancel := context.WithTimeout(t.Context(), 3*time.Second)
		defer cancel()
		began := time.Now()
		stream := s.upload(ctx, t)
		say(t, stream, head("corner"))
		assert.Equal(t, codes.DeadlineExceeded, status.Code(unclosed(stream)))
		assert.Equal(t, 3*time.Second, time.Since(began))
		synctest.Wait()
		lines := s.log.lines(t, "UploadMesh")
		require.Len(t, lines, 1)
		// Which of the two comes first, the deadline or the word that the caller hung up at it, is chance.
		assert.Contains(t, []any{"DeadlineExceeded", "Canceled"}, lines[0]["code"])
	})
}

// A file of exactly the limit is taken in, in however many chunks; a byte more is refused as it comes, without waiting for the end.
func TestAStreamIsRefusedAtTheLimit(t *testing.T) {
	s := start(t, Config{MeshLimit: int64(len(corner)), MeshRoom: 8 << 20})
	before := s.kept(t)
	for range 2 * uploadsAtOnce {
		stream := s.upload(soon(t), t)
		say(t, stream, head("corner"), chunk([]byte(corner)), chunk([]byte{'\n'}))
		got := refusalOf(status.Convert(unclosed(stream)))
		assert.Equal(t, codes.InvalidArgument, got.Code())
		assert.Equal(t, reasonBodySize, got.info.GetReason())
		assert.Equal(t, fmt.Sprint(len(corner)), got.info.GetMetadata()["limitBytes"])
	}
	assert.Equal(t, before, s.kept(t))
	stream := s.upload(t.Context(), t)
	say(t, stream, head("corner"))
	for i := range len(corner) {
		say(t, stream, chunk([]byte{corner[i]}))
	}
	kept, err := stream.CloseAndRecv()
	require.NoError(t, err)
	assert.Equal(t, "meshes/corner", kept.GetMesh().GetName())
	assert.EqualValues(t, len(corner), kept.GetMesh().GetByteCount())
}

// What is wrong with the order or the form of a stream's messages is refused at once, by its path, and frees its place.
func TestStreamsOutOfForm(t *testing.T) {
	s := start(t, Config{Patience: time.Millisecond})
	before := s.kept(t)
	odd := head("corner")
	odd.GetReading().Unit = 77
	for name, row := range map[string]struct {
		parts []*mouldwrightv1.UploadMeshRequest
		path  string
	}{
		"bytes before the reading": {[]*mouldwrightv1.UploadMeshRequest{chunk([]byte(corner)), head("corner")}, "reading"},
		"a second reading":         {[]*mouldwrightv1.UploadMeshRequest{head("corner"), head("corner")}, "reading"},
		"a reading after bytes":    {[]*mouldwrightv1.UploadMeshRequest{head("corner"), chunk([]byte(corner)), head("other")}, "reading"},
		"neither, at the start":    {[]*mouldwrightv1.UploadMeshRequest{{}}, ""},
		"neither, later":           {[]*mouldwrightv1.UploadMeshRequest{head("corner"), {}}, ""},
		"a chunk too long":         {[]*mouldwrightv1.UploadMeshRequest{head("corner"), chunk(make([]byte, 256<<10+1))}, "chunk"},
		"no such unit":             {[]*mouldwrightv1.UploadMeshRequest{odd}, "reading.unit"},
	} {
		t.Run(name, func(t *testing.T) {
			for range uploadsAtOnce + 1 {
				stream := s.upload(soon(t), t)
				say(t, stream, row.parts...)
				got := refusalOf(status.Convert(unclosed(stream)))
				assert.Equal(t, codes.InvalidArgument, got.Code())
				assert.Contains(t, got.fields, row.path, got.Message())
				assert.Equal(t, before, s.kept(t))
			}
		})
	}
}

// A stream that ends before it has brought a file is told what is missing.
func TestStreamsWithoutAFile(t *testing.T) {
	s := start(t, Config{})
	for name, parts := range map[string][]*mouldwrightv1.UploadMeshRequest{
		"nothing": nil, "a reading alone": {head("corner")}, "a reading and no bytes": {head("corner"), chunk(nil)},
	} {
		stream := s.upload(t.Context(), t)
		say(t, stream, parts...)
		_, err := stream.CloseAndRecv()
		got := refusalOf(status.Convert(err))
		assert.Equal(t, codes.InvalidArgument, got.Code(), name)
		assert.Contains(t, got.fields, "file", name)
	}
}

// A stream has a request's id as every call has: the caller's own, in the answer's headers and in the log.
func TestAStreamHasARequestsID(t *testing.T) {
	s := start(t, Config{})
	for id, parts := range map[string][]*mouldwrightv1.UploadMeshRequest{"taken-in": {head("corner"), chunk([]byte(corner))}, "refused": {chunk([]byte(corner))}} {
		stream := s.upload(metadata.AppendToOutgoingContext(t.Context(), requestIDKey, id), t)
		say(t, stream, parts...)
		_, _ = stream.CloseAndRecv()
		header, err := stream.Header()
		require.NoError(t, err)
		assert.Equal(t, []string{id}, header.Get(requestIDKey))
		assert.Len(t, s.log.lines(t, `"`+id+`"`), 1)
	}
}

// Many callers who bring one file at once get one mesh.
func TestManyBringOneFile(t *testing.T) {
	s := start(t, Config{Patience: time.Minute, StudyTimeout: time.Minute})
	before := len(s.kept(t))
	got := make(chan error, 2*uploadsAtOnce)
	for range cap(got) {
		stream := s.upload(t.Context(), t)
		go func() {
			err := errors.Join(stream.Send(head("")), stream.Send(chunk([]byte(corner))))
			_, last := stream.CloseAndRecv()
			got <- errors.Join(err, last)
		}()
	}
	for range cap(got) {
		assert.NoError(t, <-got)
	}
	assert.Len(t, s.kept(t), before+1)
}

// lengthless hides how long a body is, so that it is sent in chunks.
type lengthless struct{ io.Reader }

// What a body says of itself is taken at its word or refused; one without a length is as good as one with.
func TestBodiesThatAreFiles(t *testing.T) {
	s := start(t, Config{MeshLimit: int64(len(corner)), MeshRoom: 8 << 20})
	before := s.kept(t)
	over := corner + "\n"
	for name, row := range map[string]struct {
		body    io.Reader
		headers []string
		status  int
		reason  string
	}{
		"with its length":              {strings.NewReader(corner), []string{"Content-Type", "model/stl"}, 200, ""},
		"without":                      {lengthless{strings.NewReader(corner)}, []string{"Content-Type", "model/stl"}, 200, ""},
		"a type in capitals":           {strings.NewReader(corner), []string{"Content-Type", "Model/STL; charset=us-ascii"}, 200, ""},
		"any bytes":                    {strings.NewReader(corner), []string{"Content-Type", "application/octet-stream"}, 200, ""},
		"packed in no way":             {strings.NewReader(corner), []string{"Content-Type", "model/stl", "Content-Encoding", "identity"}, 200, ""},
		"a byte over, with its length": {strings.NewReader(over), []string{"Content-Type", "model/stl"}, 413, reasonBodySize},
		"a byte over, without":         {lengthless{strings.NewReader(over)}, []string{"Content-Type", "model/stl"}, 413, reasonBodySize},
		"far over, without":            {lengthless{bytes.NewReader(make([]byte, 1<<20))}, []string{"Content-Type", "model/stl"}, 413, reasonBodySize},
		"packed":                       {strings.NewReader(corner), []string{"Content-Type", "model/stl", "Content-Encoding", "gzip"}, 415, reasonType},
		"text":                         {strings.NewReader(corner), []string{"Content-Type", "text/plain"}, 415, reasonType},
		"a form":                       {strings.NewReader(corner), []string{"Content-Type", "multipart/form-data; boundary=x"}, 415, reasonType},
		"a model of another kind":      {strings.NewReader(corner), []string{"Content-Type", "model/vrml"}, 415, reasonType},
		"no type":                      {strings.NewReader(corner), []string{"Content-Type", ""}, 415, reasonType},
		"nothing, without a length":    {lengthless{strings.NewReader("")}, []string{"Content-Type", "model/stl"}, 400, reasonRequest},
		"another kind than it says":    {strings.NewReader(corner), []string{"Content-Type", "model/gltf-binary"}, 200, ""},
	} {
		t.Run(name, func(t *testing.T) {
			got := s.send(t, http.MethodPost, "/v1/meshes?unit=mm", row.body, row.headers...)
			require.Equal(t, row.status, got.status, "%s", got.body)
			if row.status == http.StatusOK {
				assert.Len(t, s.kept(t), len(before)+1, "one file, whatever way it came")
				return
			}
			refused := got.refusal(t)
			assert.Equal(t, codes.InvalidArgument, refused.Code())
			assert.Equal(t, row.reason, refused.info.GetReason())
		})
	}
}

// A body that ends before its length leaves nothing, and its place is free.
func TestABodyCutShort(t *testing.T) {
	s := start(t, Config{Patience: time.Second})
	before := s.kept(t)
	for range 2 * uploadsAtOnce {
		conn := dial(t, s.address)
		_, err := fmt.Fprintf(conn, "POST /v1/meshes?unit=mm HTTP/1.1\r\nHost: localhost\r\nContent-Type: model/stl\r\nContent-Length: %d\r\n\r\n%s", len(corner), corner[:100])
		require.NoError(t, err)
		require.NoError(t, conn.(*net.TCPConn).CloseWrite())
		text, err := io.ReadAll(conn)
		require.NoError(t, err)
		assert.Contains(t, string(text), "400 Bad Request")
		assert.Contains(t, string(text), reasonBody)
	}
	assert.Equal(t, before, s.kept(t))
	got := s.send(t, http.MethodPost, "/v1/meshes?unit=mm", strings.NewReader(corner), "Content-Type", "model/stl")
	assert.Equal(t, http.StatusOK, got.status, "%s", got.body)
}

// What is too long is refused by what it says of its length, before it is sent.
func TestABodyTooLongIsNotAwaited(t *testing.T) {
	s := start(t, Config{MeshLimit: 1 << 20})
	conn := dial(t, s.address)
	_, err := io.WriteString(conn, "POST /v1/meshes?unit=mm HTTP/1.1\r\nHost: localhost\r\nContent-Type: model/stl\r\nContent-Length: 1048577\r\nExpect: 100-continue\r\n\r\n")
	require.NoError(t, err)
	first := make([]byte, len("HTTP/1.1 413"))
	_, err = io.ReadFull(conn, first)
	require.NoError(t, err)
	assert.Equal(t, "HTTP/1.1 413", string(first))
}

// Each unit and axis that a query may name, by its short name and by the contract's, is the one that the contract's answer names.
func TestUnitsAndAxesOfAQuery(t *testing.T) {
	s := start(t, Config{})
	for name, value := range mouldwrightv1.LengthUnit_value {
		if value == 0 {
			continue
		}
		for _, said := range []string{name, shelf.Units()[value-1].Short} {
			got := s.send(t, http.MethodPost, "/v1/meshes?unit="+said, strings.NewReader(corner), "Content-Type", "model/stl")
			assert.Contains(t, string(got.body), `"unit":"`+name+`"`, said)
		}
	}
	for name, value := range mouldwrightv1.UpAxis_value {
		if value == 0 {
			continue
		}
		for _, said := range []string{name, shelf.Axes()[value-1]} {
			got := s.send(t, http.MethodPost, "/v1/meshes?unit=mm&up="+said, strings.NewReader(corner), "Content-Type", "model/stl")
			assert.Contains(t, string(got.body), `"up":"`+name+`"`, said)
		}
	}
}

// A query that says a thing twice, or something else, is refused with all that is wrong with it.
func TestQueriesThatSayTooMuch(t *testing.T) {
	s := start(t, Config{})
	got := s.send(t, http.MethodPost, "/v1/meshes?unit=mm&unit=cm&up=w&colour=red", strings.NewReader(corner), "Content-Type", "model/stl")
	require.Equal(t, http.StatusBadRequest, got.status)
	for path, says := range map[string]string{"?unit": "given 2 times", "?up": "allowed: x, y, z", "?colour": "no such parameter"} {
		assert.Contains(t, got.refusal(t).fields[path], says)
	}
}
