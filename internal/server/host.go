package server

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"
)

// hosts are the names, besides this machine's own, that callers may know a keyless
// service by.
//
// It asks for no key: whoever can connect may ask. A web page may have its own name
// lead to this machine, and a browser then lets the page read every answer, margins
// and all (DNS rebinding). The Host that such a browser sends is the page's name, and
// that gives it away.
type hosts []string

// hostCheck is how a service looks at the Host of its requests. Where keys are asked for
// any will do: such a page has none to send, and gets what anyone gets without one. A
// browser sends of its own accord only what a site left with it, and that is no key.
func hostCheck(c Config) func(*http.Request) error {
	if !c.Keyless {
		return func(*http.Request) error { return nil }
	}
	return hosts(c.Hosts).check
}

// check refuses a request whose Host is none of these, no loopback address and
// not localhost; whatever its port. A request without a Host is let in: HTTP/1.0
// needs none, and no browser leaves it out.
func (h hosts) check(r *http.Request) error {
	name := hostName(r.Host)
	if name == "" || name == "localhost" || isLoopback(name) || slices.ContainsFunc(h, func(own string) bool { return hostName(own) == name }) {
		return nil
	}
	return &problem{
		code: codes.PermissionDenied, http: http.StatusMisdirectedRequest, reason: reasonHost,
		message: fmt.Sprintf("got host %q, allowed: localhost and the addresses of this machine's loopback", clip(r.Host)),
	}
}

// hostName is a Host without its port, in small letters; names are alike in
// capitals and with the root's dot (RFC 9110, section 4.2.3; RFC 1034, section 3.1).
func hostName(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	return strings.TrimSuffix(strings.ToLower(host), ".")
}

func isLoopback(name string) bool {
	address, err := netip.ParseAddr(name)
	return err == nil && address.Unmap().IsLoopback()
}
