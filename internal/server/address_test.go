package server

import (
	"net/http"
	"net/netip"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// inFront are the proxies of these tests. Addresses are those that are kept for documentation (RFC 5737, RFC 3849), and private
// ones (RFC 1918).
func inFront() proxies {
	return proxies{netip.MustParsePrefix("10.0.0.0/8"), netip.MustParsePrefix("2001:db8:ffff::/48")}
}

// The header's examples, that several headers are one list, and which address is the one to go by are MDN's, X-Forwarded-For,
// "Examples", "Parsing" and "Selecting an IP address": "searched from the rightmost, skipping all addresses that are on the trusted
// proxy list. The first non-matching address is the target address."
func TestAddressThatACallCameFrom(t *testing.T) {
	const proxy, stranger = "10.0.0.1:4711", "198.51.100.7:4711"
	for name, one := range map[string]struct {
		peer   string
		header []string
		want   string
	}{
		"one address":              {proxy, []string{"203.0.113.195"}, "203.0.113.195"},
		"IPv6":                     {proxy, []string{"2001:db8:85a3:8d3:1319:8a2e:370:7348"}, "2001:db8:85a3:8d3:1319:8a2e:370:7348"},
		"the last of two":          {proxy, []string{"203.0.113.195, 2001:db8:85a3:8d3:1319:8a2e:370:7348"}, "2001:db8:85a3:8d3:1319:8a2e:370:7348"},
		"of three, without spaces": {proxy, []string{"203.0.113.195,2001:db8:85a3:8d3:1319:8a2e:370:7348,198.51.100.178"}, "198.51.100.178"},
		"proxies are skipped":      {proxy, []string{"203.0.113.195, 198.51.100.178, 10.1.2.3, 2001:db8:ffff::1"}, "198.51.100.178"},
		"several headers":          {proxy, []string{"203.0.113.195", "198.51.100.178, 10.1.2.3", "10.0.0.9"}, "198.51.100.178"},
		"spaces and tabs":          {proxy, []string{" 203.0.113.195\t,\t 10.1.2.3 "}, "203.0.113.195"},
		"what is to the left":      {proxy, []string{"unknown, , <script>, 203.0.113.195"}, "203.0.113.195"},
		"a port":                   {proxy, []string{"203.0.113.195:47011"}, "203.0.113.195"},
		"IPv6 with a port":         {proxy, []string{"[2001:db8::7]:47011"}, "2001:db8::7"},
		"IPv6 in brackets":         {proxy, []string{"[2001:db8::7]"}, "2001:db8::7"},
		"IPv4 within IPv6":         {proxy, []string{"::ffff:203.0.113.195, ::ffff:10.1.2.3"}, "203.0.113.195"},
		"a proxy by IPv6":          {"[2001:db8:ffff::9]:4711", []string{"203.0.113.195"}, "203.0.113.195"},
		"a proxy within IPv6":      {"[::ffff:10.0.0.1]:4711", []string{"203.0.113.195"}, "203.0.113.195"},
		"a zone":                   {proxy, []string{"fe80::1%eth0"}, "fe80::1"},

		"no proxy":            {stranger, []string{"203.0.113.195"}, stranger},
		"no header":           {proxy, nil, proxy},
		"an empty one":        {proxy, []string{""}, proxy},
		"proxies only":        {proxy, []string{"10.1.2.3, 10.1.2.4"}, proxy},
		"unknown":             {proxy, []string{"203.0.113.195, unknown"}, proxy}, // RFC 7239, section 6.2, has the word
		"obfuscated":          {proxy, []string{"203.0.113.195, _hidden"}, proxy}, // section 6.3
		"a hole":              {proxy, []string{"203.0.113.195, "}, proxy},
		"a hole of a header":  {proxy, []string{"203.0.113.195", ""}, proxy},
		"beyond a proxy":      {proxy, []string{"203.0.113.195, x, 10.1.2.3"}, proxy},
		"a name":              {proxy, []string{"localhost"}, proxy},
		"a prefix":            {proxy, []string{"203.0.113.0/24"}, proxy},
		"leading zeros":       {proxy, []string{"203.0.113.010"}, proxy},
		"quoted":              {proxy, []string{`"203.0.113.195"`}, proxy},
		"half a bracket":      {proxy, []string{"[2001:db8::7"}, proxy},
		"IPv4 in brackets":    {proxy, []string{"[203.0.113.195]"}, proxy},
		"too large a port":    {proxy, []string{"203.0.113.195:70000"}, proxy},
		"in Forwarded's form": {proxy, []string{"for=203.0.113.195"}, proxy},
		"a socket":            {"@", []string{"203.0.113.195"}, "@"},
		"nowhere":             {"", []string{"203.0.113.195"}, ""},
	} {
		got := inFront().origin(&call{address: one.peer, forwarded: one.header})
		assert.Equal(t, one.want, got, name)
		assert.Equal(t, one.peer, proxies(nil).origin(&call{address: one.peer, forwarded: one.header}), "%s, without proxies", name)
	}
}

func FuzzAddress(f *testing.F) {
	for _, seed := range []string{"203.0.113.195, 10.1.2.3", "[2001:db8::7]:1", "unknown", "::ffff:10.1.2.3,", "fe80::1%eth0", "[", "[]"} {
		f.Add(seed, "x")
	}
	f.Fuzz(func(t *testing.T, header, claimed string) {
		const peer = "10.0.0.1:4711"
		got := inFront().origin(&call{address: peer, forwarded: []string{header}})
		address, err := netip.ParseAddr(got)
		if got != peer && (err != nil || inFront().holds(address) || address.Zone() != "" || address.Is4In6()) {
			t.Fatalf("%q gives %q", header, got)
		}
		// Whatever a caller claims, a proxy writes the caller's own address behind it.
		if got := inFront().origin(&call{address: peer, forwarded: []string{claimed, header, "203.0.113.195"}}); got != "203.0.113.195" {
			t.Fatalf("%q before %q gives %q", claimed, header, got)
		}
	})
}

// forwardedCall calls without a key at a door, and returns the code; the header is what stands in X-Forwarded-For.
func forwardedCall(t *testing.T, s *running, door, header, id string) codes.Code {
	t.Helper()
	if door == "rest" {
		got := s.send(t, http.MethodGet, "/v1/quotes", nil, "X-Forwarded-For", header, "X-Request-Id", id)
		return got.refusal(t).Code()
	}
	ctx := metadata.AppendToOutgoingContext(t.Context(), "x-forwarded-for", header, "x-request-id", id)
	_, err := mouldwrightv1.NewQuoteServiceClient(s.conn).ListQuotes(ctx, &mouldwrightv1.ListQuotesRequest{})
	return status.Code(err)
}

// Behind a proxy callers count by their own addresses, at both doors together, and the log shows those; elsewhere what they say
// of themselves helps nobody.
func TestAddressesBehindAProxy(t *testing.T) {
	once := Rate{PerMinute: 1, Burst: 1}
	spent := func(s *running, door, header string) bool { // within two calls, unless a minute goes by between them
		for range 4 {
			if forwardedCall(t, s, door, header, "spend") == codes.ResourceExhausted {
				return true
			}
		}
		return false
	}
	behind := newOffice(t, Config{AddressRate: once, Proxies: []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")}})
	for i, door := range doors() {
		own := []string{"203.0.113.1", "2001:db8:1:1::1"}[i]
		assert.Equal(t, codes.Unauthenticated, forwardedCall(t, behind.running, door, "8.8.8.8, "+own, "first-"+door))
		assert.True(t, spent(behind.running, doors()[1-i], own), "it counts at the other door too")
		lines := behind.log.lines(t, `"first-`+door+`"`)
		require.Len(t, lines, 1)
		assert.Equal(t, own, lines[0]["peer"])
	}
	for n, door := range append(doors(), doors()...) {
		assert.Equal(t, codes.Unauthenticated, forwardedCall(t, behind.running, door, "203.0.113.1"+string(rune('0'+n)), "other"), "others are not held back")
	}

	alone := newOffice(t, Config{AddressRate: once})
	for i, door := range doors() {
		assert.True(t, spent(alone.running, door, "203.0.113.1"))
		assert.True(t, spent(alone.running, doors()[1-i], "203.0.113.2"), "it is the same caller")
	}
	for _, line := range alone.log.lines(t, `"spend"`) {
		assert.True(t, strings.HasPrefix(line["peer"].(string), "127.0.0.1:"), "%v", line["peer"])
	}
}
