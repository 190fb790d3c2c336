package server

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// issued is a certificate that vouches for itself, in two files, and who trusts it.
type issued struct {
	certificate, key string
	roots            *x509.CertPool
}

// issue writes a certificate for this machine, with a serial number to know it by.
func issue(t *testing.T, folder string, serial int64) issued {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	now := time.Now()
	of := &x509.Certificate{
		SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "quotes.example"}, DNSNames: []string{"localhost"},
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, NotBefore: now.Add(-time.Hour), NotAfter: now.Add(24 * time.Hour),
		BasicConstraintsValid: true, IsCA: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	signed, err := x509.CreateCertificate(rand.Reader, of, of, &key.PublicKey, key)
	require.NoError(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	own := issued{filepath.Join(folder, "certificate.pem"), filepath.Join(folder, "key.pem"), x509.NewCertPool()}
	require.NoError(t, os.WriteFile(own.certificate, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: signed}), 0o600))
	require.NoError(t, os.WriteFile(own.key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}), 0o600))
	require.True(t, own.roots.AppendCertsFromPEM(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: signed})))
	// Files that were written one soon after the other may be of one moment.
	at := now.Add(time.Duration(serial) * time.Second)
	require.NoError(t, os.Chtimes(own.certificate, at, at))
	return own
}

// startTLS serves with a certificate, and returns where.
func startTLS(t *testing.T, own issued) (string, *logbook) {
	t.Helper()
	book := &logbook{}
	log := slog.New(slog.NewJSONHandler(book, nil))
	certificate, err := ReadCertificate(own.certificate, own.key, log)
	require.NoError(t, err)
	s, err := New(Config{Store: demoStore(t, rulesOf(t)), Keyless: true, Logger: log, Timeout: patient})
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, certificate.Secure(l)) }()
	t.Cleanup(func() { cancel(); require.NoError(t, <-ended) })
	return l.Addr().String(), book
}

// callTLS calls by gRPC, whose clients offer h2 alone (grpc-go's credentials insist on its choice).
func callTLS(t *testing.T, address string, own issued) error {
	t.Helper()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{RootCAs: own.roots, MinVersion: tls.VersionTLS12})))
	require.NoError(t, err)
	defer func() { _ = conn.Close() }()
	_, err = mouldwrightv1.NewRateBookServiceClient(conn).GetRateBook(t.Context(), &mouldwrightv1.GetRateBookRequest{Name: "rateBooks/current"})
	return err
}

func TestBothDoorsBehindTLS(t *testing.T) {
	own := issue(t, t.TempDir(), 1)
	address, _ := startTLS(t, own)
	require.NoError(t, callTLS(t, address, own))
	for force, protocol := range map[bool]string{true: "http/1.1", false: ""} { // of ALPN; without force this client offers nothing
		web := &http.Client{Transport: &http.Transport{ForceAttemptHTTP2: force, TLSClientConfig: &tls.Config{RootCAs: own.roots, MinVersion: tls.VersionTLS12}}}
		reply, err := web.Get("https://" + address + "/v1/rateBooks/current")
		require.NoError(t, err)
		got := whole(t, reply)
		web.CloseIdleConnections()
		assert.Equal(t, http.StatusOK, got.status)
		assert.Equal(t, 1, reply.ProtoMajor)
		assert.Equal(t, protocol, reply.TLS.NegotiatedProtocol)
	}
}

// What is offered and what is chosen: RFC 7301, section 3.2.
func TestTheProtocolIsAgreedOn(t *testing.T) {
	own := issue(t, t.TempDir(), 1)
	address, _ := startTLS(t, own)
	for _, row := range []struct {
		offered []string
		chosen  string
	}{
		{[]string{"h2", "http/1.1"}, "http/1.1"}, // as curl and browsers do
		{[]string{"http/1.1"}, "http/1.1"},
		{[]string{"http/1.1", "h2"}, "http/1.1"},
		{nil, ""},
		{[]string{"h2"}, "h2"}, // as callers by gRPC do
	} {
		conn, err := tls.Dial("tcp", address, &tls.Config{RootCAs: own.roots, NextProtos: row.offered, MinVersion: tls.VersionTLS12})
		require.NoError(t, err, row.offered)
		assert.Equal(t, row.chosen, conn.ConnectionState().NegotiatedProtocol, row.offered)
		if row.chosen != "h2" {
			assert.Equal(t, http.StatusOK, askHealth(t, conn), row.offered)
		}
		require.NoError(t, conn.Close())
	}
	_, err := tls.Dial("tcp", address, &tls.Config{RootCAs: own.roots, NextProtos: []string{"spdy/3"}, MinVersion: tls.VersionTLS12})
	assert.ErrorContains(t, err, "no application protocol") // the alert no_application_protocol
}

// askHealth asks as a program without a library would.
func askHealth(t *testing.T, conn net.Conn) int {
	t.Helper()
	_, err := fmt.Fprintf(conn, "GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
	require.NoError(t, err)
	reply, err := http.ReadResponse(bufio.NewReader(conn), nil)
	require.NoError(t, err)
	return whole(t, reply).status
}

// TLS 1.0 and 1.1 must not be used (RFC 8996, sections 4 and 5).
func TestOldTLSIsRefused(t *testing.T) {
	own := issue(t, t.TempDir(), 1)
	address, book := startTLS(t, own)
	for _, version := range []uint16{tls.VersionTLS10, tls.VersionTLS11} {
		_, err := tls.Dial("tcp", address, &tls.Config{RootCAs: own.roots, MinVersion: tls.VersionTLS10, MaxVersion: version}) //nolint:gosec // what is refused
		assert.ErrorContains(t, err, "protocol version")
	}
	for _, version := range []uint16{tls.VersionTLS12, tls.VersionTLS13} {
		conn, err := tls.Dial("tcp", address, &tls.Config{RootCAs: own.roots, MinVersion: version, MaxVersion: version})
		require.NoError(t, err)
		require.NoError(t, conn.Close())
	}
	lines := book.lines(t, "no handshake")
	assert.NotEmpty(t, lines)
	assert.LessOrEqual(t, len(lines), 2, "at most one a second")
}

// Who speaks no TLS is told so, and gets nothing else.
func TestPlainTextAtATLSPort(t *testing.T) {
	own := issue(t, t.TempDir(), 1)
	address, _ := startTLS(t, own)
	reply, err := http.Get("http://" + address + "/v1/rateBooks/current")
	require.NoError(t, err)
	got := whole(t, reply)
	assert.Equal(t, http.StatusBadRequest, got.status)
	assert.Contains(t, string(got.body), "https")
	conn := dial(t, address)
	_, err = conn.Write([]byte("PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n")) // gRPC without TLS
	require.NoError(t, err)
	rest, _ := io.ReadAll(conn)
	assert.NotContains(t, string(rest), "HTTP")
}

// A certificate that is renewed is used from then on; one that cannot be used is not.
func TestARenewedCertificate(t *testing.T) {
	folder := t.TempDir()
	own := issue(t, folder, 1)
	address, book := startTLS(t, own)
	serial := func(trusted issued) int64 {
		conn, err := tls.Dial("tcp", address, &tls.Config{RootCAs: trusted.roots, MinVersion: tls.VersionTLS12})
		require.NoError(t, err)
		defer func() { _ = conn.Close() }()
		return conn.ConnectionState().PeerCertificates[0].SerialNumber.Int64()
	}
	assert.EqualValues(t, 1, serial(own))
	renewed := issue(t, folder, 2)
	assert.EqualValues(t, 2, serial(renewed))
	require.NoError(t, os.WriteFile(own.key, []byte("half a ke"), 0o600))
	assert.EqualValues(t, 2, serial(renewed))
	assert.EqualValues(t, 2, serial(renewed))
	assert.Len(t, book.lines(t, "cannot be used"), 1) // told once
	require.NoError(t, os.Remove(own.key))
	assert.EqualValues(t, 2, serial(renewed))
	assert.EqualValues(t, 3, serial(issue(t, folder, 3)))
}

func TestACertificateThatCannotBeUsed(t *testing.T) {
	folder, other := t.TempDir(), t.TempDir()
	own, others := issue(t, folder, 1), issue(t, other, 2)
	for _, files := range [][2]string{
		{filepath.Join(folder, "none.pem"), own.key}, {own.certificate, filepath.Join(folder, "none.pem")}, {own.key, own.certificate}, {own.certificate, others.key},
	} {
		_, err := ReadCertificate(files[0], files[1], slog.New(slog.DiscardHandler))
		assert.Error(t, err, files)
	}
}

// Who begins a handshake and does not go on is dropped, and keeps nobody else waiting.
func TestAHandshakeThatDoesNotEnd(t *testing.T) {
	own := issue(t, t.TempDir(), 1)
	certificate, err := ReadCertificate(own.certificate, own.key, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	root, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	l := certificate.Secure(root).(*secured)
	l.patience = 50 * time.Millisecond
	defer func() { _ = l.Close() }()
	slow := dial(t, root.Addr().String())
	_, err = slow.Write([]byte{22, 3, 1, 0, 200, 1}) // the beginning of a ClientHello (RFC 8446, section 5.1)
	require.NoError(t, err)
	conn, err := l.Accept()
	require.NoError(t, err)
	_, err = conn.Read(make([]byte, 1))
	assert.ErrorIs(t, err, context.DeadlineExceeded)
	_, err = io.ReadAll(slow)
	assert.NoError(t, err) // it was closed
}
