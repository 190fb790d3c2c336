package server

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/shelf"
)

// uploadsAtOnce bounds how many mesh files are on their way in at once, or are being
// studied: each takes the memory of one file.
const uploadsAtOnce = 4

// incoming is a mesh file on its way in. Its room is taken once, so that the file
// is never there twice; pages of it that stay empty cost no memory.
type incoming struct {
	file  []byte
	limit int64
}

// newIncoming expects so many bytes, or up to the limit where size is not known.
func newIncoming(size, limit int64) *incoming {
	if size < 0 || size > limit {
		size = limit
	}
	return &incoming{file: make([]byte, 0, size), limit: limit}
}

// whole is the file once it is in. One that is far smaller than its room is moved
// to a room of its size, so that what is kept is what is counted.
func (f *incoming) whole() []byte {
	if len(f.file) > cap(f.file)/4*3 {
		return f.file
	}
	return bytes.Clone(f.file)
}

// add takes the next bytes.
func (f *incoming) add(chunk []byte) error {
	if int64(len(f.file)+len(chunk)) > f.limit {
		return bodyTooLarge(f.limit)
	}
	f.file = append(f.file, chunk...)
	return nil
}

// upload takes a mesh in as a stream over gRPC.
func (c *chain) upload(server any, stream grpc.ServerStream) error {
	ctx, own := calling(stream.Context())
	request := &mouldwrightv1.CreateMeshRequest{}
	err := c.letIn(ctx, mouldwrightv1.TakeoffService_UploadMesh_FullMethodName)
	free := func() {}
	if err == nil {
		free, err = c.takeUpload(ctx)
	}
	if err == nil {
		defer free()
		request, err = c.receiveInTime(ctx, stream)
		own.came()
	}
	if err != nil {
		own.refused = err // for the chain to log and to answer with
		request = &mouldwrightv1.CreateMeshRequest{}
	}
	info := &grpc.UnaryServerInfo{Server: server, FullMethod: mouldwrightv1.TakeoffService_UploadMesh_FullMethodName}
	header := &streamHeader{stream: stream, method: info.FullMethod}
	ctx = grpc.NewContextWithServerTransportStream(ctx, header)
	reply, err := c.unary()(ctx, request, info, func(ctx context.Context, r any) (any, error) {
		return server.(mouldwrightv1.TakeoffServiceServer).CreateMesh(ctx, r.(*mouldwrightv1.CreateMeshRequest))
	})
	if err != nil {
		return err
	}
	return stream.SendMsg(&mouldwrightv1.UploadMeshResponse{Mesh: reply.(*mouldwrightv1.CreateMeshResponse).GetMesh()})
}

// takeUpload takes a place for a file, of which one owner may have half, and returns how it is
// given back. Where whoever comes is the studio, there are no others to be kept from any.
func (c *chain) takeUpload(ctx context.Context) (free func(), err error) {
	own := func() {}
	if !c.guard.keyless {
		if own, err = c.halves.take(ctx, callerOf(ctx).Partner); err != nil {
			return nil, err
		}
	}
	if err := c.uploads.take(ctx); err != nil {
		own()
		return nil, err
	}
	return func() { c.uploads.free(); own() }, nil
}

// receiveInTime gives a stream the time that a slow line takes for a file: a caller who
// says nothing more does not keep the place of others. Once the stream is answered,
// what still waits for its next message is told that there is none.
func (c *chain) receiveInTime(ctx context.Context, stream grpc.ServerStream) (*mouldwrightv1.CreateMeshRequest, error) {
	allowed := readingTime(c.meshLimit)
	ctx, cancel := context.WithTimeoutCause(ctx, allowed, lateFile(allowed))
	defer cancel()
	type outcome struct {
		request *mouldwrightv1.CreateMeshRequest
		err     error
	}
	done := make(chan outcome, 1)
	go func() {
		var o outcome
		func() {
			defer rescued(&o.err)
			o.request, o.err = c.receive(stream)
		}()
		done <- o
	}()
	select {
	case o := <-done:
		if o.err == nil || ctx.Err() == nil {
			return o.request, o.err
		}
	case <-ctx.Done():
	}
	return nil, context.Cause(ctx) // which may have ended the receiving too
}

// lateFile tells a caller whose file did not come in time how long it may take.
func lateFile(allowed time.Duration) *problem { return late("file", allowed) }

func late(what string, allowed time.Duration) *problem {
	return &problem{
		code: codes.DeadlineExceeded, http: http.StatusRequestTimeout, reason: reasonDeadline,
		message: fmt.Sprintf("the %s was not all there after %v, which is as long as it may take to come in", what, allowed),
	}
}

// receive puts the stream's messages together.
func (c *chain) receive(stream grpc.ServerStream) (*mouldwrightv1.CreateMeshRequest, error) {
	request, file := &mouldwrightv1.CreateMeshRequest{}, newIncoming(-1, c.meshLimit)
	for first := true; ; first = false {
		var part mouldwrightv1.UploadMeshRequest
		err := stream.RecvMsg(&part)
		switch {
		case errors.Is(err, io.EOF):
			request.File = file.whole()
			return request, nil
		case err != nil:
			return nil, err
		}
		if err := c.check(stream.Context(), nil, &part); err != nil {
			return nil, err
		}
		switch {
		case (part.GetReading() != nil) != first:
			return nil, &violations{faults: fault.List{{Path: "reading", Message: "allowed: in the first message of the stream, and in no other"}}}
		case first:
			request.Reading = part.GetReading()
		default:
			if err := file.add(part.GetChunk()); err != nil {
				return nil, err
			}
		}
	}
}

// streamHeader lets a stream be answered by what answers single calls.
type streamHeader struct {
	stream grpc.ServerStream
	method string
}

// Method names the RPC.
func (h *streamHeader) Method() string { return h.method }

// SetHeader adds to the answer's headers.
func (h *streamHeader) SetHeader(md metadata.MD) error { return h.stream.SetHeader(md) }

// SendHeader sends the headers.
func (h *streamHeader) SendHeader(md metadata.MD) error { return h.stream.SendHeader(md) }

// SetTrailer adds to what follows the answer.
func (h *streamHeader) SetTrailer(md metadata.MD) error { h.stream.SetTrailer(md); return nil }

// meshTypes are the content types of a mesh file sent as a body, with the extension
// of such files: those registered with IANA under model, one in use for PLY, and the
// type of any bytes at all.
func meshTypes() map[string]string {
	return map[string]string{
		"application/octet-stream": "", "model/stl": ".stl", "model/obj": ".obj", "model/3mf": ".3mf",
		"model/gltf-binary": ".glb", "model/gltf+json": ".gltf", "application/x-ply": ".ply",
	}
}

// mediaType is what a request says that its body is.
func mediaType(r *http.Request) string {
	media, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";")
	return strings.ToLower(strings.TrimSpace(media))
}

// bringsMesh reports whether a request brings a mesh, as a file or within JSON.
func bringsMesh(r *http.Request) bool {
	return r.Method == http.MethodPost && r.URL.Path == meshesPath
}

// isFile reports whether a request brings a mesh file as its body.
func isFile(r *http.Request) bool {
	_, known := meshTypes()[mediaType(r)]
	return known && bringsMesh(r)
}

const meshesPath = "/v1/meshes"

// takeFile takes a mesh in as the body of a request. From here on it goes the way
// of every other call.
func (d *restDoor) takeFile(w http.ResponseWriter, r *http.Request) {
	ctx := r.Context()
	request, err := d.announced(r)
	free := func() {}
	if err == nil {
		free, err = d.chain.takeUpload(ctx)
	}
	if err == nil {
		defer free()
		request.File, err = d.readFile(w, r)
		callFrom(ctx).came()
	}
	if err != nil {
		callFrom(ctx).refused = err
		request = &mouldwrightv1.CreateMeshRequest{}
		// A body that breaks off ends the context of its request, but not the caller, who waits to be told why.
		ctx = context.WithoutCancel(ctx)
	}
	reply := &mouldwrightv1.CreateMeshResponse{}
	if err := d.conn.Invoke(ctx, mouldwrightv1.TakeoffService_CreateMesh_FullMethodName, request, reply); err != nil {
		d.fail(w, r, err)
		return
	}
	text, err := d.encoder.Encode(reply)
	if err != nil {
		d.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", jsonType)
	_, _ = w.Write(text) // a caller who left is told nothing
}

// announced is what a request says of the file that is its body.
func (d *restDoor) announced(r *http.Request) (*mouldwrightv1.CreateMeshRequest, error) {
	own := callFrom(r.Context())
	reading, faults := readingFrom(r.URL)
	own.form, own.query = faults, true
	if ext := meshTypes()[mediaType(r)]; reading.FileName == "" && ext != "" {
		reading.FileName = "mesh" + ext // the type settles the format where the content does not
	}
	request := &mouldwrightv1.CreateMeshRequest{Reading: reading}
	if r.ContentLength > d.chain.meshLimit {
		return nil, bodyTooLarge(d.chain.meshLimit)
	}
	if coding := r.Header.Get("Content-Encoding"); coding != "" && !strings.EqualFold(coding, "identity") {
		return nil, unsupported("content-encoding", coding, "none")
	}
	return request, nil
}

func (d *restDoor) readFile(w http.ResponseWriter, r *http.Request) ([]byte, error) {
	limit := d.chain.meshLimit
	late := lateFile(d.allowTime(w, r.ContentLength, limit))
	return drained(http.MaxBytesReader(w, r.Body, limit), newIncoming(r.ContentLength, limit), late)
}

// allowTime gives a file the time that a slow line takes for it, and returns it; for one
// of unknown size that of the limit.
func (d *restDoor) allowTime(w http.ResponseWriter, size, limit int64) time.Duration {
	if size < 0 {
		size = limit
	}
	reading := readingTime(size)
	c := http.NewResponseController(w)
	// A connection that cannot be given more time keeps the usual one.
	_ = c.SetReadDeadline(time.Now().Add(reading))
	_ = c.SetWriteDeadline(time.Now().Add(reading + d.chain.study + readingTime(0)))
	return reading
}

// bodyTime is how long the body of any request may take to come in.
const bodyTime = 15 * time.Second

// readingTime is how long a file of so many bytes may take to come in.
func readingTime(size int64) time.Duration {
	const slowest = 64 << 10 // bytes a second
	return bodyTime + time.Duration(size/slowest)*time.Second
}

// timedOut reports whether a body did not come in its time.
func timedOut(err error) bool {
	var slow net.Error
	return errors.As(err, &slow) && slow.Timeout()
}

// drained reads a body into a file; late is its error where the time for that is up.
func drained(body io.Reader, file *incoming, late error) ([]byte, error) {
	chunk := make([]byte, 256<<10)
	for {
		n, err := body.Read(chunk)
		if over := file.add(chunk[:n]); over != nil {
			return nil, over
		}
		var over *http.MaxBytesError
		switch {
		case errors.Is(err, io.EOF):
			return file.whole(), nil
		case errors.As(err, &over):
			return nil, bodyTooLarge(file.limit)
		case timedOut(err):
			return nil, late
		case err != nil:
			return nil, brokenOff()
		}
	}
}

// brokenOff tells a caller whose body ended before its end, as far as he can be told.
func brokenOff() *problem {
	return &problem{code: codes.InvalidArgument, reason: reasonBody, message: "the body could not be read to its end"}
}

// parameters are those of a query. What cannot be read of it is a fault, and not passed
// over: it may have been a name or a unit.
func parameters(u *url.URL) (url.Values, fault.List) {
	values, err := url.ParseQuery(u.RawQuery)
	if err != nil {
		return values, fault.List{{Path: "?", Message: fmt.Sprintf("the query cannot be read: %v; allowed: name=value, joined by &, other signs percent-encoded", err)}}
	}
	return values, nil
}

// readingFrom reads how a file is to be read from a query; short names of units and
// axes will do there.
func readingFrom(u *url.URL) (*mouldwrightv1.MeshReading, fault.List) {
	reading := &mouldwrightv1.MeshReading{}
	query, faults := parameters(u)
	for name, values := range query {
		value := values[0]
		if len(values) > 1 {
			faults = append(faults, fault.Fault{Path: "?" + clip(name), Message: fmt.Sprintf("given %d times; allowed: once", len(values))})
		}
		switch name {
		case "meshId":
			reading.MeshId = value
		case "title":
			reading.Title = value
		case "fileName":
			reading.FileName = value
		case "unit":
			reading.Unit = mouldwrightv1.LengthUnit(choice(&faults, name, value, unitNames(), mouldwrightv1.LengthUnit_value))
		case "up":
			reading.Up = mouldwrightv1.UpAxis(choice(&faults, name, value, shelf.Axes(), mouldwrightv1.UpAxis_value))
		default:
			faults = append(faults, fault.Fault{Path: "?" + clip(name), Message: "no such parameter; " + fault.Allowed(name, []string{"meshId", "title", "fileName", "unit", "up"})})
		}
	}
	slices.SortFunc(faults, func(a, b fault.Fault) int { return strings.Compare(a.Path, b.Path) })
	return reading, faults[:min(len(faults), mostViolations)]
}

func unitNames() []string {
	var names []string
	for _, u := range shelf.Units() {
		names = append(names, u.Short)
	}
	return names
}

// choice is the number of a named choice, from 1, by its short name or by the contract's.
func choice(faults *fault.List, name, value string, short []string, long map[string]int32) int32 {
	if i := slices.Index(short, value); i >= 0 {
		return int32(i + 1) //nolint:gosec // a handful
	}
	if n, ok := long[value]; ok {
		return n
	}
	*faults = append(*faults, fault.Fault{Path: "?" + name, Message: fmt.Sprintf("got %q; allowed: %s", clip(value), strings.Join(short, ", "))})
	return 0
}
