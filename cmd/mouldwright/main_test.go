package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/shelf"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// output is what a run of the command left behind.
type output struct {
	status      int
	out, errors string
}

func run(t *testing.T, env map[string]string, args ...string) output {
	t.Helper()
	var out, errs bytes.Buffer
	p := program{stdout: &out, stderr: &errs, env: func(name string) string { return env[name] }}
	status := p.run(t.Context(), args)
	return output{status, out.String(), errs.String()}
}

func briefFiles(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("../../testdata/briefs/*.json")
	if err != nil || len(files) < 4 {
		t.Fatalf("found %d demo briefs: %v", len(files), err)
	}
	return files
}

// served is a running service.
type served struct {
	address string
	stop    func() int
}

// log is standard error of a service, read while it is written.
type log struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *log) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// serve serves without keys, with a store of its own unless arguments name another.
func serve(t *testing.T, args ...string) (served, *log) {
	t.Helper()
	return serveKeyed(t, append([]string{"--without-keys", "--store", filepath.Join(t.TempDir(), "studio.db")}, args...)...)
}

func serveKeyed(t *testing.T, args ...string) (served, *log) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	errs := &log{}
	p := program{stdout: io.Discard, stderr: errs, env: func(string) string { return "" }}
	status := make(chan int, 1)
	go func() { status <- p.run(ctx, append([]string{"serve", "--listen", "127.0.0.1:0"}, args...)) }()
	stop := sync.OnceValue(func() int { cancel(); return <-status })
	t.Cleanup(func() { stop() })
	return served{address: listening(t, errs)["address"].(string), stop: stop}, errs
}

// listening waits until a service listens, and returns what it says of itself then.
func listening(t *testing.T, errs *log) map[string]any {
	t.Helper()
	for range 3000 {
		if line := errs.line("listening"); line != nil {
			return line
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("the service did not start: %s", errs)
	return nil
}

// line returns the first line with a message that begins so; nil for none yet.
func (l *log) line(message string) map[string]any {
	for text := range strings.Lines(l.String()) {
		var line map[string]any
		if json.Unmarshal([]byte(text), &line) == nil && strings.HasPrefix(fmt.Sprint(line["msg"]), message) {
			return line
		}
	}
	return nil
}

// One case, every door: the Go call, the command, REST and gRPC give the same
// quote, byte for byte as JSON.
func TestABriefCostsTheSameAtEveryDoor(t *testing.T) {
	s, _ := serve(t)
	conn, err := grpc.NewClient(s.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	uploadHare(t, s.address)
	for _, file := range briefFiles(t) {
		t.Run(filepath.Base(file), func(t *testing.T) {
			doc, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			want := goCall(t, doc)
			for door, got := range map[string]string{
				"the command": strings.TrimSuffix(run(t, nil, "quote", "--json", file).out, "\n"),
				"REST":        overREST(t, s.address, doc),
				"gRPC":        overGRPC(t, conn, doc),
			} {
				if got != want {
					t.Errorf("%s answers otherwise than the Go call: %.300s", door, got)
				}
			}
		})
	}
}

// uploadHare gives the service the mesh that a demo brief refers to.
func uploadHare(t *testing.T, address string) {
	t.Helper()
	file, err := os.ReadFile("../../testdata/meshes/hare.glb")
	if err != nil {
		t.Fatal(err)
	}
	answer, err := http.Post("http://"+address+"/v1/meshes?meshId=hare", "model/gltf-binary", bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	if text, _ := io.ReadAll(answer.Body); answer.StatusCode != http.StatusOK {
		t.Fatalf("%d %s", answer.StatusCode, text)
	}
}

func goCall(t *testing.T, doc []byte) string {
	t.Helper()
	rules, err := wire.NewValidator()
	if err != nil {
		t.Fatal(err)
	}
	book, faults := desk.OpenBook(demo.Document(), rules)
	if len(faults) > 0 {
		t.Fatal(faults)
	}
	book.Meshes = (&shelf.Folder{Dirs: []fs.FS{os.DirFS("../../testdata/meshes")}, Most: 1 << 20}).Model
	q, err := book.Price(decoded(t, doc))
	if err != nil {
		t.Fatal(err)
	}
	return encoded(t, &mouldwrightv1.PreviewQuoteResponse{Quote: wire.Quote(q, false)})
}

func decoded(t *testing.T, doc []byte) *mouldwrightv1.Brief {
	t.Helper()
	b := &mouldwrightv1.Brief{}
	if faults := wire.Decode(doc, b); len(faults) > 0 {
		t.Fatal(faults)
	}
	return b
}

func encoded(t *testing.T, m *mouldwrightv1.PreviewQuoteResponse) string {
	t.Helper()
	text, err := wire.Encode(m)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func overREST(t *testing.T, address string, doc []byte) string {
	t.Helper()
	body := append(append([]byte(`{"brief":`), doc...), '}')
	answer, err := http.Post("http://"+address+"/v1/quotes:preview", "application/json", bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func overGRPC(t *testing.T, conn *grpc.ClientConn, doc []byte) string {
	t.Helper()
	answer, err := mouldwrightv1.NewQuoteServiceClient(conn).PreviewQuote(t.Context(), &mouldwrightv1.PreviewQuoteRequest{Brief: decoded(t, doc)})
	if err != nil {
		t.Fatal(err)
	}
	return encoded(t, answer)
}

func TestTwoRunsAreByteIdentical(t *testing.T) {
	for _, file := range briefFiles(t) {
		first, second := run(t, nil, "quote", "--workings", file), run(t, nil, "quote", file, "--workings")
		if first.status != 0 || first.out != second.out || first.out == "" {
			t.Errorf("%s: status %d, %d and %d bytes", file, first.status, len(first.out), len(second.out))
		}
	}
}

func TestTheTrailCountsItsSpots(t *testing.T) {
	text := run(t, nil, "quote", "../../testdata/briefs/toadstool-trail.json").out
	for _, want := range []string{
		"pale spots in all: 134", "8 casts × 9 each = 72; 6 casts × 7 each = 42; 4 casts × 5 each = 20",
		"8 casts × 9 pale spots on each = 72 pale spots", "VAT 20 %", "CAUTIONS FOR THIS JOB", "ASSUMED", "LEFT OUT", "weighs about", "pulls from each mould: 8",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the quote does not say %q", want)
		}
	}
}

// The client's copy has no cost, no hours of a skill and no margin.
func TestTheClientsCopyKeepsTheStudiosOwn(t *testing.T) {
	for _, file := range briefFiles(t) {
		whole, copied := run(t, nil, "quote", file), run(t, nil, "quote", "--client", file)
		if copied.status != 0 || !strings.HasPrefix(whole.out, copied.out) {
			t.Errorf("%s: the client's copy is not the beginning of the studio's", file)
		}
		for _, secret := range []string{"% margin", "overhead at", "Hours by skill", "% contingency"} {
			if strings.Contains(copied.out, secret) {
				t.Errorf("%s: the client's copy says %q", file, secret)
			}
		}
	}
}

func TestABriefWithFaultsIsToldAllOfThem(t *testing.T) {
	file := filepath.Join(t.TempDir(), "brief.json")
	doc := `{"title":"x","piecs":[],"pieces":[{"code":"a","name":"A","quantity":0,"finish":"glos","form":{"solids":[{"sphere":{"diameterMm":-1}}]}}]}`
	if err := os.WriteFile(file, []byte(doc), 0o600); err != nil {
		t.Fatal(err)
	}
	got := run(t, nil, "quote", file)
	if got.status != 1 || got.out != "" {
		t.Fatalf("status %d, out %q", got.status, got.out)
	}
	for _, want := range []string{"piecs: ", `did you mean "pieces"`, "pieces[0].quantity: missing, or 0", `pieces[0].finish: got "glos"`, "pieces[0].form.solids[0].sphere.diameterMm: got -1"} {
		if !strings.Contains(got.errors, want) {
			t.Errorf("not told %q in:\n%s", want, got.errors)
		}
	}
}

func TestCallsThatAreWrong(t *testing.T) {
	for name, row := range map[string]struct {
		args   []string
		env    map[string]string
		status int
		says   string
	}{
		"nothing":             {nil, nil, 2, "no command given"},
		"an unknown command":  {[]string{"price"}, nil, 2, `no command "price"`},
		"no file":             {[]string{"quote"}, nil, 2, "one file, got 0"},
		"two files":           {[]string{"quote", "a", "b"}, nil, 2, "one file, got 2"},
		"an unknown flag":     {[]string{"quote", "--colour", "a"}, nil, 2, "-colour"},
		"a missing file":      {[]string{"quote", "no-such.json"}, nil, 1, "no-such.json"},
		"a missing rate book": {[]string{"quote", "x", "--rate-book", "no-such.json"}, nil, 1, "no-such.json"},
		"by environment":      {[]string{"quote", "x"}, map[string]string{"MOULDWRIGHT_RATE_BOOK": "no-such.json"}, 1, "no-such.json"},
		"a bad environment":   {[]string{"quote", "x"}, map[string]string{"MOULDWRIGHT_JSON": "perhaps"}, 2, "MOULDWRIGHT_JSON"},
		"client's workings":   {[]string{"quote", "../../testdata/briefs/gate-snails.json", "--client", "--workings"}, nil, 2, "one of the two"},
		"ratebook alone":      {[]string{"ratebook"}, nil, 2, "check FILE, or export"},
	} {
		t.Run(name, func(t *testing.T) {
			got := run(t, row.env, row.args...)
			if got.status != row.status || !strings.Contains(got.errors, row.says) {
				t.Errorf("status %d, want %d; said:\n%s", got.status, row.status, got.errors)
			}
		})
	}
}

func TestHelpTeaches(t *testing.T) {
	for _, args := range [][]string{{"help"}, {"--help"}, {"quote", "--help"}, {"serve", "-h"}, {"ratebook", "--help"}, {"key", "--help"}, {"recompute", "--help"}, {"backup", "--help"}, {"restore", "--help"}, {"migrate", "--help"}} {
		got := run(t, nil, args...)
		if got.status != 0 || !strings.Contains(got.out, "Usage:") || got.errors != "" {
			t.Errorf("%v: status %d, out %q, errors %q", args, got.status, got.out, got.errors)
		}
	}
}

func TestTheDemoRateBookGoesOutAndComesBack(t *testing.T) {
	exported := run(t, nil, "ratebook", "export")
	file := filepath.Join(t.TempDir(), "book.json")
	if err := os.WriteFile(file, []byte(exported.out), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := run(t, nil, "ratebook", "check", file); got.status != 0 || !strings.Contains(got.out, "no faults") {
		t.Errorf("status %d: %s%s", got.status, got.out, got.errors)
	}
	broken := strings.Replace(exported.out, `"wastagePercent": 5`, `"wastagePercent": 105`, 1)
	if err := os.WriteFile(file, []byte(broken), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := run(t, nil, "ratebook", "check", file); got.status != 1 || !strings.Contains(got.errors, "wastagePercent: got 105") {
		t.Errorf("status %d: %s%s", got.status, got.out, got.errors)
	}
}

func TestTheServiceStopsWhenAsked(t *testing.T) {
	s, errs := serve(t, "--drain", "2s")
	if answer, err := http.Get("http://" + s.address + "/readyz"); err != nil || answer.StatusCode != http.StatusOK {
		t.Fatalf("not ready: %v", err)
	} else {
		_ = answer.Body.Close()
	}
	if status := s.stop(); status != 0 {
		t.Errorf("status %d; log:\n%s", status, errs)
	}
	if !strings.Contains(errs.String(), `"msg":"stopped"`) {
		t.Errorf("the log does not say that it stopped:\n%s", errs)
	}
}
