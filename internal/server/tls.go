package server

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"strings"
	"sync"
	"time"
)

// Certificate is a server's certificate and its key, of two files in PEM. They are read
// again when they change, so that a certificate is renewed without a new start. It may be
// used by several connections at once.
type Certificate struct {
	files [2]string // the certificate with its chain, and the key
	log   *slog.Logger

	mu   sync.Mutex
	pair *tls.Certificate
	seen [2]edition // of the files, when they were last looked at
}

// edition tells one writing of a file from another.
type edition struct {
	at   time.Time
	size int64
}

// ReadCertificate reads the two files. What is wrong with them later is told to the log, and
// the pair that was read before stays in use.
func ReadCertificate(certificate, key string, log *slog.Logger) (*Certificate, error) {
	c := &Certificate{files: [2]string{certificate, key}, log: log}
	seen, err := c.look()
	if err != nil {
		return nil, err
	}
	return c, c.read(seen)
}

func (c *Certificate) look() (seen [2]edition, err error) {
	for i, name := range c.files {
		info, err := os.Stat(name)
		if err != nil {
			return seen, err
		}
		seen[i] = edition{info.ModTime(), info.Size()}
	}
	return seen, nil
}

func (c *Certificate) read(seen [2]edition) error {
	c.seen = seen
	pair, err := tls.LoadX509KeyPair(c.files[0], c.files[1])
	if err == nil {
		c.pair = &pair
	}
	return err
}

// current is the pair for a connection. While files are being replaced one may be missing, or
// not fit the other: once they do, they have changed again.
func (c *Certificate) current(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	seen, err := c.look()
	if err != nil || seen == c.seen {
		return c.pair, nil
	}
	if err := c.read(seen); err != nil {
		c.log.Warn("the certificate has changed and cannot be used; the one before stays in use", "cause", err)
	} else {
		c.log.Info("the certificate was read again")
	}
	return c.pair, nil
}

// Secure returns l with TLS of at least version 1.2, for Serve.
//
// Both doors stand behind the one port, and what the client and the server agree on by ALPN
// (RFC 7301) says which the client is at. HTTP/1.1 comes first: who offers it, as browsers and
// most programs do beside HTTP/2, is at the REST door, which speaks nothing else. Callers by
// gRPC offer HTTP/2 only.
func (c *Certificate) Secure(l net.Listener) net.Listener {
	const patience = 5 * time.Second
	return &secured{Listener: l, log: c.log, patience: patience, failed: &seldom{now: time.Now}, config: &tls.Config{
		MinVersion: tls.VersionTLS12, GetCertificate: c.current, NextProtos: []string{"http/1.1", "h2"},
	}}
}

// secured is a listener with TLS.
type secured struct {
	net.Listener
	config   *tls.Config
	patience time.Duration // with a handshake
	log      *slog.Logger
	failed   *seldom // of lines about handshakes
}

// Accept returns the next connection. Its handshake is made by whoever reads from it first, so
// that one who is slow keeps nobody else waiting.
func (s *secured) Accept() (net.Conn, error) {
	conn, err := s.Listener.Accept()
	if err != nil {
		return nil, err
	}
	own := &greeted{Conn: tls.Server(conn, s.config)}
	own.greet = sync.OnceValue(func() error { return s.greet(own.Conn) })
	return own, nil
}

// greeted is a connection that begins with a handshake.
type greeted struct {
	*tls.Conn
	greet func() error
}

// Read makes the handshake before the first byte.
func (c *greeted) Read(p []byte) (int, error) {
	if err := c.greet(); err != nil {
		return 0, err
	}
	return c.Conn.Read(p)
}

// greet makes the handshake, and tells the log of one that failed: to find out why, a client's
// word is rarely enough.
func (s *secured) greet(conn *tls.Conn) error {
	ctx, cancel := context.WithTimeout(context.Background(), s.patience)
	defer cancel()
	err := conn.HandshakeContext(ctx)
	if err == nil || errors.Is(err, io.EOF) || errors.Is(err, net.ErrClosed) {
		return err // nobody to speak of
	}
	if left, ok := s.failed.may(); ok {
		s.log.Info("no handshake", "peer", conn.RemoteAddr().String(), "cause", err, "left_out", left)
	}
	var plain tls.RecordHeaderError
	if errors.As(err, &plain) && plain.Conn != nil && looksLikeHTTP(plain.RecordHeader) {
		_, _ = io.WriteString(plain.Conn, wantsTLS) // as much as one who does not speak TLS can be told
	}
	return err
}

const wantsTLS = "HTTP/1.0 400 Bad Request\r\nContent-Type: text/plain\r\nConnection: close\r\n\r\nthis port speaks TLS; allowed: https\n"

// looksLikeHTTP reports whether somebody began with an HTTP/1.1 request where a record of TLS
// was awaited.
func looksLikeHTTP(first [5]byte) bool {
	for _, method := range []string{"GET /", "HEAD ", "POST ", "PUT /", "PATCH", "OPTIO", "DELET"} {
		if strings.HasPrefix(method, string(first[:])) {
			return true
		}
	}
	return false
}
