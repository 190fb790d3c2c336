package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"runtime/debug"

	"github.com/mouldwright/mouldwright/internal/server"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// errExposed says why the service does not listen beyond this machine.
var errExposed = errors.New("answers hold costs and margins and there are no keys yet: allowed is a loopback address such as 127.0.0.1:8080 or [::1]:8080")

func (p *program) serve(ctx context.Context, args []string) (err error) {
	f := p.flags("serve [flags]", "Serves the engine over gRPC and REST on one port of this machine, until interrupted.")
	listen := f.String("listen", "127.0.0.1:8080", "`address` to listen on; port 0 takes any free one")
	rateBook := f.String("rate-book", "", "price by the rate book in this `file` instead of the demo's")
	storeAt := f.String("store", "mouldwright.db", "keep quotes in this SQLite `file`, or in PostgreSQL at postgres://…")
	withoutKeys := f.Bool("without-keys", false, "take every caller for the studio; on this machine only")
	timeout := f.Duration("timeout", 0, "longest `time` a call may take (default 10s)")
	drain := f.Duration("drain", 0, "longest `time` calls may go on once the service stops (default 10s)")
	meshLimit := f.Int64("mesh-limit", 0, "largest mesh file that is taken in, in `bytes` (default 64 MiB)")
	rest, err := p.parse(f, args)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		return p.misused(fmt.Sprintf("serve takes flags only, got %q; see mouldwright serve --help", rest[0]))
	}
	rules, err := wire.NewValidator()
	if err != nil {
		return err
	}
	book, err := openBook(*rateBook, rules)
	if err != nil {
		return err
	}
	log := slog.New(slog.NewJSONHandler(p.stderr, nil))
	kept, err := p.keep(ctx, *storeAt, book, rules)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	s, err := server.New(server.Config{Store: kept, Keyless: *withoutKeys, Logger: log, Timeout: *timeout, DrainLimit: *drain, MeshLimit: *meshLimit})
	if err != nil {
		return err
	}
	l, err := p.listen(ctx, *listen)
	if err != nil {
		return err
	}
	p.tuneMemory()
	log.Info("listening", "address", l.Addr().String(), "rate_book", book.Edition.Revision)
	err = s.Serve(ctx, l)
	log.Info("stopped")
	return err
}

// listen opens the port, on this machine only.
func (p *program) listen(ctx context.Context, address string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("--listen: got %q: %w", address, err)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, fmt.Errorf("--listen: got %q: %w", address, errExposed)
	}
	var config net.ListenConfig
	return config.Listen(ctx, "tcp", address)
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
