package server

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
)

// service is one gRPC service, and how the REST door reaches it.
type service struct {
	desc *grpc.ServiceDesc
	impl any
	rest func(context.Context, *runtime.ServeMux, grpc.ClientConnInterface) error
}

// inProcess is a connection to the services without a network between. Calls
// run through the same chain as those that come over one.
type inProcess struct {
	methods map[string]method // by full name
	chain   grpc.UnaryServerInterceptor
}

type method struct {
	impl    any
	handler grpc.MethodHandler
}

func newInProcess(services []service, chain grpc.UnaryServerInterceptor) *inProcess {
	c := &inProcess{methods: map[string]method{}, chain: chain}
	for _, s := range services {
		for _, m := range s.desc.Methods {
			c.methods["/"+s.desc.ServiceName+"/"+m.MethodName] = method{s.impl, m.Handler}
		}
	}
	return c
}

// Invoke calls a method. What the request and the reply hold is handed over,
// not copied: neither may be changed by who made it.
func (c *inProcess) Invoke(ctx context.Context, name string, request, reply any, options ...grpc.CallOption) error {
	m, ok := c.methods[name]
	if !ok {
		return status.Errorf(codes.Unimplemented, "there is no RPC %s", name)
	}
	var stream runtime.ServerTransportStream
	ctx = grpc.NewContextWithServerTransportStream(metadata.NewIncomingContext(ctx, passed(ctx)), &stream)
	result, err := m.handler(m.impl, ctx, func(v any) error { handOver(v, request); return nil }, c.chain)
	for _, o := range options {
		if header, ok := o.(grpc.HeaderCallOption); ok {
			*header.HeaderAddr = stream.Header()
		}
	}
	if err != nil {
		return err
	}
	handOver(reply, result)
	return nil
}

// NewStream is for streams, which the REST door has none of.
func (*inProcess) NewStream(_ context.Context, _ *grpc.StreamDesc, name string, _ ...grpc.CallOption) (grpc.ClientStream, error) {
	return nil, status.Errorf(codes.Unimplemented, "%s is a stream; it is to be had by gRPC only", name)
}

// passed returns the metadata that may come in from outside. The gateway
// forwards more on its own account, such as who it says the caller is.
func passed(ctx context.Context) metadata.MD {
	sent, _ := metadata.FromOutgoingContext(ctx)
	in := metadata.MD{}
	for key, values := range sent {
		if passes(key) {
			in[key] = values
		}
	}
	return in
}

// passes says which headers of a caller reach the services.
func passes(key string) bool { return key == requestIDKey || key == "traceparent" }

// handOver gives all that one message holds to another, empty one of its type.
func handOver(to, from any) {
	target := to.(proto.Message).ProtoReflect()
	from.(proto.Message).ProtoReflect().Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		target.Set(f, v)
		return true
	})
}
