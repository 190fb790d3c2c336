package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"runtime/debug"
	"time"

	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/server"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

func (p *program) serve(ctx context.Context, args []string) (err error) {
	o, err := p.serving(args)
	if err != nil {
		return err
	}
	log := slog.New(slog.NewJSONHandler(p.stderr, nil))
	config, err := o.config(log)
	if err != nil {
		return err
	}
	secured, err := o.secured(log)
	if err != nil {
		return err
	}
	if config.Store, err = openStore(ctx, o.store); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, config.Store.Close()) }()
	book, err := o.book(ctx, config.Store, log)
	if err != nil {
		return err
	}
	s, err := server.New(config)
	if err != nil {
		return err
	}
	l, err := o.open(ctx)
	if err != nil {
		return err
	}
	p.tuneMemory()
	log.Info("listening", "address", l.Addr().String(), "tls", o.certificate != "", "keys", !o.withoutKeys,
		"store", shown(o.store), "rate_book", book.Edition.Revision, "time_zone", o.zone)
	if err := o.locked(ctx, config.Store, log); err != nil {
		return errors.Join(err, l.Close())
	}
	err = s.Serve(ctx, secured(l))
	log.Info("stopped")
	return err
}

// config is what the server is told, but for its store.
func (o *serving) config(log *slog.Logger) (server.Config, error) {
	zone, err := location(o.zone)
	return server.Config{
		Keyless: o.withoutKeys, Zone: zone, Logger: log, Timeout: o.timeout, DrainLimit: o.drain, MeshLimit: o.meshLimit,
		KeyRate:     server.Rate{PerMinute: o.perMinute, Burst: max(1, o.perMinute/burstOfKeys)},
		AddressRate: server.Rate{PerMinute: o.lonePerMinute, Burst: max(1, o.lonePerMinute/burstOfAddresses)},
		Proxies:     o.proxies, Hosts: o.hosts,
	}, err
}

// location is a time zone by its name in the IANA's database. The machine's own is none: days
// would then be others on another machine.
func location(name string) (*time.Location, error) {
	zone, err := time.LoadLocation(name)
	if err != nil || name == "" || name == "Local" {
		return nil, fmt.Errorf("--time-zone: got %q, allowed: a name of the IANA's time zone database, such as Europe/London or UTC", name)
	}
	return zone, nil
}

// secured is what puts TLS before the port, where there is a certificate.
func (o *serving) secured(log *slog.Logger) (func(net.Listener) net.Listener, error) {
	if o.certificate == "" {
		return func(l net.Listener) net.Listener { return l }, nil
	}
	certificate, err := server.ReadCertificate(o.certificate, o.key, log)
	if err != nil {
		return nil, fmt.Errorf("--tls-certificate %s and --tls-key %s cannot be used: %w", o.certificate, o.key, err)
	}
	return certificate.Secure, nil
}

// book sees to it that the store holds a rate book, and returns the one in force.
func (o *serving) book(ctx context.Context, kept store.Store, log *slog.Logger) (*desk.Book, error) {
	rules, err := wire.NewValidator()
	if err != nil {
		return nil, err
	}
	asked, inForce, err := furnish(ctx, kept, o.rateBook, rules)
	if err != nil {
		return nil, err
	}
	if asked != inForce.Edition.Revision {
		log.Warn("the rate book of --rate-book was kept before, and a later one is in force", "rate_book", asked, "in_force", inForce.Edition.Revision)
	}
	return inForce, nil
}

// open opens the port. The name localhost is looked up only here, and may lead anywhere.
func (o *serving) open(ctx context.Context) (net.Listener, error) {
	var config net.ListenConfig
	l, err := config.Listen(ctx, "tcp", o.listen)
	if err != nil {
		return nil, fmt.Errorf("--listen: %w", err)
	}
	if at, ok := l.Addr().(*net.TCPAddr); !ok || !at.IP.IsLoopback() {
		if err := o.exposed(); err != nil {
			return nil, errors.Join(err, l.Close())
		}
	}
	return l, nil
}

// locked warns where nobody can come in yet.
func (o *serving) locked(ctx context.Context, kept store.Store, log *slog.Logger) error {
	if o.withoutKeys {
		return nil
	}
	var keys []store.Key
	err := kept.View(ctx, func(r store.Reader) (err error) {
		keys, err = r.Keys(nil, "", 1, store.Studio())
		return err
	})
	if err == nil && len(keys) == 0 {
		log.Warn("there is no key yet, so that nobody is let in", "make_one_with", fmt.Sprintf("mouldwright key create --store %q --scope admin --title NAME", shown(o.store)))
	}
	return err
}

// tuneMemory lets the heap grow further between collections than Go's default:
// a quote is made of much that lives for a millisecond, and memory is cheaper
// here than time. GOGC and GOMEMLIMIT keep the last word.
func (p *program) tuneMemory() {
	const (
		growth = 400     // percent
		limit  = 1 << 30 // bytes; collections come oftener near it
	)
	if _, set := os.LookupEnv("GOGC"); !set {
		debug.SetGCPercent(growth)
	}
	if _, set := os.LookupEnv("GOMEMLIMIT"); !set {
		debug.SetMemoryLimit(limit)
	}
}
