package server

import (
	"net/netip"
	"slices"
	"strings"
)

// forwardedKey is the name of the header in which proxies tell where a request came from.
// gRPC's metadata has the same name.
const forwardedKey = "x-forwarded-for"

// proxies are believed where a call came from; nobody else is. Whoever may write the header
// and be believed counts under any address that he likes, so what stands to the left of the
// first address that is no proxy's is not looked at (MDN, X-Forwarded-For, "Selecting an IP
// address": trusted proxy list; RFC 7239, section 8.1, says the same of its own header).
type proxies []netip.Prefix

// origin is where a call came from: the other end of its connection, or where that is a
// proxy's the last address of X-Forwarded-For that is not. Where the header has none, or
// something else before it from the right, nobody knows, and the call is the proxy's.
func (p proxies) origin(c *call) string {
	if peer, ok := addressIn(c.address); !ok || !p.holds(peer) {
		return c.address
	}
	hops := strings.Split(strings.Join(c.forwarded, ","), ",") // several headers are one list
	for _, hop := range slices.Backward(hops) {
		address, ok := addressIn(strings.Trim(hop, " \t"))
		switch {
		case !ok:
			return c.address
		case !p.holds(address):
			return address.String()
		}
	}
	return c.address
}

func (p proxies) holds(address netip.Addr) bool {
	return slices.ContainsFunc(p, func(one netip.Prefix) bool { return one.Contains(address) })
}

// addressIn reads an address with or without a port: some proxies write one (RFC 7239,
// section 5.2, allows it of its own header). An address of IPv4 within IPv6 is that of IPv4,
// and a zone, which means something on one machine only, is left out.
func addressIn(text string) (address netip.Addr, ok bool) {
	if with, err := netip.ParseAddrPort(text); err == nil {
		return with.Addr().Unmap().WithZone(""), true
	}
	if inner, ok := strings.CutPrefix(text, "["); ok {
		if inner, ok = strings.CutSuffix(inner, "]"); !ok || !strings.Contains(inner, ":") {
			return netip.Addr{}, false
		}
		text = inner
	}
	address, err := netip.ParseAddr(text)
	return address.Unmap().WithZone(""), err == nil
}
