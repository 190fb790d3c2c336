package server

import (
	"log/slog"
	"net"
	"sync"
)

// connectionsEach bounds how many connections one address may have at once, at both doors
// together. Proxies that are known may have any number.
const connectionsEach = 512

// turnstile is a listener that lets no address have more than so many connections.
type turnstile struct {
	net.Listener
	most    int
	proxies proxies
	log     *slog.Logger
	full    *seldom // of lines about who was turned away

	mu sync.Mutex
	of map[string]int // by what calls from an address are counted under
}

func newTurnstile(l net.Listener, c Config) *turnstile {
	return &turnstile{Listener: l, most: connectionsEach, proxies: c.Proxies, log: c.Logger, full: &seldom{now: c.Now}, of: map[string]int{}}
}

// Accept returns the next connection of an address that may have another.
func (t *turnstile) Accept() (net.Conn, error) {
	for {
		conn, err := t.Listener.Accept()
		if err != nil {
			return nil, err
		}
		peer := conn.RemoteAddr().String()
		if address, ok := addressIn(peer); !ok || t.proxies.holds(address) {
			return conn, nil // of no address: not from a network
		}
		who := addressOf(peer)
		if t.enter(who) {
			return &admitted{Conn: conn, leave: sync.OnceFunc(func() { t.leave(who) })}, nil
		}
		_ = conn.Close() // who comes so often is told nothing
		if left, ok := t.full.may(); ok {
			t.log.Warn("a connection too many", "peer", peer, "allowed", t.most, "left_out", left)
		}
	}
}

func (t *turnstile) enter(who string) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.of[who] >= t.most {
		return false
	}
	t.of[who]++
	return true
}

func (t *turnstile) leave(who string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.of[who]--; t.of[who] == 0 {
		delete(t.of, who)
	}
}

// admitted is a connection that counts until it is closed.
type admitted struct {
	net.Conn
	leave func()
}

// Close ends the connection, and its count.
func (p *admitted) Close() error {
	p.leave()
	return p.Conn.Close()
}
