package main

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
)

func TestServeRefuses(t *testing.T) {
	folder := t.TempDir()
	none := filepath.Join(folder, "none")
	for name, row := range map[string]struct {
		args   []string
		status int
		says   []string
	}{
		"words":              {[]string{"now"}, 2, []string{"flags only"}},
		"the world":          {[]string{"--listen", "0.0.0.0:0"}, 1, []string{"TLS", "--tls-certificate", "--plaintext-beyond-this-machine", "unencrypted", "loopback"}},
		"a name":             {[]string{"--listen", "studio.example:80"}, 1, []string{"beyond this machine", "TLS"}},
		"no keys":            {[]string{"--listen", ":0", "--without-keys", "--plaintext-beyond-this-machine"}, 1, []string{"leave out --without-keys"}},
		"neither":            {[]string{"--listen", "[::]:0", "--without-keys"}, 1, []string{"leave out --without-keys", " and TLS"}},
		"no port":            {[]string{"--listen", "80"}, 1, []string{"--listen", "port"}},
		"half of a pair":     {[]string{"--tls-key", none}, 2, []string{"give both or neither"}},
		"TLS and none":       {[]string{"--tls-key", none, "--tls-certificate", none, "--plaintext-beyond-this-machine"}, 2, []string{"no TLS"}},
		"no certificate":     {[]string{"--tls-key", none, "--tls-certificate", none}, 1, []string{"--tls-certificate", none}},
		"no such zone":       {[]string{"--time-zone", "Mars/Olympus"}, 1, []string{`"Mars/Olympus"`, "Europe/London"}},
		"the machine's zone": {[]string{"--time-zone", "Local"}, 1, []string{`"Local"`}},
		"no network":         {[]string{"--proxy", "10.0.0.0/8,10.0.0.0/33"}, 2, []string{"-proxy", "10.1.0.0/16"}},
		"no host":            {[]string{"--host", "https://quotes.example"}, 2, []string{"-host", "quotes.example"}},
		"never":              {[]string{"--calls-per-minute", "0"}, 2, []string{"--calls-per-minute: got 0"}},
		"less than never":    {[]string{"--address-calls-per-minute", "-1"}, 2, []string{"--address-calls-per-minute: got -1"}},
		"another's database": {[]string{"--store", "mysql://studio:hush@db/quotes"}, 1, []string{"mysql://", "postgres://"}},
		"no store":           {[]string{"--store", ""}, 1, []string{"--store: got nothing"}},
		"a folder":           {[]string{"--store", folder}, 1, []string{folder}},
		"no rate book":       {[]string{"--store", filepath.Join(folder, "studio.db"), "--rate-book", none}, 1, []string{none}},
		"settings of a URL":  {[]string{"--store", "postgres://studio:hush@db/quotes?sslmode=bogus&sslpassword=hush"}, 1, []string{"sslmode"}},
		"a broken URL":       {[]string{"--store", "postgres://studio:hush%zz@db/quotes"}, 1, []string{"cannot parse"}},
	} {
		t.Run(name, func(t *testing.T) {
			got := run(t, nil, append([]string{"serve"}, row.args...)...)
			if got.status != row.status || strings.Contains(got.errors, "hush") {
				t.Errorf("status %d, want %d; said:\n%s", got.status, row.status, got.errors)
			}
			for _, says := range row.says {
				if !strings.Contains(got.errors, says) {
					t.Errorf("not told %q in:\n%s", says, got.errors)
				}
			}
		})
	}
}

// Loopback addresses: RFC 1122, section 3.2.1.3 (127.0.0.0/8), and RFC 4291, section 2.5.3 (::1).
func TestWhoMayBeReached(t *testing.T) {
	for listen, beyond := range map[string]bool{
		"127.0.0.1:0": false, "127.9.9.9:1": false, "[::1]:0": false, "localhost:0": false,
		"0.0.0.0:0": true, "[::]:0": true, ":8080": true, "10.0.0.1:1": true, "[fe80::1%eth0]:1": true, "studio.example:1": true, "localhost.example:1": true,
	} {
		for _, o := range []serving{{}, {withoutKeys: true}, {plaintext: true}, {certificate: "c", key: "k"}, {withoutKeys: true, plaintext: true}, {withoutKeys: true, certificate: "c", key: "k"}} {
			o.listen = listen
			safe := !o.withoutKeys && (o.plaintext || o.certificate != "")
			if err := o.exposed(); (err != nil) != (beyond && !safe) {
				t.Errorf("%+v: %v", o, err)
			}
		}
	}
}

func TestPasswordsAreNotShown(t *testing.T) {
	for at, want := range map[string]string{
		"quotes.db":                            "quotes.db",
		"postgres://db/quotes":                 "postgres://db/quotes",
		"postgres://studio:hush@db/quotes":     "postgres://studio@db/quotes",
		"postgresql://studio:hush@a:1,b:2/q":   "postgresql://studio@a:1,b:2/q",
		"postgres://db/q?password=hush":        "postgres://db/q",
		"postgres://db/q?pass%77ord=hush&a=b":  "postgres://db/q?a=b",
		"postgres://db/q?sslpassword=hush":     "postgres://db/q",
		"postgres://studio:hu%zzsh@db/quotes":  "postgres://…",
		"postgres:///q?host=/run/pg&user=me":   "postgres:///q?host=%2Frun%2Fpg&user=me",
		"postgres://studio:hu%2Fsh@db:5432/q?": "postgres://studio@db:5432/q?",
	} {
		if got := shown(at); strings.TrimSuffix(got, "?") != strings.TrimSuffix(want, "?") {
			t.Errorf("%s is shown as %s", at, got)
		}
	}
}

// rateBookOf writes a rate book like the demo's, under another revision and of another content.
func rateBookOf(t *testing.T, revision, wastage string) string {
	t.Helper()
	doc := bytes.Replace(demo.Document(), []byte(`"wastagePercent": 5`), []byte(`"wastagePercent": `+wastage), 1)
	var book map[string]any
	if err := json.Unmarshal(doc, &book); err != nil {
		t.Fatal(err)
	}
	if revision != "" {
		book["revision"] = revision
	}
	doc, err := json.Marshal(book)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "book.json")
	if err := os.WriteFile(file, doc, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestTheRateBookInForce(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	started := func(args ...string) (revision string, warned bool) {
		s, errs := serve(t, append([]string{"--store", at}, args...)...)
		defer s.stop()
		return listening(t, errs)["rate_book"].(string), errs.line("the rate book of --rate-book") != nil
	}
	own := rateBookOf(t, "own-2027.1", "6")
	first, _ := started()
	for _, row := range []struct {
		args   []string
		want   string
		warned bool
	}{
		{nil, first, false},
		{[]string{"--rate-book", own}, "own-2027.1", false},
		{[]string{"--rate-book", own}, "own-2027.1", false},
		{nil, "own-2027.1", false},
		{[]string{"--rate-book", rateBookOf(t, first, "5")}, "own-2027.1", true}, // the demo's, written otherwise
	} {
		if got, warned := started(row.args...); got != row.want || warned != row.warned {
			t.Errorf("%v: %s is in force, want %s; warned: %v", row.args, got, row.want, warned)
		}
	}
	got := run(t, nil, "serve", "--listen", "127.0.0.1:0", "--without-keys", "--store", at, "--rate-book", rateBookOf(t, "own-2027.1", "7"))
	if got.status != 1 || !strings.Contains(got.errors, "another rate book as revision own-2027.1") || strings.Count(got.errors, "\n") != 1 {
		t.Errorf("another content under the same revision: status %d: %s", got.status, got.errors)
	}
}

// asked sends a request, with a key where one is given, and returns what came back.
func asked(t *testing.T, client *http.Client, verb, url, key string, body []byte) (int, []byte) {
	t.Helper()
	request, err := http.NewRequestWithContext(t.Context(), verb, url, bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Content-Type", "application/json")
	if key != "" {
		request.Header.Set("Authorization", "Bearer "+key)
	}
	answer, err := client.Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, text
}

// A service without keys starts all the same, and says how the first is made; the key opens at once.
func TestTheFirstKey(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	s, errs := serveKeyed(t, "--store", at)
	url := "http://" + s.address + "/v1/quotes"
	if status, _ := asked(t, http.DefaultClient, http.MethodGet, url, "", nil); status != http.StatusUnauthorized {
		t.Errorf("without a key: %d", status)
	}
	line := errs.line("there is no key yet")
	if line == nil || !strings.Contains(line["make_one_with"].(string), "mouldwright key create") {
		t.Errorf("not told how a key is made: %s", errs)
	}
	key := run(t, nil, "key", "create", "--store", at, "--scope", "admin", "--title", "Office")
	if status, text := asked(t, http.DefaultClient, http.MethodGet, url, strings.TrimSpace(key.out), nil); status != http.StatusOK {
		t.Errorf("with a key: %d %s", status, text)
	}
	s.stop()
	_, errs = serveKeyed(t, "--store", at)
	if errs.line("there is no key yet") != nil {
		t.Errorf("told of no keys where there is one: %s", errs)
	}
}

// pair writes a certificate for this machine and its key, and returns who trusts it.
func pair(t *testing.T) (certificate, key string, roots *x509.CertPool) {
	t.Helper()
	of := httptest.NewTLSServer(nil)
	defer of.Close()
	secret, err := x509.MarshalPKCS8PrivateKey(of.TLS.Certificates[0].PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	certificate, key = filepath.Join(folder, "certificate.pem"), filepath.Join(folder, "key.pem")
	for name, block := range map[string]*pem.Block{
		certificate: {Type: "CERTIFICATE", Bytes: of.Certificate().Raw},
		key:         {Type: "PRIVATE KEY", Bytes: secret},
	} {
		if err := os.WriteFile(name, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	roots = x509.NewCertPool()
	roots.AddCert(of.Certificate())
	return certificate, key, roots
}

// With keys and TLS the service may be reached from anywhere, at both doors.
func TestServingBeyondThisMachine(t *testing.T) {
	at := filepath.Join(t.TempDir(), "studio.db")
	key := strings.TrimSpace(run(t, nil, "key", "create", "--store", at, "--scope", "read", "--title", "Office").out)
	certificate, secret, roots := pair(t)
	s, errs := serveKeyed(t, "--listen", "0.0.0.0:0", "--store", at, "--tls-certificate", certificate, "--tls-key", secret)
	if line := listening(t, errs); line["tls"] != true || line["keys"] != true {
		t.Errorf("says of itself: %v", line)
	}
	_, port, err := net.SplitHostPort(s.address)
	if err != nil {
		t.Fatal(err)
	}
	trusting := &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}
	web := &http.Client{Transport: &http.Transport{TLSClientConfig: trusting, ForceAttemptHTTP2: true}}
	defer web.CloseIdleConnections()
	if status, text := asked(t, web, http.MethodGet, "https://127.0.0.1:"+port+"/v1/quotes", key, nil); status != http.StatusOK {
		t.Errorf("REST: %d %s", status, text)
	}
	conn, err := grpc.NewClient("127.0.0.1:"+port, grpc.WithTransportCredentials(credentials.NewTLS(trusting)), grpc.WithPerRPCCredentials(bearer(key)))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	if _, err := mouldwrightv1.NewQuoteServiceClient(conn).ListQuotes(t.Context(), &mouldwrightv1.ListQuotesRequest{}); err != nil {
		t.Errorf("gRPC: %v", err)
	}
}

// bearer sends a key with each call (RFC 6750, section 2.1).
type bearer string

// GetRequestMetadata returns the header.
func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(b)}, nil
}

// RequireTransportSecurity says that it is for TLS only.
func (bearer) RequireTransportSecurity() bool { return true }

// A quote's day is the studio's. These two zones are 25 hours apart, so that they are never
// of one day (IANA's time zone database: UTC+14 and UTC-11).
func TestTheStudiosDay(t *testing.T) {
	for _, name := range []string{"Pacific/Kiritimati", "Pacific/Pago_Pago"} {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		s, _ := serve(t, "--time-zone", name)
		before := time.Now().In(zone).Format(time.DateOnly)
		got := created(t, s, smallBrief).Brief.PreparedOn
		if after := time.Now().In(zone).Format(time.DateOnly); got < before || got > after {
			t.Errorf("%s: prepared on %s, want %s", name, got, before)
		}
		s.stop()
	}
}
