package main

import (
	"errors"
	"flag"
	"fmt"
	"net"
	"net/netip"
	"strings"
	"time"
	_ "time/tzdata" // machines without a database of time zones serve too
)

// serving is what serve was told.
type serving struct {
	listen, store, rateBook  string
	withoutKeys, plaintext   bool
	certificate, key         string // files
	zone                     string
	proxies                  []netip.Prefix
	hosts                    []string
	perMinute, lonePerMinute int
	timeout, drain           time.Duration
	meshLimit                int64
}

// As many of a minute's calls may come at once.
const (
	burstOfKeys      = 6 // a sixth
	burstOfAddresses = 3
	mostPerMinute    = 60_000_000 // that the limits count
)

// serving reads what serve is told, and refuses what is not safe.
func (p *program) serving(args []string) (*serving, error) {
	o := &serving{}
	f := p.flags("serve [flags]", "Serves the engine over gRPC and REST on one port, until interrupted, and keeps quotes.")
	o.flags(f)
	rest, err := p.parse(f, args)
	if err != nil {
		return nil, err
	}
	if len(rest) > 0 {
		return nil, p.misused(fmt.Sprintf("serve takes flags only, got %q; see mouldwright serve --help", rest[0]))
	}
	if wrong := o.contradiction(); wrong != "" {
		return nil, p.misused("serve: " + wrong)
	}
	return o, o.exposed()
}

func (o *serving) flags(f *flag.FlagSet) {
	f.StringVar(&o.listen, "listen", "127.0.0.1:8080", "`address` to listen on; port 0 takes any free one; beyond this machine only with keys, and with TLS or --plaintext-beyond-this-machine")
	f.StringVar(&o.store, "store", defaultStore, storeHelp)
	f.StringVar(&o.rateBook, "rate-book", "", "keep the rate book in this `file`, unless its revision is in the store already; left out, what is in force stays so, and a store without any begins with the demo's")
	f.BoolVar(&o.withoutKeys, "without-keys", false, "take every caller for the studio; on this machine only")
	f.StringVar(&o.certificate, "tls-certificate", "", "`file` with the certificate and its chain, in PEM; read again when it changes")
	f.StringVar(&o.key, "tls-key", "", "`file` with the certificate's key, in PEM")
	f.BoolVar(&o.plaintext, "plaintext-beyond-this-machine", false, "listen beyond this machine without TLS, for a server behind a proxy that ends TLS: keys and prices cross the network unencrypted")
	f.StringVar(&o.zone, "time-zone", "Europe/London", "`zone` in which the studio's days begin and end, by its IANA name")
	f.Func("proxy", "`networks` of proxies in front of the service, such as 10.1.0.0/16, with commas or given again: of them X-Forwarded-For is believed", o.addProxies)
	f.Func("host", "`names`, with commas or given again, that a service without keys may be known by at the REST door besides localhost", o.addHosts)
	f.IntVar(&o.perMinute, "calls-per-minute", 1200, "how many `calls` a minute a key may make, a sixth of them at once")
	f.IntVar(&o.lonePerMinute, "address-calls-per-minute", 60, "how many `calls` a minute an address may make without a good key, a third of them at once")
	f.DurationVar(&o.timeout, "timeout", 0, "longest `time` a call may take (default 10s)")
	f.DurationVar(&o.drain, "drain", 0, "longest `time` calls may go on once the service stops (default 10s)")
	f.Int64Var(&o.meshLimit, "mesh-limit", 0, "largest mesh file that is taken in, in `bytes` (default 64 MiB)")
}

// addProxies takes networks, and single addresses as networks of one.
func (o *serving) addProxies(text string) error {
	for one := range strings.SplitSeq(text, ",") {
		one = strings.TrimSpace(one)
		network, err := netip.ParsePrefix(one)
		if address, lone := netip.ParseAddr(one); err != nil && lone == nil && address.Zone() == "" {
			network, err = address.Prefix(address.BitLen())
		}
		if err != nil {
			return errors.New("allowed: an address or a network, such as 10.1.0.0/16 or 2001:db8::/48")
		}
		o.proxies = append(o.proxies, network.Masked())
	}
	return nil
}

func (o *serving) addHosts(text string) error {
	for one := range strings.SplitSeq(text, ",") {
		one = strings.TrimSpace(one)
		if one == "" || strings.ContainsAny(one, "/ *") {
			return errors.New("allowed: a host's name, such as quotes.example")
		}
		o.hosts = append(o.hosts, one)
	}
	return nil
}

// contradiction is what flags say against each other, or empty.
func (o *serving) contradiction() string {
	switch {
	case (o.certificate == "") != (o.key == ""):
		return "--tls-certificate and --tls-key go together; give both or neither"
	case o.plaintext && o.certificate != "":
		return "--plaintext-beyond-this-machine says that there is no TLS; give it, or --tls-certificate and --tls-key"
	case o.perMinute < 1 || o.perMinute > mostPerMinute:
		return fmt.Sprintf("--calls-per-minute: got %d, allowed: 1 to %d", o.perMinute, mostPerMinute)
	case o.lonePerMinute < 1 || o.lonePerMinute > mostPerMinute:
		return fmt.Sprintf("--address-calls-per-minute: got %d, allowed: 1 to %d", o.lonePerMinute, mostPerMinute)
	}
	return ""
}

// exposed says what is missing before the service may listen beyond this machine: answers hold
// costs and margins, and are for those who may see them.
func (o *serving) exposed() error {
	host, _, err := net.SplitHostPort(o.listen)
	if err != nil {
		return fmt.Errorf("--listen: %w; allowed: a host and a port, such as 127.0.0.1:8080", err)
	}
	if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() {
		return nil
	}
	var missing []string
	if o.withoutKeys {
		missing = append(missing, "keys (leave out --without-keys, which takes every caller for the studio)")
	}
	if o.certificate == "" && !o.plaintext {
		missing = append(missing, "TLS (give --tls-certificate and --tls-key; or --plaintext-beyond-this-machine behind a proxy that ends TLS, and keys and prices cross the network unencrypted)")
	}
	if len(missing) == 0 {
		return nil
	}
	return fmt.Errorf("--listen: got %q, which reaches beyond this machine; missing for that: %s; without it allowed: a loopback address such as 127.0.0.1:8080 or [::1]:8080",
		o.listen, strings.Join(missing, " and "))
}
