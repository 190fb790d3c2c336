package server

import (
	"context"
	"encoding/base64"
	"fmt"
	"maps"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/genproto/googleapis/api/httpbody"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// rpc is an RPC of the contract with a request that it takes.
type rpc struct {
	method     string // as gRPC names it
	verb, path string
	body       string
}

const costs = `{"costs":[
	{"code":"a","description":"Casts","stage":"STAGE_CAST","piece":"p","quantity":{"value":"3","unit":"each"},"cost":"120.00","labourHours":2.5},
	{"code":"b","description":"Moulds","stage":"STAGE_MOULD","piece":"p","quantity":{"value":"1","unit":"each"},"cost":"300.00"}]}`

// rpcs lists every RPC of the contract, and fails when the contract has grown.
func rpcs(t testing.TB) []rpc {
	t.Helper()
	of := map[string]string{
		"MeasureBrief": request(demoBrief(t)), "EstimateLabour": request(demoBrief(t)), "PreviewQuote": request(demoBrief(t)),
		"CreateMesh": `{"reading":{"meshId":"hook","fileName":"public/p06_undercut_hook.stl","unit":"LENGTH_UNIT_MILLIMETRE"},"file":"` +
			base64.StdEncoding.EncodeToString(meshFile(t, "public/p06_undercut_hook.stl")) + `"}`,
		"GetMesh": `{"name":"meshes/hook"}`, "ListMeshes": `{}`, "MeasureMesh": `{"name":"meshes/hook","scale":2}`,
		"CompareMeshes": `{"name":"meshes/hook","other":"meshes/hare"}`, "GetMeshPicture": `{"name":"meshes/hook"}`,
		"UploadMesh": "", "DeleteMesh": "", // one is a stream and the other can be done once: see mesh_test.go
		"ApplyMargin": costs, "GetRateBook": `{"name":"rateBooks/current"}`, "CheckRateBook": `{"rateBook":` + string(demo.Document()) + `}`,
	}
	maps.Copy(of, keptRequests(t))
	var all []rpc
	protoregistry.GlobalFiles.RangeFilesByPackage("mouldwright.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			s := file.Services().Get(i)
			for j := range s.Methods().Len() {
				m := s.Methods().Get(j)
				verb, path := bindingOf(m)
				body, ok := of[string(m.Name())]
				require.True(t, ok, "%s: give it a request here", m.FullName())
				if body == "" {
					continue
				}
				all = append(all, rpc{fmt.Sprintf("/%s/%s", s.FullName(), m.Name()), verb, filled(t, path, body), body})
			}
		}
		return true
	})
	require.GreaterOrEqual(t, len(all)+3, len(of))
	return all
}

func (r rpc) byREST(t testing.TB, s *running, headers ...string) answerOf {
	t.Helper()
	if r.verb == http.MethodGet {
		return s.send(t, r.verb, r.path, nil, headers...)
	}
	return s.send(t, r.verb, r.path, strings.NewReader(r.body), append([]string{"Content-Type", "application/json"}, headers...)...)
}

func (r rpc) byGRPC(ctx context.Context, t testing.TB, s *running, options ...grpc.CallOption) (proto.Message, error) {
	t.Helper()
	in := r.request(t)
	out := newMessage(t, methodOf(t, r).Output())
	return out, s.conn.Invoke(ctx, r.method, decoded(t, r.body, in), out, options...)
}

// request is an empty request of the RPC.
func (r rpc) request(t testing.TB) proto.Message {
	t.Helper()
	return newMessage(t, methodOf(t, r).Input())
}

func methodOf(t testing.TB, r rpc) protoreflect.MethodDescriptor {
	t.Helper()
	d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(strings.ReplaceAll(r.method[1:], "/", ".")))
	require.NoError(t, err)
	return d.(protoreflect.MethodDescriptor)
}

func newMessage(t testing.TB, d protoreflect.MessageDescriptor) proto.Message {
	t.Helper()
	mt, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
	require.NoError(t, err)
	return mt.New().Interface()
}

func TestBothDoorsGiveTheSameAnswer(t *testing.T) {
	s := furnished(t, Config{})
	all := rpcs(t)
	for name, brief := range briefs(t) {
		for _, r := range all {
			switch {
			case strings.HasPrefix(r.body, `{"brief"`) && !strings.Contains(r.body, `"requestId"`):
				r.body = request(brief)
			case name != "one-off-hare.json":
				continue // it is about no brief
			}
			t.Run(r.method+" "+name, func(t *testing.T) {
				message, err := r.byGRPC(t.Context(), t, s)
				require.NoError(t, err)
				got := r.byREST(t, s)
				require.Equal(t, http.StatusOK, got.status, "%s", got.body)
				if picture, ok := message.(*httpbody.HttpBody); ok {
					assert.Equal(t, picture.GetData(), got.body)
					assert.Equal(t, picture.GetContentType(), got.header.Get("Content-Type"))
					return
				}
				want, err := wire.Encode(message)
				require.NoError(t, err)
				assert.Equal(t, string(want), string(got.body))
				assert.Equal(t, "application/json", got.header.Get("Content-Type"))
				assert.Greater(t, len(want), len("{}"))
			})
		}
	}
	assert.NotContains(t, s.log.String(), `"ERROR"`)
}

func TestAPreviewIsWhole(t *testing.T) {
	s := start(t, Config{})
	quotes := mouldwrightv1.NewQuoteServiceClient(s.conn)
	r := decoded(t, request(demoBrief(t)), &mouldwrightv1.PreviewQuoteRequest{})
	got, err := quotes.PreviewQuote(t.Context(), r)
	require.NoError(t, err)
	assert.Len(t, got.GetQuote().GetFingerprint(), 64)
	assert.NotEmpty(t, got.GetQuote().GetLines())

	r.RateBook = "rateBooks/" + got.GetQuote().GetRateBookRevision()
	named, err := quotes.PreviewQuote(t.Context(), r)
	require.NoError(t, err)
	assert.True(t, proto.Equal(got, named), "the book in force by its own name prices the same")
}

// Whatever a door could pass by, a caller would: every RPC leaves the same marks of the chain at both.
func TestEveryRPCRunsThroughTheChainAtBothDoors(t *testing.T) {
	s := furnished(t, Config{})
	for _, r := range rpcs(t) {
		t.Run(r.method, func(t *testing.T) {
			rest, direct := "rest-"+strings.ReplaceAll(r.method[1:], "/", "."), "grpc-"+strings.ReplaceAll(r.method[1:], "/", ".")
			got := r.byREST(t, s, "X-Request-Id", rest)
			assert.Equal(t, rest, got.header.Get("X-Request-Id"))

			var header metadata.MD
			_, err := r.byGRPC(metadata.AppendToOutgoingContext(t.Context(), "x-request-id", direct), t, s, grpc.Header(&header))
			require.NoError(t, err)
			assert.Equal(t, []string{direct}, header.Get("x-request-id"))

			for id, door := range map[string]string{rest: "rest", direct: "grpc"} {
				lines := s.log.lines(t, `"`+id+`"`)
				require.Len(t, lines, 1)
				assert.Equal(t, r.method, lines[0]["method"])
				assert.Equal(t, door, lines[0]["door"])
				assert.Equal(t, "OK", lines[0]["code"])
				assert.Contains(t, lines[0]["peer"], "127.0.0.1:")
			}
		})
	}
}

// An empty request is refused by the chain's last link, alike at both doors; CheckRateBook answers it.
func TestEveryRPCIsValidatedAtBothDoors(t *testing.T) {
	s := start(t, Config{})
	for _, r := range rpcs(t) {
		if strings.HasSuffix(r.method, "CheckRateBook") || r.verb == http.MethodGet || strings.Contains(r.path, "/Q-") || strings.Contains(r.path, "meshes/") ||
			strings.Contains(r.path, "keys/") || strings.Contains(r.path, "partners/") {
			continue // of these the path makes a part of the request, or the whole
		}
		t.Run(r.method, func(t *testing.T) {
			r.body = "{}"
			_, err := r.byGRPC(t.Context(), t, s)
			direct := refusalOf(status.Convert(err))
			rest := r.byREST(t, s)
			assert.Equal(t, http.StatusBadRequest, rest.status)
			assert.Equal(t, codes.InvalidArgument, direct.Code())
			assert.NotEmpty(t, direct.fields)
			assert.Equal(t, direct.fields, rest.refusal(t).fields)
			assert.Equal(t, direct.Message(), rest.refusal(t).Message())
			assert.Equal(t, direct.info.GetReason(), rest.refusal(t).info.GetReason())
		})
	}
	_, err := mouldwrightv1.NewRateBookServiceClient(s.conn).GetRateBook(t.Context(), &mouldwrightv1.GetRateBookRequest{Name: "rateBooks/UPPER"})
	assert.Contains(t, refusalOf(status.Convert(err)).fields, "name")
	assert.Contains(t, s.send(t, "GET", "/v1/rateBooks/UPPER", nil).refusal(t).fields, "name")
}

func TestRequestIDs(t *testing.T) {
	s := start(t, Config{})
	for given, kept := range map[string]bool{
		"a": true, "A.b_c-1": true, strings.Repeat("x", 64): true,
		strings.Repeat("x", 65): false, "a b": false, "a\"b": false, "": false, "ü": false, "{}": false,
	} {
		got := s.send(t, "GET", "/healthz", nil, "X-Request-Id", given).header.Get("X-Request-Id")
		assert.Equal(t, kept, got == given, "%q became %q", given, got)
		assert.True(t, sane(got))
	}
	twice := s.send(t, "GET", "/healthz", nil, "X-Request-Id", "one", "X-Request-Id", "two").header.Values("X-Request-Id")
	require.Len(t, twice, 1)
	assert.NotContains(t, []string{"one", "two"}, twice[0])

	got := s.post(t, "/v1/quotes:preview", "{}", "X-Request-Id", "mine")
	assert.Equal(t, "mine", got.refusal(t).info.GetMetadata()["requestId"])
}

func TestRateBooks(t *testing.T) {
	s := start(t, Config{})
	books := mouldwrightv1.NewRateBookServiceClient(s.conn)
	got, err := books.GetRateBook(t.Context(), &mouldwrightv1.GetRateBookRequest{Name: "rateBooks/current"})
	require.NoError(t, err)
	assert.True(t, proto.Equal(demoDocument(t), got.GetRateBook()))

	missing := s.send(t, "GET", "/v1/rateBooks/none-2020.1", nil)
	assert.Equal(t, http.StatusNotFound, missing.status)
	assert.Equal(t, reasonNoBook, missing.refusal(t).info.GetReason())

	r := decoded(t, request(demoBrief(t)), &mouldwrightv1.PreviewQuoteRequest{})
	r.RateBook = "rateBooks/none-2020.1"
	_, err = mouldwrightv1.NewQuoteServiceClient(s.conn).PreviewQuote(t.Context(), r)
	assert.Equal(t, codes.NotFound, status.Code(err))
}

func TestCheckRateBook(t *testing.T) {
	s := start(t, Config{})
	ask := func(body string) *mouldwrightv1.CheckRateBookResponse {
		got := s.post(t, "/v1/rateBooks:check", body)
		require.Equal(t, http.StatusOK, got.status, "%s", got.body)
		return decoded(t, string(got.body), &mouldwrightv1.CheckRateBookResponse{})
	}
	paths := func(r *mouldwrightv1.CheckRateBookResponse) (out []string) {
		for _, f := range r.GetFaults() {
			assert.NotEmpty(t, f.GetMessage())
			out = append(out, f.GetPath())
		}
		return out
	}
	sound := ask(`{"rateBook":` + string(demo.Document()) + `}`)
	assert.True(t, sound.GetUsable())
	assert.Empty(t, sound.GetFaults())

	for _, none := range []string{`{}`, `{"rateBook":null}`, `{"rateBook":3}`} {
		assert.False(t, ask(none).GetUsable(), none)
		assert.Len(t, ask(none).GetFaults(), 1, none)
	}
	assert.NotEmpty(t, ask(`{"rateBook":{}}`).GetFaults())

	broken := demoDocument(t)
	broken.Revision, broken.CurrencyCode = "No Good", "XQX"
	broken.Skills[1].HourlyRate = "-1"
	broken.Materials[2].Code = broken.GetMaterials()[1].GetCode()
	broken.Policies.DefaultFinish = "no-such-finish"
	text, err := wire.Encode(broken)
	require.NoError(t, err)
	body := strings.Replace(string(text), `"studio"`, `"studdio"`, 1)
	got := paths(ask(`{"rateBook":` + body + `}`))
	for _, want := range []string{"revision", "studio", "studdio", "currencyCode", "skills[1].hourlyRate", "materials[2].code", "policies.defaultFinish"} {
		assert.Contains(t, got, want)
	}
	assert.Equal(t, "revision", got[0], "the order is the document's")
	assert.Equal(t, "studdio", got[len(got)-1], "what is unknown comes last")

	direct, err := mouldwrightv1.NewRateBookServiceClient(s.conn).CheckRateBook(t.Context(), &mouldwrightv1.CheckRateBookRequest{RateBook: broken})
	require.NoError(t, err)
	assert.False(t, direct.GetUsable())
	assert.NotContains(t, s.log.String(), `"ERROR"`)

	beside := s.post(t, "/v1/rateBooks:check", `{"rateBook":{},"extra":1}`)
	assert.Equal(t, http.StatusBadRequest, beside.status)
	assert.Contains(t, beside.refusal(t).fields, "extra")
}

func TestHealthAndReflection(t *testing.T) {
	s := start(t, Config{})
	state, err := healthv1.NewHealthClient(s.conn).Check(t.Context(), &healthv1.HealthCheckRequest{}, grpc.WaitForReady(true))
	require.NoError(t, err)
	assert.Equal(t, healthv1.HealthCheckResponse_SERVING, state.GetStatus())

	stream, err := reflectionv1.NewServerReflectionClient(s.conn).ServerReflectionInfo(t.Context())
	require.NoError(t, err)
	require.NoError(t, stream.Send(&reflectionv1.ServerReflectionRequest{MessageRequest: &reflectionv1.ServerReflectionRequest_ListServices{}}))
	list, err := stream.Recv()
	require.NoError(t, err)
	var names []string
	for _, one := range list.GetListServicesResponse().GetService() {
		names = append(names, one.GetName())
	}
	for _, r := range rpcs(t) {
		assert.Contains(t, names, strings.Split(r.method, "/")[1])
	}
	require.NoError(t, stream.CloseSend())
}

func TestPages(t *testing.T) {
	s := start(t, Config{})
	for path, holds := range map[string]string{"/": "/openapi.json", "/healthz": "ok", "/readyz": "ready", "/openapi.json": `"openapi"`} {
		got := s.send(t, "GET", path, nil)
		assert.Equal(t, http.StatusOK, got.status, path)
		assert.Contains(t, string(got.body), holds, path)
		assert.Equal(t, "nosniff", got.header.Get("X-Content-Type-Options"), path)
		assert.Equal(t, "no-store", got.header.Get("Cache-Control"), path)
		assert.Equal(t, http.StatusOK, s.send(t, "HEAD", path, nil).status, path)
		refused := s.post(t, path, "{}")
		assert.Equal(t, http.StatusMethodNotAllowed, refused.status, path)
		assert.Equal(t, "GET, HEAD", refused.header.Get("Allow"), path)
		assert.Equal(t, reasonVerb, refused.refusal(t).info.GetReason(), path)
	}
}

func TestUnknownRPC(t *testing.T) {
	s := start(t, Config{})
	err := s.conn.Invoke(t.Context(), "/mouldwright.v1.QuoteService/Nothing", &mouldwrightv1.PreviewQuoteRequest{}, &mouldwrightv1.PreviewQuoteResponse{})
	got := refusalOf(status.Convert(err))
	assert.Equal(t, codes.Unimplemented, got.Code())
	assert.Equal(t, reasonNoMethod, got.info.GetReason())
}

// Callers' metadata reaches the services only by name, and theirs the callers likewise.
func TestHeadersDoNotPassUnasked(t *testing.T) {
	spy := &quotesSpy{}
	s := start(t, Config{}, spy)
	got := s.post(t, "/v1/quotes:preview", request(demoBrief(t)),
		"Grpc-Metadata-X-User", "admin", "Authorization", "Bearer x", "Cookie", "a=b", "Traceparent", "00-0-0-00", "X-Forwarded-For", "10.0.0.1")
	require.Equal(t, http.StatusOK, got.status)
	for key := range spy.metadata {
		assert.Contains(t, []string{"x-request-id", "traceparent"}, key)
	}
	for name := range got.header {
		assert.NotContains(t, name, "Grpc-")
	}
	assert.Empty(t, got.header.Get("Secret"))

	overridden := s.send(t, "POST", "/v1/rateBooks/current", strings.NewReader("{}"), "X-HTTP-Method-Override", "GET")
	assert.Equal(t, http.StatusMethodNotAllowed, overridden.status)
}

type quotesSpy struct {
	mouldwrightv1.UnimplementedQuoteServiceServer
	metadata metadata.MD
}

func (q *quotesSpy) PreviewQuote(ctx context.Context, _ *mouldwrightv1.PreviewQuoteRequest) (*mouldwrightv1.PreviewQuoteResponse, error) {
	q.metadata, _ = metadata.FromIncomingContext(ctx)
	return &mouldwrightv1.PreviewQuoteResponse{}, grpc.SetHeader(ctx, metadata.Pairs("secret", "x"))
}

// bindingOf is the first way in over HTTP that the contract gives a method.
func bindingOf(m protoreflect.MethodDescriptor) (verb, path string) {
	return binding(proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule))
}

// What a client pays is the same in either view; the studio's own comes only where it is asked for (AIP-157).
func TestWorkingsComeOnlyWhenAskedFor(t *testing.T) {
	s := start(t, Config{})
	quotes := mouldwrightv1.NewQuoteServiceClient(s.conn)
	r := decoded(t, request(demoBrief(t)), &mouldwrightv1.PreviewQuoteRequest{})
	of := map[mouldwrightv1.QuoteView]*mouldwrightv1.Quote{}
	for view := range mouldwrightv1.QuoteView_name {
		r.View = mouldwrightv1.QuoteView(view)
		got, err := quotes.PreviewQuote(t.Context(), r)
		require.NoError(t, err)
		of[r.View] = got.GetQuote()
	}
	plain, whole := of[mouldwrightv1.QuoteView_QUOTE_VIEW_PRICE], of[mouldwrightv1.QuoteView_QUOTE_VIEW_WORKINGS]
	assert.True(t, proto.Equal(plain, of[mouldwrightv1.QuoteView_QUOTE_VIEW_UNSPECIFIED]))
	assert.Nil(t, plain.GetWorkings())
	assert.NotEmpty(t, whole.GetWorkings().GetLabour())
	assert.True(t, proto.Equal(plain.GetGross(), whole.GetGross()))
	assert.Equal(t, plain.GetFingerprint(), whole.GetFingerprint())
}

// Whoever only has a brief measured is told what was assumed of its pieces as whoever has it priced.
func TestMeasuringSaysWhatWasAssumed(t *testing.T) {
	s := start(t, Config{})
	measured, err := mouldwrightv1.NewTakeoffServiceClient(s.conn).MeasureBrief(t.Context(), decoded(t, onePiece("", high, ""), &mouldwrightv1.MeasureBriefRequest{}))
	require.NoError(t, err)
	priced, err := mouldwrightv1.NewQuoteServiceClient(s.conn).PreviewQuote(t.Context(), decoded(t, onePiece("", high, ""), &mouldwrightv1.PreviewQuoteRequest{}))
	require.NoError(t, err)
	assert.NotEmpty(t, measured.GetAssumptions())
	assert.Subset(t, priced.GetQuote().GetAssumptions(), measured.GetAssumptions())
	assert.Subset(t, priced.GetQuote().GetWarnings(), measured.GetWarnings())
}
