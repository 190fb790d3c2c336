package server

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	spb "google.golang.org/genproto/googleapis/rpc/status"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/cabinet"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/store"
	inmemory "github.com/mouldwright/mouldwright/internal/store/memory"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// running is a server on a port of its own, with a caller for each of its doors.
type running struct {
	address string
	conn    *grpc.ClientConn
	web     *http.Client
	log     *logbook
	stop    func() error // ends it and waits; once
}

func rulesOf(t testing.TB) *wire.Validator {
	t.Helper()
	rules, err := wire.NewValidator()
	require.NoError(t, err)
	return rules
}

func demoDocument(t testing.TB) *mouldwrightv1.RateBook {
	t.Helper()
	var document mouldwrightv1.RateBook
	require.Empty(t, wire.Decode(demo.Document(), &document))
	return &document
}

// demoBook is the demo studio's rate book.
func demoBook(t testing.TB, rules *wire.Validator) *desk.Book {
	t.Helper()
	book, faults := desk.OpenBook(demo.Document(), rules)
	require.NoError(t, faults.Err())
	return book
}

// demoStore is a store that holds the demo studio's rate book.
func demoStore(t testing.TB, rules *wire.Validator) store.Store {
	t.Helper()
	s := inmemory.New()
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	books, err := bookcase.New(s, rules, time.Now)
	require.NoError(t, err)
	require.NoError(t, books.Begin(context.Background(), demoBook(t, rules)))
	return s
}

// asStudio is a context of a call of the studio's.
func asStudio(ctx context.Context) context.Context {
	return withCall(ctx, &call{caller: access.Caller{Kind: access.Studio, Scopes: access.Admin}})
}

// demoRoom is what services have in common, with the demo studio's rate book.
func demoRoom(t testing.TB, rules *wire.Validator) *room {
	t.Helper()
	r, err := newRoom(Config{Store: demoStore(t, rules)}.withDefaults(), rules)
	require.NoError(t, err)
	return r
}

// patient is how long a call may take in tests that are not of that: longer than the
// service allows, since the machine may be busy and the race detector slow.
const patient = 25 * time.Second

// start serves on a free port. Quotes stands in for the quote service where it is given.
func start(t testing.TB, c Config, quotes ...mouldwrightv1.QuoteServiceServer) *running {
	t.Helper()
	rules := rulesOf(t)
	book := &logbook{}
	c.Logger = slog.New(slog.NewJSONHandler(book, nil))
	if c.Store == nil {
		c.Store, c.Keyless = demoStore(t, rules), true
	}
	if c.Timeout == 0 {
		c.Timeout = patient
	}
	c = c.withDefaults()
	r, err := newRoom(c, rules)
	require.NoError(t, err)
	shelved(t, r.meshes)
	all := services(r)
	for i := range all {
		if len(quotes) > 0 && all[i].desc == &mouldwrightv1.QuoteService_ServiceDesc {
			all[i].impl = quotes[0]
		}
	}
	s, err := newServer(c, r, all)
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l) }()

	conn, err := grpc.NewClient(l.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	transport := &http.Transport{MaxIdleConnsPerHost: 16}
	run := &running{address: l.Addr().String(), conn: conn, web: &http.Client{Transport: transport, Timeout: 30 * time.Second}, log: book}
	run.stop = sync.OnceValue(func() error {
		cancel()
		err := <-ended
		transport.CloseIdleConnections()
		_ = conn.Close()
		return err
	})
	t.Cleanup(func() { require.NoError(t, run.stop()) })
	return run
}

// shelved keeps the studio's meshes that demo briefs and requests of these tests refer to. They are studied once for all tests.
func shelved(t testing.TB, meshes *cabinet.Cabinet) {
	t.Helper()
	items, err := studiedOnce()
	require.NoError(t, err)
	for _, item := range items {
		_, err := meshes.Keep(context.Background(), "", item)
		require.NoError(t, err)
	}
}

var studiedOnce = sync.OnceValues(func() ([]*shelf.Item, error) {
	var items []*shelf.Item
	for _, of := range []shelf.Reading{{ID: "hare", FileName: "hare.glb"}, {ID: "hook", FileName: "public/p06_undercut_hook.stl", Unit: 0.001}} {
		file, err := os.ReadFile(filepath.Join("..", "..", "testdata", "meshes", of.FileName))
		if err != nil {
			return nil, err
		}
		item := shelf.Identify(file, of)
		if err := item.Study(); err != nil {
			return nil, err
		}
		items = append(items, item)
	}
	return items, nil
})

// answerOf is what the REST door said.
type answerOf struct {
	status int
	header http.Header
	body   []byte
}

func (r *running) send(t testing.TB, verb, path string, body io.Reader, headers ...string) answerOf {
	t.Helper()
	request, err := http.NewRequest(verb, "http://"+r.address+path, body)
	require.NoError(t, err)
	for i := 0; i < len(headers); i += 2 {
		request.Header.Add(headers[i], headers[i+1])
	}
	if body != nil && len(request.Header.Values("Content-Type")) == 0 {
		request.Header.Set("Content-Type", "application/json") // what bodies are unless a test says otherwise
	}
	reply, err := r.web.Do(request)
	require.NoError(t, err)
	return whole(t, reply)
}

func whole(t testing.TB, reply *http.Response) answerOf {
	t.Helper()
	defer func() { _ = reply.Body.Close() }()
	text, err := io.ReadAll(reply.Body)
	require.NoError(t, err)
	return answerOf{reply.StatusCode, reply.Header, text}
}

func (r *running) post(t testing.TB, path, body string, headers ...string) answerOf {
	t.Helper()
	return r.send(t, http.MethodPost, path, strings.NewReader(body), append([]string{"Content-Type", "application/json"}, headers...)...)
}

// refusal reads an error's body.
func (a answerOf) refusal(t testing.TB) *refusal {
	t.Helper()
	var st spb.Status
	require.NoError(t, protojson.Unmarshal(a.body, &st), "%s", a.body)
	return refusalOf(status.FromProto(&st))
}

// refusal is an error with its details taken apart.
type refusal struct {
	*status.Status
	info   *errdetails.ErrorInfo
	fields map[string]string // message by path
	kinds  map[string]string // reason by path
	retry  time.Duration     // 0 where nothing is said of it
}

func refusalOf(st *status.Status) *refusal {
	r := &refusal{Status: st, fields: map[string]string{}, kinds: map[string]string{}}
	for _, d := range st.Details() {
		switch x := d.(type) {
		case *errdetails.ErrorInfo:
			r.info = x
		case *errdetails.BadRequest:
			for _, v := range x.GetFieldViolations() {
				r.fields[v.GetField()] = v.GetDescription()
				r.kinds[v.GetField()] = v.GetReason()
			}
		case *errdetails.RetryInfo:
			r.retry = x.GetRetryDelay().AsDuration()
		}
	}
	return r
}

// logbook keeps what was logged.
type logbook struct {
	mu   sync.Mutex
	text bytes.Buffer
}

// Write takes a line.
func (b *logbook) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *logbook) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

// lines returns the lines that hold a text, read.
func (b *logbook) lines(t testing.TB, holding string) []map[string]any {
	t.Helper()
	var out []map[string]any
	for line := range strings.Lines(b.String()) {
		if strings.Contains(line, holding) {
			var read map[string]any
			require.NoError(t, json.Unmarshal([]byte(line), &read))
			out = append(out, read)
		}
	}
	return out
}

// briefs returns the demo briefs by file name.
func briefs(t testing.TB) map[string][]byte {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join("..", "..", "testdata", "briefs", "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	out := map[string][]byte{}
	for _, p := range paths {
		text, err := os.ReadFile(p)
		require.NoError(t, err)
		out[filepath.Base(p)] = text
	}
	return out
}

func demoBrief(t testing.TB) []byte { return briefs(t)["toadstool-trail.json"] }

// request wraps a brief in a request of any of the RPCs that take one.
func request(brief []byte) string { return `{"brief":` + string(brief) + `}` }

func decoded[M proto.Message](t testing.TB, text string, m M) M {
	t.Helper()
	require.Empty(t, wire.Decode([]byte(text), m))
	return m
}

func loggerTo(b *logbook) *slog.Logger { return slog.New(slog.NewJSONHandler(b, nil)) }

func newRecorder() *httptest.ResponseRecorder { return httptest.NewRecorder() }
