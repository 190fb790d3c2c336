package server

import (
	"bufio"
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
)

// Loopback addresses: RFC 1122, section 3.2.1.3 (127.0.0.0/8), and RFC 4291, section 2.5.3 (::1).
func TestHosts(t *testing.T) {
	own := hosts{"Quotes.Example", "studio.example:8080"}
	for host, allowed := range map[string]bool{
		"":          true, // HTTP/1.0; no browser
		"localhost": true, "localhost:8080": true, "LOCALHOST:1": true, "localhost.": true,
		"127.0.0.1": true, "127.0.0.1:8080": true, "127.9.9.9": true, "[::1]": true, "[::1]:8080": true, "[::ffff:127.0.0.1]:80": true,
		"quotes.example": true, "quotes.example:443": true, "studio.example": true,

		"evil.example": false, "evil.example:8080": false, "localhost.evil.example": false, "127.0.0.1.evil.example": false,
		"evil-localhost": false, "10.0.0.1": false, "0.0.0.0:8080": false, "[::]:8080": false, "[fe80::1]": false, "2130706433": false,
		"localhost:80:80": false, "a.quotes.example": false, " ": false,
	} {
		r := &http.Request{Host: host}
		if err := own.check(r); (err == nil) != allowed {
			t.Errorf("%q: got %v, want allowed %v", host, err, allowed)
		}
	}
}

// A page whose name was made to lead here reads nothing, whatever it asks for.
func TestAStrangersHostIsMisdirected(t *testing.T) {
	s := start(t, Config{})
	for _, path := range []string{"/v1/rateBooks/current", "/openapi.json", "/", "/healthz", "/nothing"} {
		got := asHost(t, s, path, "HTTP/1.1", "evil.example:8080")
		require.Equal(t, http.StatusMisdirectedRequest, got.status, path)
		r := got.refusal(t)
		assert.Equal(t, codes.PermissionDenied, r.Code())
		assert.Equal(t, reasonHost, r.info.GetReason())
		assert.Contains(t, r.Message(), `"evil.example:8080"`)
		assert.Equal(t, "application/json", got.header.Get("Content-Type"))
		assert.Equal(t, got.header.Get("X-Request-Id"), r.info.GetMetadata()["requestId"])
	}
	assert.Len(t, s.log.lines(t, reasonHost), 5)
	assert.Equal(t, http.StatusOK, asHost(t, s, "/v1/rateBooks/current", "HTTP/1.1", "localhost").status)
	assert.Equal(t, http.StatusOK, asHost(t, s, "/healthz", "HTTP/1.0", "").status)
}

func TestFurtherHosts(t *testing.T) {
	s := start(t, Config{Hosts: []string{"quotes.example"}})
	assert.Equal(t, http.StatusOK, asHost(t, s, "/healthz", "HTTP/1.1", "quotes.example:8080").status)
	assert.Equal(t, http.StatusMisdirectedRequest, asHost(t, s, "/healthz", "HTTP/1.1", "evil.example").status)
}

// With keys a page that leads here gets no more than anyone without a key.
func TestAnyHostWhereKeysAreAskedFor(t *testing.T) {
	s := start(t, Config{Store: demoStore(t, rulesOf(t))})
	assert.Equal(t, http.StatusOK, asHost(t, s, "/healthz", "HTTP/1.1", "evil.example:8080").status)
	assert.Equal(t, http.StatusUnauthorized, asHost(t, s, "/v1/quotes", "HTTP/1.1", "evil.example:8080").status)
}

// asHost asks with a Host of any kind, or with none.
func asHost(t *testing.T, s *running, path, version, host string) answerOf {
	t.Helper()
	conn := dial(t, s.address)
	header := ""
	if host != "" {
		header = "Host: " + host + "\r\n"
	}
	_, err := fmt.Fprintf(conn, "GET %s %s\r\n%sConnection: close\r\n\r\n", path, version, header)
	require.NoError(t, err)
	reply, err := http.ReadResponse(bufio.NewReader(conn), nil)
	require.NoError(t, err)
	return whole(t, reply)
}
