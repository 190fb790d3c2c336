package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/api/httpbody"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/peer"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/wire"
)

const jsonType = "application/json"

// restDoor is the way in for JSON over HTTP. What it lets in goes through the
// same chain as what comes in by gRPC.
type restDoor struct {
	chain   *chain
	encoder wire.Encoder
	routes  routes
	limit   int64                     // bytes of a body
	host    func(*http.Request) error // refuses a stranger's Host, and what a stranger's page sends
	gateway *runtime.ServeMux
	conn    *inProcess
	pages   *http.ServeMux
}

func newRESTDoor(ctx context.Context, c *chain, services []service, config Config) (*restDoor, error) {
	d := &restDoor{chain: c, limit: config.BodyLimit, host: hostCheck(config)}
	var err error
	if d.routes, err = newRoutes(services); err != nil {
		return nil, err
	}
	d.gateway = runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, &codec{&d.encoder}),
		runtime.WithIncomingHeaderMatcher(func(name string) (string, bool) { key := strings.ToLower(name); return key, passes(key) }),
		runtime.WithOutgoingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithOutgoingTrailerMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithErrorHandler(func(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
			d.fail(w, r, err)
		}),
		runtime.WithRoutingErrorHandler(func(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, _ int) {
			d.fail(w, r, noSuchPath())
		}),
		runtime.WithDisableHTTPMethodOverride(),
		runtime.WithDisablePathLengthFallback(),
		runtime.WithWriteContentLength(),
	)
	d.conn = newInProcess(services, c.unary())
	for _, s := range services {
		if err := s.rest(ctx, d.gateway, d.conn); err != nil {
			return nil, fmt.Errorf("opening %s to REST: %w", s.desc.ServiceName, err)
		}
	}
	d.pages = http.NewServeMux()
	d.pages.HandleFunc("/v1/", d.call)
	d.pages.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { d.stray(w, r, d.lost) })
	return d, nil
}

// ServeHTTP gives every request its id and every answer its safe headers.
func (d *restDoor) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	own := &call{
		door: "rest", id: requestID(r.Header.Values(requestIDKey)), keys: r.Header.Values(authorizationKey),
		address: r.RemoteAddr, forwarded: r.Header.Values(forwardedKey),
	}
	h := w.Header()
	h.Set("X-Request-Id", own.id)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'") // a picture opened by itself runs nothing
	ctx := peer.NewContext(withCall(r.Context(), own), &peer.Peer{Addr: remote(r.RemoteAddr)})
	r = r.WithContext(ctx)
	if err := d.serve(w, r); err != nil {
		d.fail(w, r, err)
	}
}

func (d *restDoor) serve(w http.ResponseWriter, r *http.Request) (err error) {
	defer rescued(&err)
	if err := d.host(r); err != nil {
		return err
	}
	d.pages.ServeHTTP(w, r)
	return nil
}

// remote is a caller's address as HTTP tells it.
type remote string

// Network is the kind of network of the address.
func (remote) Network() string { return "tcp" }

func (r remote) String() string { return string(r) }

// call lets a request in that the contract has a way for.
func (d *restDoor) call(w http.ResponseWriter, r *http.Request) {
	verbs := d.routes.verbs(r.URL.Path)
	switch {
	case len(verbs) == 0:
		d.stray(w, r, d.lost)
		return
	case !slices.Contains(verbs, r.Method):
		d.stray(w, r, func(w http.ResponseWriter, r *http.Request) { d.refuseVerb(w, r, verbs) })
		return
	}
	// Before anything of the body is read: nobody sends a file who may not.
	if err := d.chain.letIn(r.Context(), d.routes.rpc(r.Method, r.URL.Path)); err != nil {
		d.fail(w, r, err)
		return
	}
	if isFile(r) {
		d.takeFile(w, r)
		return
	}
	if bringsMesh(r) { // a file within JSON takes as much memory as one by itself
		free, err := d.chain.takeUpload(r.Context())
		if err != nil {
			d.fail(w, r, err)
			return
		}
		defer free()
	}
	doc, err := d.read(w, r)
	if err != nil {
		d.fail(w, r, err)
		return
	}
	r.Body = doc
	d.gateway.ServeHTTP(w, r)
}

// stray answers a request that is no call, unless its address has sent too many.
func (d *restDoor) stray(w http.ResponseWriter, r *http.Request, answer http.HandlerFunc) {
	if err := d.chain.guard.stray(r.Context(), callFrom(r.Context())); err != nil {
		d.fail(w, r, err)
		return
	}
	answer(w, r)
}

// lost answers a request for what there is not.
func (d *restDoor) lost(w http.ResponseWriter, r *http.Request) { d.fail(w, r, noSuchPath()) }

func (d *restDoor) refuseVerb(w http.ResponseWriter, r *http.Request, verbs []string) {
	allowed := strings.Join(verbs, ", ")
	w.Header().Set("Allow", allowed)
	d.fail(w, r, &problem{
		code: codes.Unimplemented, http: http.StatusMethodNotAllowed, reason: reasonVerb,
		message: fmt.Sprintf("got %s, allowed here: %s", clip(r.Method), allowed),
	})
}

func noSuchPath() *problem {
	return &problem{code: codes.NotFound, reason: reasonNoPath, message: "there is nothing at this path; /openapi.json lists what there is"}
}

// read takes the body in, whole and within its limit, for the codec to decode
// once the gateway knows what message it is.
func (d *restDoor) read(w http.ResponseWriter, r *http.Request) (*jsonBody, error) {
	own := callFrom(r.Context())
	fields := d.routes.parameters(r.Method, r.URL.Path)
	own.fields, own.form = namesOf(fields), takeParameters(r.URL, fields)
	doc := &jsonBody{of: own}
	if r.Method == http.MethodGet || r.Method == http.MethodDelete {
		return doc, nil
	}
	if err := jsonOnly(r); err != nil {
		return nil, err
	}
	limit := d.bodyLimit(r)
	if r.ContentLength > limit {
		return nil, bodyTooLarge(limit)
	}
	allowed := bodyTime
	if bringsMesh(r) {
		allowed = d.allowTime(w, r.ContentLength, limit)
	}
	var err error
	doc.text, err = io.ReadAll(http.MaxBytesReader(w, r.Body, limit))
	var over *http.MaxBytesError
	switch {
	case errors.As(err, &over):
		return nil, bodyTooLarge(limit)
	case timedOut(err):
		return nil, late("body", allowed)
	case err != nil:
		return nil, brokenOff()
	}
	own.came()
	return doc, nil
}

// bodyLimit is larger for the messages that hold a file or a rate book. Files that are
// larger still come as a body of their own, which is held once.
func (d *restDoor) bodyLimit(r *http.Request) int64 {
	const (
		meshes = 16 << 20
		books  = 4 << 20
	)
	switch r.URL.Path {
	case meshesPath:
		return max(d.limit, min(meshes, 2*d.chain.meshLimit))
	case "/v1/rateBooks", "/v1/rateBooks:check":
		return max(d.limit, books)
	default:
		return d.limit
	}
}

// takeParameters finds all that is wrong with a query: names that no RPC takes from there,
// since what is passed over in silence changes a price, and values that cannot be read. It
// leaves the gateway, which would stop at the first of them, the sound ones alone.
func takeParameters(u *url.URL, fields []protoreflect.FieldDescriptor) fault.List {
	given, faults := parameters(u)
	sound := url.Values{}
	for name, values := range given {
		value, bad := parameter(name, values, fields)
		if faults = append(faults, bad...); len(bad) == 0 {
			sound.Set(name, value)
		}
	}
	u.RawQuery = sound.Encode()
	slices.SortFunc(faults, func(a, b fault.Fault) int { return strings.Compare(a.Path, b.Path) })
	return faults[:min(len(faults), mostViolations)]
}

// parameter is the value of one name in a query, as the gateway reads it.
func parameter(name string, values []string, fields []protoreflect.FieldDescriptor) (string, fault.List) {
	at := slices.IndexFunc(fields, func(f protoreflect.FieldDescriptor) bool { return f.JSONName() == name })
	switch {
	case at < 0:
		return "", fault.List{{Path: "?" + clip(name), Message: "no such parameter; " + parametersAllowed(name, namesOf(fields))}}
	case len(values) > 1:
		return "", fault.List{{Path: "?" + clip(name), Message: fmt.Sprintf("given %d times; allowed: once", len(values))}}
	}
	v, faults := wire.Parameter(fields[at], values[0])
	return fmt.Sprint(v.Interface()), faults
}

func namesOf(fields []protoreflect.FieldDescriptor) []string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.JSONName()
	}
	return names
}

func parametersAllowed(name string, allowed []string) string {
	if len(allowed) == 0 {
		return "allowed: none, the fields stand in the path and the body"
	}
	return fault.Allowed(name, allowed)
}

// clip keeps what an answer repeats of a request short and valid.
func clip(s string) string {
	const most = 60
	s = strings.ToValidUTF8(s, "?")
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "…"
}

// jsonOnly refuses bodies that do not say that they are JSON. A page of another site can have a
// browser send bodies that say nothing, or that they are forms or plain text, without that the
// browser asks here first (WHATWG Fetch, "CORS-safelisted request-header" and the types of
// "extract a body").
func jsonOnly(r *http.Request) error {
	if coding := r.Header.Get("Content-Encoding"); coding != "" && !strings.EqualFold(coding, "identity") {
		return unsupported("content-encoding", coding, "none")
	}
	given := r.Header.Get("Content-Type")
	if given == "" && r.ContentLength == 0 {
		return nil // there is none; what is missing is told by what reads it
	}
	media, parameters, err := mime.ParseMediaType(given)
	charset, said := parameters["charset"]
	if err != nil || media != jsonType || said && !strings.EqualFold(charset, "utf-8") {
		return unsupported("content-type", given, typesFor(r))
	}
	return nil
}

// typesFor names the types that the body of a request may have.
func typesFor(r *http.Request) string {
	allowed := jsonType + " in UTF-8"
	if bringsMesh(r) {
		allowed = strings.Join(append(slices.Sorted(maps.Keys(meshTypes())), allowed), ", ")
	}
	return allowed
}

func unsupported(header, got, allowed string) *problem {
	said := "no " + header
	if got != "" {
		said = fmt.Sprintf("%s %q", header, clip(got))
	}
	return &problem{
		code: codes.InvalidArgument, http: http.StatusUnsupportedMediaType, reason: reasonType,
		message: fmt.Sprintf("got %s, allowed: %s", said, allowed),
	}
}

// fail answers with an error. What the chain has not seen it puts in the log.
func (d *restDoor) fail(w http.ResponseWriter, r *http.Request, err error) {
	var known *answered
	if !errors.As(err, &known) {
		known = answer(err, callFrom(r.Context()).id)
		d.chain.write(r.Context(), clip(r.Method+" "+r.URL.Path), time.Duration(0), known)
	}
	body, err := d.encoder.Encode(known.full.Proto())
	if err != nil {
		body = []byte(`{"code":13,"message":"internal error"}`)
	}
	w.Header().Del("Content-Length")
	w.Header().Set("Content-Type", jsonType)
	if known.code == codes.Unauthenticated {
		w.Header().Set("WWW-Authenticate", "Bearer") // RFC 9110, section 11.6.1
	}
	if known.retry > 0 {
		w.Header().Set("Retry-After", strconv.Itoa(int(math.Ceil(known.retry.Seconds()))))
	}
	w.WriteHeader(known.httpStatus())
	_, _ = w.Write(body) // a caller who left is told nothing
}

// jsonBody is a body that was read but not yet decoded: what message it is, only
// the gateway knows.
type jsonBody struct {
	text []byte
	of   *call
}

// Read is for the gateway's own draining of a body; there is nothing left.
func (*jsonBody) Read([]byte) (int, error) { return 0, io.EOF }

// Close does nothing: net/http closes the body it gave.
func (*jsonBody) Close() error { return nil }

// decode reads the body into m, as far as it can be, and leaves its faults
// with the call, for the chain to answer with.
func (d *jsonBody) decode(m proto.Message) {
	faults := fault.List{{Message: "the body is empty; allowed: a JSON object"}}
	if len(d.text) > 0 {
		faults = wire.Decode(d.text, m)
	}
	d.of.form = append(d.of.form, faults...)
}

// codec is JSON for the gateway.
type codec struct{ *wire.Encoder }

var errNoMessage = errors.New("this is no message of the contract")

// Marshal writes a message.
func (c *codec) Marshal(v any) ([]byte, error) {
	switch m := v.(type) {
	case *httpbody.HttpBody:
		return m.GetData(), nil
	case proto.Message:
		return c.Encode(m)
	default:
		return nil, errNoMessage
	}
}

// Unmarshal reads a message.
func (*codec) Unmarshal(text []byte, v any) error {
	if m, ok := v.(proto.Message); ok {
		return wire.Decode(text, m).Err()
	}
	return errNoMessage
}

// NewDecoder reads a body that the door let in.
func (*codec) NewDecoder(r io.Reader) runtime.Decoder {
	return runtime.DecoderFunc(func(v any) error {
		doc, ok := r.(*jsonBody)
		m, known := v.(proto.Message)
		if !ok || !known {
			return errNoMessage
		}
		doc.decode(m)
		return nil
	})
}

// NewEncoder writes messages one after the other.
func (c *codec) NewEncoder(w io.Writer) runtime.Encoder {
	return runtime.EncoderFunc(func(v any) error {
		text, err := c.Marshal(v)
		if err != nil {
			return err
		}
		_, err = w.Write(text)
		return err
	})
}

// ContentType is JSON's, or what a picture says of itself.
func (*codec) ContentType(v any) string {
	if m, ok := v.(*httpbody.HttpBody); ok {
		return m.GetContentType()
	}
	return jsonType
}
