package server

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	_ "google.golang.org/grpc/encoding/proto" // the codec that codecs below build on

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
)

// grpcDoor is the way in for protobuf over gRPC. It lets callers in before it takes
// a message of theirs, and reads messages itself: one that is too long or cannot be
// read is refused by the chain, with a trace in the log and the same words as at the
// REST door. grpc on its own would answer INTERNAL and tell nobody.
type grpcDoor struct {
	limit int64 // bytes of a message
	letIn func(ctx context.Context, rpc string) error
}

// messageLimit is what grpc itself takes, so that the door can say what is wrong
// with most of what is too long.
func (d grpcDoor) messageLimit() int {
	const times = 4
	return int(times * d.limit)
}

// limitOf is how long a message may be: a whole rate book may be as long as grpc lets it.
func (d grpcDoor) limitOf(m any) int64 {
	switch m.(type) {
	case *mouldwrightv1.CreateRateBookRequest, *mouldwrightv1.CheckRateBookRequest:
		return int64(d.messageLimit())
	default:
		return d.limit
	}
}

// through returns a service as the door offers it.
func (d grpcDoor) through(desc *grpc.ServiceDesc) *grpc.ServiceDesc {
	own := *desc
	own.Methods = make([]grpc.MethodDesc, len(desc.Methods))
	for i, m := range desc.Methods {
		own.Methods[i] = grpc.MethodDesc{MethodName: m.MethodName, Handler: d.reading(m.Handler)}
	}
	return &own
}

func (d grpcDoor) reading(handler grpc.MethodHandler) grpc.MethodHandler {
	return func(impl any, ctx context.Context, receive func(any) error, chain grpc.UnaryServerInterceptor) (any, error) {
		ctx, own := calling(ctx)
		return handler(impl, ctx, func(m any) error { return d.read(ctx, own, receive, m) }, chain)
	}
}

// read takes in a message of a caller who may send it. What is refused here is answered by the
// chain.
func (d grpcDoor) read(ctx context.Context, own *call, receive func(any) error, m any) error {
	rpc, _ := grpc.Method(ctx)
	if own.refused = d.letIn(ctx, rpc); own.refused != nil {
		return nil // and nothing of the message is taken in
	}
	var raw unread
	if err := receive(&raw); err != nil {
		if own.refused = overdue(ctx); own.refused != nil {
			return nil
		}
		return err
	}
	own.came()
	if limit := d.limitOf(m); int64(len(raw)) > limit {
		own.refused = bodyTooLarge(limit)
		return nil
	}
	own.form = decode(raw, m.(proto.Message))
	return nil
}

// decode reads a message, unless it holds more than one may.
func decode(raw []byte, m proto.Message) fault.List {
	if faults := weigh(raw, m.ProtoReflect().Descriptor()); faults != nil {
		return faults
	}
	if proto.Unmarshal(raw, m) != nil {
		return unreadable()
	}
	return nil
}

func unreadable() fault.List {
	return fault.List{{Message: "the message cannot be read as what the contract says it is"}}
}

// unread is a message that was received and not yet read.
type unread []byte

// lateCodec is grpc's own codec for protobuf, but for messages that the door reads.
type lateCodec struct{ encoding.CodecV2 }

func newLateCodec() lateCodec { return lateCodec{encoding.GetCodecV2("proto")} }

// Unmarshal reads a message, or keeps it for the door.
func (c lateCodec) Unmarshal(data mem.BufferSlice, v any) error {
	if raw, ok := v.(*unread); ok {
		*raw = data.Materialize() //nolint:misspell // grpc's spelling
		return nil
	}
	return c.CodecV2.Unmarshal(data, v)
}
