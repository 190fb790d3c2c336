package server

import (
	"errors"
	"net"
	"sync"
	"syscall"
	"time"
)

// split is one port for two protocols. It reads the first bytes of each
// connection: those of HTTP/2's preface belong to gRPC, any others to HTTP/1.1.
// A caller who connects and says nothing holds a place only for a while, and
// there are only so many places.
type split struct {
	root     net.Listener
	grpc     *branch
	http     *branch
	patience time.Duration
	places   chan struct{}
	readers  sync.WaitGroup

	mu     sync.Mutex
	silent map[net.Conn]struct{} // connections that have not said enough yet; nil once closed
}

func newSplit(root net.Listener, patience time.Duration, places int) *split {
	return &split{
		root: root, patience: patience, places: make(chan struct{}, places), silent: map[net.Conn]struct{}{},
		grpc: newBranch(root.Addr()), http: newBranch(root.Addr()),
	}
}

// run takes connections until the split is closed, and returns when none is
// being read any more.
func (s *split) run() error {
	defer s.readers.Wait()
	for {
		s.places <- struct{}{}
		conn, err := s.accept()
		if err != nil {
			<-s.places
			if errors.Is(err, net.ErrClosed) {
				return nil
			}
			return err
		}
		s.readers.Go(func() {
			defer func() { <-s.places }()
			s.sort(conn)
		})
	}
}

// accept rides out what passes: too many open files, a caller who left at once.
func (s *split) accept() (net.Conn, error) {
	const pause = 20 * time.Millisecond
	for {
		conn, err := s.root.Accept()
		if err == nil || !passing(err) {
			return conn, err
		}
		time.Sleep(pause)
	}
}

func passing(err error) bool {
	for _, e := range []error{syscall.EMFILE, syscall.ENFILE, syscall.ECONNABORTED, syscall.ECONNRESET, syscall.ENOBUFS, syscall.ENOMEM, syscall.EINTR} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// sort gives a connection to the branch that its first bytes name.
func (s *split) sort(conn net.Conn) {
	if !s.hold(conn) {
		return
	}
	first, isGRPC, err := s.first(conn)
	s.release(conn)
	if err != nil {
		_ = conn.Close() // nobody is told: there is nobody there
		return
	}
	to := s.http
	if isGRPC {
		to = s.grpc
	}
	to.give(&begun{Conn: conn, first: first})
}

// preface is how every HTTP/2 connection begins (RFC 9113, section 3.4). No
// method of HTTP/1.1 begins so.
const preface = "PRI"

func (s *split) first(conn net.Conn) (first []byte, isGRPC bool, err error) {
	if err := conn.SetReadDeadline(time.Now().Add(s.patience)); err != nil {
		return nil, false, err
	}
	buf := make([]byte, len(preface))
	for n := 0; n < len(preface); {
		read, err := conn.Read(buf[n:])
		n += read
		if string(buf[:n]) != preface[:n] {
			return buf[:n], false, conn.SetReadDeadline(time.Time{})
		}
		if err != nil {
			return nil, false, err
		}
	}
	return buf, true, conn.SetReadDeadline(time.Time{})
}

func (s *split) hold(conn net.Conn) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.silent == nil {
		_ = conn.Close()
		return false
	}
	s.silent[conn] = struct{}{}
	return true
}

func (s *split) release(conn net.Conn) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.silent, conn)
}

// close stops taking connections and drops those that have not said enough.
// Connections given to a branch live on.
func (s *split) close() error {
	err := s.root.Close()
	s.mu.Lock()
	for conn := range s.silent {
		_ = conn.Close()
	}
	s.silent = nil
	s.mu.Unlock()
	return errors.Join(err, s.grpc.Close(), s.http.Close())
}

// branch is the listener of one protocol.
type branch struct {
	addr  net.Addr
	conns chan net.Conn
	done  chan struct{}
	once  sync.Once
}

func newBranch(addr net.Addr) *branch {
	return &branch{addr: addr, conns: make(chan net.Conn), done: make(chan struct{})}
}

func (b *branch) give(conn net.Conn) {
	select {
	case b.conns <- conn:
	case <-b.done:
		_ = conn.Close()
	}
}

// Accept waits for the next connection of the branch's protocol.
func (b *branch) Accept() (net.Conn, error) {
	select {
	case conn := <-b.conns:
		return conn, nil
	case <-b.done:
		return nil, net.ErrClosed
	}
}

// Close ends Accept. The port itself is the split's to close.
func (b *branch) Close() error {
	b.once.Do(func() { close(b.done) })
	return nil
}

// Addr is the address of the port.
func (b *branch) Addr() net.Addr { return b.addr }

// begun is a connection whose first bytes were read already.
type begun struct {
	net.Conn
	first []byte
}

// Read gives the first bytes again.
func (c *begun) Read(p []byte) (int, error) {
	if len(c.first) == 0 {
		return c.Conn.Read(p)
	}
	n := copy(p, c.first)
	c.first = c.first[n:]
	return n, nil
}
