// Package server is the doors of the service: gRPC, and JSON over HTTP, on one
// port. Requests come in, are checked and translated to values of the core by
// package wire, reckoned, and translated back. Both doors lead through one chain
// of interceptors to the same handlers.
package server

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	goruntime "runtime"
	"sync"
	"sync/atomic"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/cabinet"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// Config is what a server is made of. Only Store has no default.
type Config struct {
	// Store keeps quotes, rate books, partners and keys. It holds a rate book, and outlives the server.
	Store store.Store
	// Keyless takes every caller for the studio: for a machine of one's own only.
	Keyless bool
	// KeyRate is how often a key may call; left out, 1,200 times a minute and 200 at once.
	KeyRate Rate
	// AddressRate is how often an address may call without a good key; left out, 60 times
	// a minute and 20 at once; of no account where the server is keyless.
	AddressRate Rate
	// Zone is where the studio's days begin and end; nil for UTC.
	Zone *time.Location
	// Now is the time; nil for the machine's clock.
	Now func() time.Time
	// Logger takes one line for each call; nil for JSON on standard error.
	Logger *slog.Logger
	// Timeout bounds a call, however much time its caller gives; 0 for 10 s.
	Timeout time.Duration
	// DrainLimit bounds how long calls may go on once the server stops; 0 for 10 s.
	DrainLimit time.Duration
	// BodyLimit bounds a request, in bytes; 0 for 256 KiB.
	BodyLimit int64
	// Places bounds how many calls reckon at once; 0 for two for each processor
	// that Go uses, and at least four.
	Places int
	// Patience bounds how long a call waits for a place; 0 for 2 s.
	Patience time.Duration
	// MeshRoom bounds what all meshes of one owner take in the store, in bytes of their files
	// or of binary STL; 0 for eight files of the MeshLimit.
	MeshRoom int64
	// ModelRoom bounds what the models that were studied from meshes take in memory, counted
	// alike; 0 for eight files of the MeshLimit.
	ModelRoom int64
	// MeshLimit bounds a mesh file, in bytes; 0 for 64 MiB.
	MeshLimit int64
	// StudyTimeout bounds the taking in of a mesh once it has come; 0 for 60 s.
	StudyTimeout time.Duration
	// Hosts are names that callers at the REST door may know the service by, as in
	// the Host header, besides localhost and the loopback's addresses.
	Hosts []string
	// Proxies are the addresses of proxies in front of the service that tell in X-Forwarded-For
	// where a call came from. That header is believed of nobody else; none for none.
	Proxies []netip.Prefix
}

// withDefaults fills in what was left out.
func (c Config) withDefaults() Config {
	const (
		timeout   = 10 * time.Second
		bodyLimit = 256 << 10
		meshLimit = 64 << 20
		shelves   = 8 // files of the limit
		study     = time.Minute
		patience  = 2 * time.Second
	)
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	c.KeyRate, c.AddressRate = c.rates()
	if c.Logger == nil {
		c.Logger = slog.New(slog.NewJSONHandler(os.Stderr, nil))
	}
	if c.Timeout <= 0 {
		c.Timeout = timeout
	}
	if c.DrainLimit <= 0 {
		c.DrainLimit = timeout
	}
	if c.BodyLimit <= 0 {
		c.BodyLimit = bodyLimit
	}
	if c.MeshLimit <= 0 {
		c.MeshLimit = meshLimit
	}
	if c.MeshRoom <= 0 {
		c.MeshRoom = shelves * c.MeshLimit
	}
	if c.ModelRoom <= 0 {
		c.ModelRoom = shelves * c.MeshLimit
	}
	if c.StudyTimeout <= 0 {
		c.StudyTimeout = study
	}
	if c.Places <= 0 {
		c.Places = max(4, 2*goruntime.GOMAXPROCS(0))
	}
	if c.Patience <= 0 {
		c.Patience = patience
	}
	return c
}

// rates are how often callers may come. Who runs a server for himself alone is not held back.
func (c Config) rates() (keys, addresses Rate) {
	keys, addresses = c.KeyRate, c.AddressRate
	if keys == (Rate{}) {
		keys = Rate{PerMinute: 1200, Burst: 200}
	}
	if addresses == (Rate{}) {
		addresses = Rate{PerMinute: 60, Burst: 20}
	}
	if c.Keyless {
		keys, addresses = unhurried(), unhurried()
	}
	return keys, addresses
}

func unhurried() Rate { return Rate{PerMinute: 60_000_000, Burst: 1_000_000} }

// Server serves the contract. Make one with New; it serves once.
type Server struct {
	config Config
	grpc   *grpc.Server
	http   *http.Server
	health *health.Server
	keep   *keeping
	gate   *access.Gate
	ready  atomic.Bool
}

// ErrNoStore says that a server was given nothing to keep things in.
var ErrNoStore = errors.New("a server needs a store")

// New returns a server for the contract.
func New(c Config) (*Server, error) {
	if c.Store == nil {
		return nil, ErrNoStore
	}
	rules, err := wire.NewValidator()
	if err != nil {
		return nil, err
	}
	c = c.withDefaults()
	r, err := newRoom(c, rules)
	if err != nil {
		return nil, err
	}
	return newServer(c, r, services(r))
}

// room is what the services have in common.
type room struct {
	rules  *wire.Validator
	books  *bookcase.Case
	intake *intake
	keep   *keeping
	meshes *cabinet.Cabinet
	gate   *access.Gate
}

func newRoom(c Config, rules *wire.Validator) (*room, error) {
	books, err := bookcase.New(c.Store, rules, c.Now)
	if err != nil {
		return nil, err
	}
	meshes, err := cabinet.New(c.Store, c.Now, cabinet.Room{Owner: c.MeshRoom, Memory: c.ModelRoom})
	if err != nil {
		return nil, err
	}
	return &room{
		rules: rules, books: books, meshes: meshes,
		intake: &intake{books: books, store: c.Store, meshes: meshes},
		keep:   &keeping{store: c.Store, now: c.Now, zone: c.Zone, flying: map[flight]bool{}},
		gate:   newGate(c.Store, c.Now),
	}, nil
}

// services are the contract's.
func services(r *room) []service {
	return []service{
		{&mouldwrightv1.TakeoffService_ServiceDesc, &takeoffService{intake: r.intake, meshes: r.meshes}, func(ctx context.Context, mux *runtime.ServeMux, conn grpc.ClientConnInterface) error {
			return mouldwrightv1.RegisterTakeoffServiceHandlerClient(ctx, mux, mouldwrightv1.NewTakeoffServiceClient(conn))
		}},
		{&mouldwrightv1.LabourService_ServiceDesc, &labourService{intake: r.intake}, func(ctx context.Context, mux *runtime.ServeMux, conn grpc.ClientConnInterface) error {
			return mouldwrightv1.RegisterLabourServiceHandlerClient(ctx, mux, mouldwrightv1.NewLabourServiceClient(conn))
		}},
		{&mouldwrightv1.MarginService_ServiceDesc, &marginService{intake: r.intake}, func(ctx context.Context, mux *runtime.ServeMux, conn grpc.ClientConnInterface) error {
			return mouldwrightv1.RegisterMarginServiceHandlerClient(ctx, mux, mouldwrightv1.NewMarginServiceClient(conn))
		}},
		{&mouldwrightv1.QuoteService_ServiceDesc, &quoteService{intake: r.intake, keep: r.keep}, func(ctx context.Context, mux *runtime.ServeMux, conn grpc.ClientConnInterface) error {
			return mouldwrightv1.RegisterQuoteServiceHandlerClient(ctx, mux, mouldwrightv1.NewQuoteServiceClient(conn))
		}},
		{&mouldwrightv1.RateBookService_ServiceDesc, &rateBookService{books: r.books, intake: r.intake, keep: r.keep, rules: r.rules}, func(ctx context.Context, mux *runtime.ServeMux, conn grpc.ClientConnInterface) error {
			return mouldwrightv1.RegisterRateBookServiceHandlerClient(ctx, mux, mouldwrightv1.NewRateBookServiceClient(conn))
		}},
		{&mouldwrightv1.AccessService_ServiceDesc, &accessService{intake: r.intake, keep: r.keep, gate: r.gate, random: rand.Reader}, func(ctx context.Context, mux *runtime.ServeMux, conn grpc.ClientConnInterface) error {
			return mouldwrightv1.RegisterAccessServiceHandlerClient(ctx, mux, mouldwrightv1.NewAccessServiceClient(conn))
		}},
	}
}

func newServer(c Config, r *room, services []service) (*Server, error) {
	guard, err := newGuard(c, r.gate, services)
	if err != nil {
		return nil, err
	}
	s := &Server{config: c, health: health.NewServer(), keep: r.keep, gate: guard.gate}
	links := &chain{
		log: c.Logger, timeout: c.Timeout, study: c.StudyTimeout, rules: r.rules, intake: r.intake, places: newPlaces(c.Places, c.Patience),
		guard: guard, masker: wire.NewMasker(),
		meshLimit: c.MeshLimit, uploads: newPlaces(uploadsAtOnce, c.Patience), halves: newHalves(uploadsAtOnce, c.Patience),
	}
	s.grpc = newGRPC(c, links, append(services, service{desc: &healthv1.Health_ServiceDesc, impl: s.health}))
	reflection.Register(s.grpc)
	door, err := newRESTDoor(context.Background(), links, services, c)
	if err != nil {
		return nil, err
	}
	kept := &lookout{store: c.Store, now: c.Now}
	for _, p := range pages(func(ctx context.Context) bool { return s.ready.Load() && kept.sees(ctx) }) {
		door.show(p)
	}
	s.http = newHTTP(c, door)
	return s, nil
}

const headerLimit = 16 << 10 // bytes of a request's headers, at either door

func newGRPC(c Config, links *chain, services []service) *grpc.Server {
	const (
		calls     = 100 // at once on one connection
		handshake = 5 * time.Second
		idle      = 5 * time.Minute
		ping      = 2 * time.Minute
		pong      = 20 * time.Second
		mostPings = 30 * time.Second // a caller may ping no oftener
		age       = 15 * time.Minute // of a connection; its calls in hand may end
	)
	door, lasts := grpcDoor{limit: c.BodyLimit, letIn: links.letIn}, newLasting(c)
	s := grpc.NewServer(
		grpc.ForceServerCodecV2(newLateCodec()),
		grpc.UnaryInterceptor(links.unary()),
		grpc.StreamInterceptor(links.stream),
		grpc.UnknownServiceHandler(func(_ any, stream grpc.ServerStream) error {
			name, _ := grpc.MethodFromServerStream(stream)
			return unknownRPC(name)
		}),
		grpc.MaxRecvMsgSize(door.messageLimit()),
		grpc.MaxConcurrentStreams(calls),
		grpc.MaxHeaderListSize(headerLimit),
		grpc.ConnectionTimeout(handshake),
		grpc.InTapHandle(lasts.begin),
		grpc.KeepaliveParams(keepalive.ServerParameters{
			MaxConnectionIdle: idle, MaxConnectionAge: age, MaxConnectionAgeGrace: lasts.upload, Time: ping, Timeout: pong,
		}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: mostPings, PermitWithoutStream: true}),
	)
	for _, one := range services {
		s.RegisterService(door.through(one.desc), one.impl)
	}
	return s
}

func newHTTP(c Config, door http.Handler) *http.Server {
	const (
		headers = 5 * time.Second
		writing = 15 * time.Second
		idle    = 2 * time.Minute
	)
	return &http.Server{
		Handler:           door,
		ReadHeaderTimeout: headers,
		ReadTimeout:       bodyTime,
		WriteTimeout:      bodyTime + c.Timeout + writing, // counted from the end of the headers
		IdleTimeout:       idle,
		MaxHeaderBytes:    headerLimit,
		ErrorLog:          slog.NewLogLogger(c.Logger.Handler(), slog.LevelWarn),
	}
}

// Serve takes calls on l until ctx is done or l fails, then lets the calls in
// hand finish, for as long as the drain limit allows, and returns. It closes l.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	const (
		patience = 5 * time.Second
		silent   = 1000 // connections that have said nothing yet
	)
	port := newSplit(newTurnstile(l, s.config), patience, silent)
	ended := make(chan error, 3)
	go func() { ended <- port.run() }()
	go func() { ended <- s.grpc.Serve(port.grpc) }()
	go func() { ended <- s.http.Serve(port.http) }()
	behind := s.behind(ctx)
	defer behind()
	s.ready.Store(true)
	s.health.SetServingStatus("", healthv1.HealthCheckResponse_SERVING)

	running := 3
	var err error
	select {
	case <-ctx.Done():
	case err = <-ended:
		running--
	}
	s.drain(context.WithoutCancel(ctx), port)
	for range running {
		err = errors.Join(err, wanted(<-ended))
	}
	return err
}

// behind runs what goes on behind the calls, until the function that it returns has been
// called: the store is not needed after that.
func (s *Server) behind(ctx context.Context) (end func()) {
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	var running sync.WaitGroup
	running.Go(func() { s.gate.Run(ctx) })
	running.Go(func() { s.sweeping(ctx) })
	return func() { cancel(); running.Wait() }
}

// wanted leaves out the errors by which servers say that they were stopped.
func wanted(err error) error {
	if err == nil || errors.Is(err, http.ErrServerClosed) || errors.Is(err, grpc.ErrServerStopped) || errors.Is(err, net.ErrClosed) {
		return nil
	}
	return fmt.Errorf("stopping: %w", err)
}

// drain says first that no more calls are wanted, so that whoever shares them
// out sends them elsewhere, and then waits for those in hand.
func (s *Server) drain(ctx context.Context, port *split) {
	ctx, cancel := context.WithTimeout(ctx, s.config.DrainLimit)
	defer cancel()
	s.ready.Store(false)
	s.health.Shutdown()
	if err := port.close(); err != nil && !errors.Is(err, net.ErrClosed) {
		s.config.Logger.Warn("closing the port", "cause", err)
	}
	done := make(chan struct{})
	go func() { defer close(done); s.grpc.GracefulStop() }()
	if err := s.http.Shutdown(ctx); err != nil {
		s.config.Logger.Warn("calls were cut off", "door", "rest", "cause", err)
		_ = s.http.Close() // what it could say is said
	}
	select {
	case <-done:
	case <-ctx.Done():
		s.config.Logger.Warn("calls were cut off", "door", "grpc", "cause", ctx.Err())
		s.grpc.Stop() // GracefulStop may still wait for a handler that does not end; this does not
	}
}
