package server

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

const preview = "/v1/quotes:preview"

// onePiece is a brief of one sound piece, with more fields of the piece, of its dome and of the brief.
func onePiece(piece, dome, brief string) string {
	return `{"brief":{"title":"T","client":"C","pieces":[{"code":"p1","name":"P","quantity":2,` + piece +
		`"form":{"solids":[{"dome":{"diameterMm":900,` + dome + `"curve":"DOME_CURVE_HALF_SPHEROID"}}]}}]` + brief + `}}`
}

const high = `"heightMm":400,` // the height that makes onePiece's dome whole

func TestOnePieceIsSound(t *testing.T) {
	s := start(t, Config{})
	got := s.post(t, preview, onePiece("", high, ""))
	require.Equal(t, http.StatusOK, got.status, "%s", got.body)
}

func TestRESTIsStrict(t *testing.T) {
	s := start(t, Config{})
	const dome = "brief.pieces[0].form.solids[0].dome"
	many := strings.Repeat(`{},`, 200) + `{}`
	for _, c := range []struct {
		name, body string
		status     int
		reason     string
		paths      []string
	}{
		{"unknown field", onePiece(`"quantitee":3,`, high, ""), 400, reasonBrief, []string{"brief.pieces[0].quantitee"}},
		{"unknown field at the top", `{"breef":{},` + onePiece("", high, "")[1:], 400, reasonRequest, []string{"breef"}},
		{"misspelt enum", onePiece(`"body":"BODY_CLOSD",`, high, ""), 400, reasonBrief, []string{"brief.pieces[0].body"}},
		{"enum by number", onePiece(`"body":1,`, high, ""), 400, reasonBrief, []string{"brief.pieces[0].body"}},
		{"not a number", onePiece("", `"heightMm":"NaN",`, ""), 400, reasonBrief, []string{dome + ".heightMm"}},
		{"infinity", onePiece("", `"heightMm":"Infinity",`, ""), 400, reasonBrief, []string{dome + ".heightMm"}},
		{"too big for a double", onePiece("", `"heightMm":1e999,`, ""), 400, reasonBrief, []string{dome + ".heightMm"}},
		{"negative size", onePiece("", `"heightMm":-1,`, ""), 400, reasonBrief, []string{dome + ".heightMm"}},
		{"unknown finish", onePiece(`"finish":"mirror-of-gold",`, high, ""), 400, reasonBrief, []string{"brief.pieces[0].finish"}},
		{"201 pieces", `{"brief":{"pieces":[` + many + `]}}`, 400, reasonBrief, []string{"brief.pieces"}},
		{"field twice", onePiece(`"quantity":3,`, high, ""), 400, reasonBrief, []string{"brief.pieces[0].quantity"}},
		{"two of one choice", strings.Replace(onePiece("", high, ""), `"dome":`, `"frustum":{"heightMm":1},"dome":`, 1), 400, reasonBrief, []string{dome}},
		{"two forms", strings.Replace(onePiece("", high, ""), `"solids":`, `"measured":{},"solids":`, 1), 400, reasonBrief, []string{"brief.pieces[0].form"}},
		{"no such day", onePiece("", high, `,"preparedOn":"2027-02-30"`), 400, reasonBrief, []string{"brief.preparedOn"}},
		{"broken JSON", `{"brief":{"title":`, 400, reasonRequest, []string{""}},
		{"two documents", onePiece("", high, "") + "{}", 400, reasonRequest, []string{""}},
		{"empty body", ``, 400, reasonRequest, []string{""}},
		{"a list", `[]`, 400, reasonRequest, []string{""}},
		{"not UTF-8", "{\"brief\":{\"title\":\"\xff\"}}", 400, reasonRequest, []string{""}},
		{"nested without end", `{"brief":` + strings.Repeat(`{"a":`, 40000), 400, reasonRequest, []string{""}},
		{"lists without end", `{"brief":` + strings.Repeat(`[`, 200000), 400, reasonRequest, []string{""}},
		{"1 MiB", `{"brief":{"title":"` + strings.Repeat("x", 1<<20) + `"}}`, 413, reasonBodySize, nil},
		{"no brief", `{}`, 400, reasonBrief, []string{"brief"}},
		{"bad name of a book", `{"rateBook":"../x",` + onePiece("", high, "")[1:], 400, reasonRequest, []string{"rateBook"}},
		{"a book that is not there", `{"rateBook":"rateBooks/nope",` + onePiece("", high, "")[1:], 404, reasonNoBook, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := s.post(t, preview, c.body)
			require.Equal(t, c.status, got.status, "%.500s", got.body)
			r := got.refusal(t)
			assert.Equal(t, c.reason, r.info.GetReason())
			assert.Equal(t, domain, r.info.GetDomain())
			assert.Equal(t, got.header.Get("X-Request-Id"), r.info.GetMetadata()["requestId"])
			for _, path := range c.paths {
				assert.Contains(t, r.fields, path)
			}
			assert.Less(t, len(got.body), 64<<10)
		})
	}
	assert.NotContains(t, s.log.String(), `"ERROR"`)
}

func TestRESTRefusesOtherKindsOfRequest(t *testing.T) {
	s := start(t, Config{})
	body := onePiece("", high, "")
	for _, c := range []struct {
		name, verb, path string
		headers          []string
		status           int
		reason, allow    string
	}{
		{"of no type", "POST", preview, []string{"Content-Type", ""}, 415, reasonType, ""},
		{"text", "POST", preview, []string{"Content-Type", "text/plain"}, 415, reasonType, ""},
		{"form", "POST", preview, []string{"Content-Type", "application/x-www-form-urlencoded"}, 415, reasonType, ""},
		{"nonsense", "POST", preview, []string{"Content-Type", ";;;"}, 415, reasonType, ""},
		{"another charset", "POST", preview, []string{"Content-Type", "application/json; charset=iso-8859-1"}, 415, reasonType, ""},
		{"no charset", "POST", preview, []string{"Content-Type", "application/json; charset="}, 415, reasonType, ""},
		{"packed", "POST", preview, []string{"Content-Type", "application/json", "Content-Encoding", "gzip"}, 415, reasonType, ""},
		{"wrong verb", "PUT", preview, nil, 405, reasonVerb, "POST"},
		{"get where post is meant", "GET", preview, nil, 405, reasonVerb, "POST"},
		{"post where get is meant", "POST", "/v1/rateBooks/current", nil, 405, reasonVerb, "GET"},
		{"unknown path", "POST", "/v1/quotes:prevue", nil, 404, reasonNoPath, ""},
		{"unknown path outside", "GET", "/favicon.ico", nil, 404, reasonNoPath, ""},
		{"path too deep", "GET", "/v1/rateBooks/a/b", nil, 404, reasonNoPath, ""},
		{"bad timeout", "POST", preview, []string{"Grpc-Timeout", "soon"}, 400, reasonRequest, ""},
		{"parameters", "POST", preview + "?rateBook=rateBooks/other", nil, 400, reasonRequest, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := s.send(t, c.verb, c.path, strings.NewReader(body), c.headers...)
			require.Equal(t, c.status, got.status, "%s", got.body)
			assert.Equal(t, c.reason, got.refusal(t).info.GetReason())
			assert.Equal(t, c.allow, got.header.Get("Allow"))
			assert.Equal(t, "application/json", got.header.Get("Content-Type"))
			assert.Equal(t, "nosniff", got.header.Get("X-Content-Type-Options"))
		})
	}
	for _, fine := range [][]string{{"Content-Type", "application/json"}, {"Content-Type", "application/json; charset=utf-8"}, {"Content-Type", "APPLICATION/JSON"}, {"Content-Type", "application/json; charset=\"UTF-8\""}} {
		assert.Equal(t, http.StatusOK, s.send(t, "POST", preview, strings.NewReader(body), fine...).status, "%v", fine)
	}
	assert.NotContains(t, s.log.String(), `"ERROR"`)
}

// A body that does not say how long it is, is stopped all the same.
func TestAStreamedBodyIsBounded(t *testing.T) {
	s := start(t, Config{BodyLimit: 1000})
	got := s.send(t, "POST", preview, &endless{}, "Content-Type", "application/json")
	assert.Equal(t, http.StatusRequestEntityTooLarge, got.status)
	assert.Equal(t, "1000", got.refusal(t).info.GetMetadata()["limitBytes"])
}

type endless struct{}

// Read never ends, and has no length that a client could tell in advance.
func (*endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = ' '
	}
	return min(len(p), 100), nil
}

func TestEveryFaultComesInOneAnswer(t *testing.T) {
	s := start(t, Config{})
	const at = "brief.pieces[0]"
	got := s.post(t, preview, `{"brief":{"title":"T","colour":"red","preparedOn":"soon","deadline":"2027-13-01","rush":"at-once","pieces":[
		{"code":"p1","name":"P","quantity":0,"finish":"gold-leaf-all-over","laminate":"paper","handing":"HANDING_BOTH","sise":1,
		 "form":{"solids":[{"dome":{"diameterMm":-1,"heightMm":"NaN"}}]},
		 "zones":[{"name":"z","finish":"nope","spot":{"diameterMm":99999999}}]},
		{"code":"p1","name":"Q","quantity":1.5,"form":{"measured":{}}}]},"page":2}`)
	require.Equal(t, http.StatusBadRequest, got.status)
	r := got.refusal(t)
	for _, path := range []string{
		"page", "brief.colour", "brief.preparedOn", "brief.deadline", "brief.rush",
		at + ".quantity", at + ".finish", at + ".laminate", at + ".handing", at + ".sise",
		at + ".form.solids[0].dome.diameterMm", at + ".form.solids[0].dome.heightMm",
		at + ".zones[0].finish", at + ".zones[0].spot.diameterMm",
		"brief.pieces[1].code", "brief.pieces[1].quantity",
	} {
		assert.Contains(t, r.fields, path)
	}
	assert.Equal(t, codes.InvalidArgument, r.Code())
	assert.Contains(t, r.Message(), fmt.Sprintf("%d faults; the first: brief.", len(r.fields)))
	assert.NotContains(t, s.log.String(), "gold-leaf", "what callers send stays out of the log")
	assert.NotContains(t, s.log.String(), `"ERROR"`)
}

// What a caller may pile up within the body limit, the service gets over with quickly and in few words.
func TestAbuseIsBounded(t *testing.T) {
	s := start(t, Config{})
	var keys, taxes strings.Builder
	for i := range 100_000 {
		if keys.Len() < 250<<10 {
			fmt.Fprintf(&keys, `"k%d":0,`, i)
			fmt.Fprintf(&taxes, `{"code":"%d"},`, i)
		}
	}
	for name, body := range map[string]string{
		"unknown keys":       `{"brief":{` + keys.String() + `"title":"T"}}`,
		"empty pieces":       `{"brief":{"pieces":[` + strings.Repeat(`{},`, 80_000) + `{}]}}`,
		"empty options":      `{"brief":{"options":[` + strings.Repeat(`{},`, 80_000) + `{}]}}`,
		"empty solids":       `{"brief":{"pieces":[{"form":{"solids":[` + strings.Repeat(`{},`, 80_000) + `{}]}}]}}`,
		"coded pieces":       `{"brief":{"pieces":[` + strings.Repeat(`{"code":"a","finish":"b"},`, 9_000) + `{}]}}`,
		"scalars in a list":  `{"brief":{"pieces":[` + strings.Repeat(`1,`, 120_000) + `1]}}`,
		"one key very often": `{"brief":{` + strings.Repeat(`"title":"",`, 20_000) + `"title":"T"}}`,
		"long number":        `{"brief":{"pieces":[{"quantity":` + strings.Repeat("9", 250_000) + `}]}}`,
	} {
		t.Run(name, func(t *testing.T) {
			got := s.post(t, preview, body)
			assert.Equal(t, http.StatusBadRequest, got.status, "%.300s", got.body)
			assert.Less(t, len(got.body), 64<<10)
			assert.LessOrEqual(t, len(got.refusal(t).fields), mostViolations+1)
		})
	}
}

// A form that the contract has and the engine has not is told apart from a mistake.
func TestLaterForms(t *testing.T) {
	s := start(t, Config{})
	body := `{"brief":{"title":"T","client":"C","pieces":[{"code":"p1","name":"P","quantity":2,"form":{"likeness":{
		"kind":"LIKENESS_KIND_BIRD","largestMm":900}}}]}}`
	got := s.post(t, preview, body)
	if got.status == http.StatusBadRequest {
		t.Logf("%s", got.body)
	}
	require.Equal(t, http.StatusNotImplemented, got.status, "%s", got.body)
	r := got.refusal(t)
	assert.Equal(t, codes.Unimplemented, r.Code())
	assert.Equal(t, reasonLater, r.info.GetReason())
	const likeness = "brief.pieces[0].form.likeness"
	assert.Contains(t, r.fields, likeness)
	assert.Equal(t, reasonLater, r.kinds[likeness])

	beside := s.post(t, preview, strings.Replace(body, `"quantity":2`, `"quantity":0`, 1))
	require.Equal(t, http.StatusBadRequest, beside.status, "%s", beside.body)
	assert.Equal(t, map[string]string{likeness: reasonLater, "brief.pieces[0].quantity": faultLimit}, beside.refusal(t).kinds, "beside a mistake it is still no mistake")
}

// A fault that is the document's is told alone: what the broken document seems to miss is nobody's fault.
func TestABrokenDocumentIsTheOnlyFault(t *testing.T) {
	s := start(t, Config{})
	got := s.post(t, preview, "{\n  \"brief\": {\n    \"titel\": \"T\",\n  }\n}").refusal(t)
	require.Len(t, got.fields, 1)
	assert.Contains(t, got.fields[""], "line 4, column 3")
	assert.Equal(t, faultForm, got.kinds[""])
	assert.Equal(t, http.StatusOK, s.post(t, preview, "\ufeff"+onePiece("", high, "")).status)
}

func TestGRPCSaysOfNumbersWhatRESTSays(t *testing.T) {
	s := start(t, Config{})
	r := decoded(t, onePiece("", high, ""), &mouldwrightv1.PreviewQuoteRequest{})
	r.GetBrief().GetPieces()[0].GetForm().GetSolids()[0].GetDome().HeightMm = math.NaN()
	_, err := mouldwrightv1.NewQuoteServiceClient(s.conn).PreviewQuote(t.Context(), r)
	const at = "brief.pieces[0].form.solids[0].dome.heightMm"
	assert.Equal(t, "got NaN, allowed: a finite number", refusalOf(status.Convert(err)).fields[at])
	assert.Equal(t, `got "NaN", allowed: a finite number`, s.post(t, preview, onePiece("", `"heightMm":"NaN",`, "")).refusal(t).fields[at])
}

// A gRPC message that is none is refused like JSON that is none, and not as a fault of the service.
func TestGRPCRefusesWhatCannotBeRead(t *testing.T) {
	s := start(t, Config{})
	for name, raw := range map[string][]byte{"cut short": {0x0a, 0x7f, 0x01}, "not UTF-8": {0x0a, 0x03, 0x0a, 0x01, 0xff}} {
		err := s.conn.Invoke(t.Context(), "/mouldwright.v1.QuoteService/PreviewQuote", raw, &mouldwrightv1.PreviewQuoteResponse{}, grpc.ForceCodecV2(rawCodec{}))
		got := refusalOf(status.Convert(err))
		assert.Equal(t, codes.InvalidArgument, got.Code(), name)
		assert.Equal(t, reasonRequest, got.info.GetReason(), name)
		assert.Len(t, got.fields, 1, "%s: %v", name, err)
	}
	for size, want := range map[int]codes.Code{300 << 10: codes.InvalidArgument, 2 << 20: codes.ResourceExhausted} {
		err := s.conn.Invoke(t.Context(), "/mouldwright.v1.QuoteService/PreviewQuote", make([]byte, size), &mouldwrightv1.PreviewQuoteResponse{}, grpc.ForceCodecV2(rawCodec{}))
		assert.Equal(t, want, status.Code(err))
	}
	assert.Len(t, s.log.lines(t, reasonBodySize), 1)
	assert.NotContains(t, s.log.String(), `"ERROR"`)
}

// rawCodec sends bytes as they are.
type rawCodec struct{}

func (rawCodec) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(v.([]byte))}, nil
}

func (rawCodec) Unmarshal(data mem.BufferSlice, v any) error {
	return encoding.GetCodecV2("proto").Unmarshal(data, v)
}
func (rawCodec) Name() string { return "proto" }

// FuzzREST holds the door to this: whatever comes in, the answer is JSON, and no fault of the service.
func FuzzREST(f *testing.F) {
	for _, text := range briefs(f) {
		f.Add(uint8(0), []byte(request(text)))
		f.Add(uint8(1), []byte(request(text)))
	}
	f.Add(uint8(2), []byte(onePiece(`"body":1,`, `"heightMm":"NaN",`, "")))
	f.Add(uint8(3), []byte(costs))
	f.Add(uint8(4), []byte(`{"rateBook":{"skills":[{"code":"a"}],"policies":{},"method":{}}}`))
	f.Add(uint8(0), []byte(`{"brief":{"pieces":[null,{"form":{"solids":[null]}}],"options":[{}]}}`))
	rules := rulesOf(f)
	c := Config{Store: demoStore(f, rules), Keyless: true}
	book := &logbook{}
	c.Logger = loggerTo(book)
	c = c.withDefaults()
	common, err := newRoom(c, rules)
	require.NoError(f, err)
	s, err := newServer(c, common, services(common))
	require.NoError(f, err)
	paths := []string{preview, "/v1/takeoffs:measure", "/v1/labour:estimate", "/v1/margins:apply", "/v1/rateBooks:check"}
	f.Fuzz(func(t *testing.T, which uint8, body []byte) {
		r, err := http.NewRequestWithContext(context.Background(), http.MethodPost, paths[int(which)%len(paths)], bytes.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		w := newRecorder()
		s.http.Handler.ServeHTTP(w, r)
		if w.Code >= 500 && w.Code != http.StatusNotImplemented || !json.Valid(w.Body.Bytes()) {
			t.Fatalf("%d: %s\n%s", w.Code, w.Body, book)
		}
	})
}
