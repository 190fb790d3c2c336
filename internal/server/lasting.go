package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/tap"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// lasting is how long calls by gRPC may last, from their headers on. The chain's own limits begin
// where a message has come: who sends headers and nothing more would be waited for without end.
type lasting struct {
	call   time.Duration // that brings a message
	mesh   time.Duration // that brings one with a file
	upload time.Duration // of a file, as a stream
	stream time.Duration // of questions, or that watches something
}

func newLasting(c Config) lasting {
	const stream = 5 * time.Minute
	call := bodyTime + 2*c.Timeout + 2*c.Patience // to let the caller in, and to answer
	return lasting{
		call: call, stream: stream,
		mesh:   call + c.StudyTimeout,
		upload: call + c.StudyTimeout + readingTime(c.MeshLimit) + 2*c.Patience,
	}
}

// of is how long a call of an RPC may last.
func (l lasting) of(rpc string) time.Duration {
	switch {
	case rpc == mouldwrightv1.TakeoffService_UploadMesh_FullMethodName:
		return l.upload
	case rpc == mouldwrightv1.TakeoffService_CreateMesh_FullMethodName:
		return l.mesh
	case rpc == healthv1.Health_Watch_FullMethodName, strings.HasPrefix(rpc, "/grpc.reflection."):
		return l.stream
	default:
		return l.call
	}
}

// begin gives a call its time, and lets that go with the call.
func (l lasting) begin(ctx context.Context, info *tap.Info) (context.Context, error) {
	allowed := l.of(info.FullMethodName)
	ctx, cancel := context.WithTimeoutCause(ctx, allowed, tooLong(allowed))
	context.AfterFunc(ctx, cancel)
	return ctx, nil
}

func tooLong(allowed time.Duration) *problem {
	return &problem{
		code: codes.DeadlineExceeded, http: http.StatusRequestTimeout, reason: reasonDeadline,
		message: fmt.Sprintf("the call was not at its end after %v, which is as long as one may last", allowed),
	}
}

// overdue is what a caller is told whose call was not at its end in time; nil where it was.
func overdue(ctx context.Context) error {
	var over *problem
	if ctx.Err() != nil && errors.As(context.Cause(ctx), &over) {
		return over
	}
	return nil
}
