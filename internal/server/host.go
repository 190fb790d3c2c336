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

// reasonOrigin is the reason of an error, as callers may rely on it: see those in errors.go.
const reasonOrigin = "ORIGIN_FOREIGN"

// hostCheck is how a service looks at where its requests are led to and from. Where keys are asked for
// any will do: such a page has none to send, and gets what anyone gets without one. A
// browser sends of its own accord only what a site left with it, and that is no key.
func hostCheck(c Config) func(*http.Request) error {
	if !c.Keyless {
		return func(*http.Request) error { return nil }
	}
	pages := http.NewCrossOriginProtection()
	return func(r *http.Request) error {
		if err := hosts(c.Hosts).check(r); err != nil {
			return err
		}
		return ofOnePage(pages, r)
	}
}

// ofOnePage refuses what a browser sends for a page of another site, which could write here
// although it may not read what is answered. A browser says so by Sec-Fetch-Site (W3C, Fetch
// Metadata Request Headers), or by an Origin that is not this Host (RFC 6454, section 7);
// whoever sends neither is no browser.
func ofOnePage(pages *http.CrossOriginProtection, r *http.Request) error {
	err := pages.Check(r)
	if err == nil {
		return nil
	}
	return &problem{
		code: codes.PermissionDenied, reason: reasonOrigin, cause: err,
		message: fmt.Sprintf("got origin %q, allowed: requests of programs, and of pages of this service itself", clip(r.Header.Get("Origin"))),
	}
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
