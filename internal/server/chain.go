package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// chain is what every call runs through, whichever door it came in by.
type chain struct {
	log     *slog.Logger
	timeout time.Duration
	study   time.Duration // of a mesh that is taken in, in place of timeout
	rules   *wire.Validator
	intake  *intake
	guard   *guard
	masker  *wire.Masker
	places  *places

	meshLimit int64   // bytes of a mesh file
	uploads   *places // for mesh files on their way in, which take memory
	halves    *halves // of those, for each owner
}

// links are the interceptors, outermost first.
func (c *chain) links() []grpc.UnaryServerInterceptor {
	return []grpc.UnaryServerInterceptor{identify, c.record, conclude, rescue, tell, c.hurry, c.enter, c.mask, c.validate, c.places.admit}
}

// unary is all links as one interceptor.
func (c *chain) unary() grpc.UnaryServerInterceptor {
	links := c.links()
	return func(ctx context.Context, request any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		for i := len(links) - 1; i >= 0; i-- {
			link, next := links[i], handler
			handler = func(ctx context.Context, request any) (any, error) { return link(ctx, request, info, next) }
		}
		return handler(ctx, request)
	}
}

// identify gives the call its id.
func identify(ctx context.Context, request any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	ctx, _ = calling(ctx)
	return next(ctx, request)
}

// tell tells the caller the call's id. One who has left is told nothing, which is no
// reason to leave the call out of the log.
func tell(ctx context.Context, request any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	if err := grpc.SetHeader(ctx, idHeader(ctx)); err != nil {
		return nil, untold(ctx, err)
	}
	return next(ctx, request)
}

func idHeader(ctx context.Context) metadata.MD {
	return metadata.Pairs(requestIDKey, callFrom(ctx).id)
}

// untold is why the caller could not be told the call's id: he left, or err.
func untold(ctx context.Context, err error) error {
	if left := ctx.Err(); left != nil {
		return left
	}
	return fmt.Errorf("telling the request's id: %w", err)
}

// record writes one line of log for each call, never with anything of its body.
func (c *chain) record(ctx context.Context, request any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	start := time.Now()
	reply, err := next(ctx, request)
	c.write(ctx, info.FullMethod, time.Since(start), err)
	return reply, err
}

func (c *chain) write(ctx context.Context, method string, took time.Duration, err error) {
	own := callFrom(ctx)
	line := []slog.Attr{
		slog.String("door", own.door), slog.String("method", method), slog.Float64("ms", float64(took.Microseconds())/1000),
		slog.String("request_id", own.id), slog.String("peer", c.guard.proxies.origin(own)), slog.String("caller", own.caller.Kind.String()),
	}
	if own.caller.KeyID != "" {
		line = append(line, slog.String("key", own.caller.KeyID), slog.String("partner", own.caller.Partner))
	}
	code := codes.OK
	var failed *answered
	if errors.As(err, &failed) {
		code = failed.code
		line = append(line, slog.String("reason", failed.reason))
	}
	if failed != nil && failed.reason == reasonTooOften && own.caller.KeyID == "" {
		left, ok := c.guard.over.may()
		if !ok {
			return
		}
		line = append(line, slog.Int("left_out", left))
	}
	line = append(line, slog.String("code", code.String()))
	c.log.LogAttrs(ctx, level(code), "call", append(line, causes(failed)...)...)
}

// causes tells the log what the caller is not told.
func causes(failed *answered) []slog.Attr {
	switch {
	case failed == nil:
		return nil
	case failed.problem.cause != nil:
		return []slog.Attr{slog.String("cause", failed.problem.cause.Error())}
	case level(failed.code) != slog.LevelError:
		return nil
	}
	line := []slog.Attr{slog.String("cause", failed.cause.Error())}
	var p *panicError
	if errors.As(failed.cause, &p) {
		line = append(line, slog.String("stack", string(p.stack)))
	}
	return line
}

// level is how loud a code is: a caller's fault is no alarm.
func level(code codes.Code) slog.Level {
	switch code {
	case codes.Internal, codes.Unknown, codes.DataLoss:
		return slog.LevelError
	case codes.DeadlineExceeded, codes.Unavailable, codes.ResourceExhausted:
		return slog.LevelWarn
	default:
		return slog.LevelInfo
	}
}

func peerOf(ctx context.Context) string {
	if p, ok := peer.FromContext(ctx); ok && p.Addr != nil {
		return p.Addr.String()
	}
	return ""
}

// conclude gives every error the form that the caller gets.
func conclude(ctx context.Context, request any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	reply, err := next(ctx, request)
	if err != nil {
		own := callFrom(ctx)
		return nil, answer(own.asTyped(err), own.id)
	}
	return reply, nil
}

// panicError is a panic that was caught.
type panicError struct {
	value any
	stack []byte
}

func (p *panicError) Error() string { return fmt.Sprintf("panic: %v", p.value) }

// rescued turns a panic into an error; for use in a defer.
func rescued(err *error) {
	if value := recover(); value != nil {
		*err = &panicError{value: value, stack: debug.Stack()}
	}
}

// rescue keeps a panic in one call from ending the others.
func rescue(ctx context.Context, request any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (reply any, err error) {
	defer rescued(&err)
	return next(ctx, request)
}

// hurry gives a call the caller's time, and no more than the service's own.
func (c *chain) hurry(ctx context.Context, request any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	limit := c.timeout
	if _, ok := request.(*mouldwrightv1.CreateMeshRequest); ok {
		limit = c.study
	}
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	reply, err := next(ctx, request)
	if err == nil && ctx.Err() != nil {
		return nil, context.Cause(ctx) // the answer came too late
	}
	return reply, err
}

// validate stops a request that has any fault, and lists all of them.
func (c *chain) validate(ctx context.Context, request any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	if m, ok := request.(proto.Message); ok {
		if bad := c.check(ctx, callFrom(ctx).form, m); bad != nil {
			return nil, bad
		}
	}
	return next(ctx, request)
}

// check returns what is wrong with a request; nil for nothing. The handler looks
// at a sound request's meaning itself, so that is done here only for the others.
func (c *chain) check(ctx context.Context, form fault.List, m proto.Message) error {
	if _, ok := m.(*mouldwrightv1.CheckRateBookRequest); ok {
		form = besideTheBook(form)
	}
	if wire.Unreadable(form) {
		return gathered(m, form, nil, nil)
	}
	limits := c.rules.Check(m)
	switch n := len(form) + len(limits); {
	case n == 0:
		return nil
	case n >= mostViolations:
		return gathered(m, form, limits, nil) // more than an answer lists already
	}
	return gathered(m, form, limits, c.intake.meaning(ctx, m))
}

func gathered(m proto.Message, form, limits, meaning fault.List) *violations {
	v := &violations{
		faults:  wire.InOrder(m.ProtoReflect().Descriptor(), form, limits, meaning),
		reasons: laterReasons(briefOf(m)),
	}
	for _, f := range limits {
		v.reasons[f.Path] = faultLimit
	}
	for _, f := range form {
		v.reasons[f.Path] = faultForm
	}
	return v
}

// stream is the chain for what only gRPC has: reflection and the watching of health,
// which no contract of ours describes, and the upload of a mesh, which once it is
// whole goes on through the chain of every other call.
func (c *chain) stream(server any, stream grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) (err error) {
	if info.FullMethod == mouldwrightv1.TakeoffService_UploadMesh_FullMethodName {
		return c.upload(server, stream)
	}
	ctx, own := calling(stream.Context())
	start := time.Now()
	if err = c.letIn(ctx, info.FullMethod); err != nil {
		// said below
	} else if err = stream.SetHeader(idHeader(ctx)); err != nil {
		err = untold(ctx, err)
	} else {
		err = rescueStream(server, &callStream{ServerStream: stream, ctx: ctx, admit: func() error { return c.letIn(ctx, info.FullMethod) }}, next)
	}
	if over := overdue(ctx); over != nil {
		err = over
	}
	if err != nil {
		err = answer(err, own.id)
	}
	c.write(ctx, clip(info.FullMethod), time.Since(start), err)
	return err
}

func rescueStream(server any, stream grpc.ServerStream, next grpc.StreamHandler) (err error) {
	defer rescued(&err)
	return next(server, stream)
}

// callStream is a stream whose context knows its call. Each of its messages is a question, and
// counts like a call.
type callStream struct {
	grpc.ServerStream
	ctx   context.Context
	admit func() error // lets the caller in again
	asked bool         // something, which the stream's beginning is counted for
}

// RecvMsg takes the next message of a caller who may ask.
func (s *callStream) RecvMsg(m any) error {
	err := s.ServerStream.RecvMsg(m)
	if err != nil {
		return err
	}
	if s.asked {
		callFrom(s.ctx).again()
		return s.admit()
	}
	s.asked = true
	return nil
}

// Context returns the context that knows the call.
func (s *callStream) Context() context.Context { return s.ctx }
