package server

import (
	"bytes"
	"context"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

func meshFile(t testing.TB, name string) []byte {
	t.Helper()
	doc, err := os.ReadFile("../../testdata/meshes/" + name)
	require.NoError(t, err)
	return doc
}

// send sends a request and returns its status, headers and body.
func send(t testing.TB, verb, url, contentType string, body []byte) (*http.Response, []byte) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), verb, url, bytes.NewReader(body))
	require.NoError(t, err)
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	answer, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	defer func() { _ = answer.Body.Close() }()
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return answer, text
}

// One file by three ways in is one mesh, with the same measures.
func TestAMeshIsTheSameByEveryDoor(t *testing.T) {
	s := start(t, Config{})
	file := meshFile(t, "public/p06_undercut_hook.stl")
	url := "http://" + s.address + "/v1/meshes"
	answer, raw := send(t, http.MethodPost, url+"?unit=mm&title=Hook&fileName=hook.stl", "model/stl", file)
	require.Equal(t, http.StatusOK, answer.StatusCode, string(raw))
	body, err := json.Marshal(map[string]any{
		"reading": map[string]string{"unit": "LENGTH_UNIT_MILLIMETRE", "title": "Hook", "fileName": "hook.stl"}, "file": base64.StdEncoding.EncodeToString(file),
	})
	require.NoError(t, err)
	_, asJSON := send(t, http.MethodPost, url, "application/json", body)
	assert.Equal(t, string(raw), string(asJSON))

	stream, err := mouldwrightv1.NewTakeoffServiceClient(s.conn).UploadMesh(t.Context())
	require.NoError(t, err)
	reading := &mouldwrightv1.MeshReading{Unit: mouldwrightv1.LengthUnit_LENGTH_UNIT_MILLIMETRE, Title: "Hook", FileName: "hook.stl"}
	require.NoError(t, stream.Send(&mouldwrightv1.UploadMeshRequest{Part: &mouldwrightv1.UploadMeshRequest_Reading{Reading: reading}}))
	for len(file) > 0 {
		n := min(400, len(file))
		require.NoError(t, stream.Send(&mouldwrightv1.UploadMeshRequest{Part: &mouldwrightv1.UploadMeshRequest_Chunk{Chunk: file[:n]}}))
		file = file[n:]
	}
	kept, err := stream.CloseAndRecv()
	require.NoError(t, err)
	takeoff := kept.GetMesh().GetTakeoff()
	assert.InDelta(t, 0.1008, takeoff.GetSurfaceM2(), 1e-9)
	assert.InDelta(t, 0.00104, takeoff.GetMaterialVolumeM3(), 1e-12)
	assert.Contains(t, string(raw), kept.GetMesh().GetName())
}

func TestAMeshIsFoundMeasuredDrawnAndForgotten(t *testing.T) {
	s := start(t, Config{})
	url := "http://" + s.address + "/v1/meshes"
	for _, id := range []string{"hook", "hook-again", "horn"} {
		name := "public/p06_undercut_hook.stl"
		if id == "horn" {
			name = "public/p08a_horn_left.stl"
		}
		answer, text := send(t, http.MethodPost, url+"?unit=mm&meshId="+id, "application/octet-stream", meshFile(t, name))
		require.Equal(t, http.StatusOK, answer.StatusCode, string(text))
	}
	_, page := send(t, http.MethodGet, url+"?pageSize=2", "", nil)
	var list struct {
		Meshes        []struct{ Name string }
		NextPageToken string
	}
	require.NoError(t, json.Unmarshal(page, &list))
	require.Len(t, list.Meshes, 2)
	_, page = send(t, http.MethodGet, url+"?pageSize=2&pageToken="+list.NextPageToken, "", nil)
	assert.Contains(t, string(page), "meshes/horn")

	_, sheet := send(t, http.MethodPost, url+"/hook:measure", "application/json", []byte(`{"scale":10,"pulls":[{"zRatio":1}],"layerMm":500,"thinLimitMm":2}`))
	assert.Contains(t, string(sheet), `"surfaceM2":10.08`)
	_, hand := send(t, http.MethodPost, url+"/hook:compare", "application/json", []byte(`{"other":"meshes/hook-again"}`))
	assert.Contains(t, string(hand), `"same":true`)
	for format, begins := range map[string]string{"PICTURE_FORMAT_PNG": "\x89PNG", "PICTURE_FORMAT_SVG": "<"} {
		answer, picture := send(t, http.MethodGet, url+"/horn/picture?format="+format+"&scale=4", "", nil)
		assert.Equal(t, http.StatusOK, answer.StatusCode)
		assert.True(t, strings.HasPrefix(string(picture), begins), format)
		assert.True(t, strings.HasPrefix(answer.Header.Get("Content-Type"), "image/"), answer.Header)
	}
	answer, _ := send(t, http.MethodDelete, url+"/hook", "", nil)
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	answer, _ = send(t, http.MethodGet, url+"/hook", "", nil)
	assert.Equal(t, http.StatusNotFound, answer.StatusCode)
}

func TestMeshesThatAreNotTakenIn(t *testing.T) {
	s := start(t, Config{MeshLimit: 1 << 20})
	url := "http://" + s.address + "/v1/meshes"
	hook := meshFile(t, "public/p06_undercut_hook.stl")
	_, _ = send(t, http.MethodPost, url+"?unit=mm&meshId=taken", "model/stl", hook)
	for name, row := range map[string]struct {
		query  string
		file   []byte
		status int
		says   string
	}{
		"no unit":         {"", hook, 400, "?unit"},
		"a wrong unit":    {"?unit=yard", hook, 400, "?unit"},
		"a wrong name":    {"?unit=mm&meshId=No", hook, 400, "meshId"},
		"an odd field":    {"?unit=mm&units=mm", hook, 400, "units"},
		"a truncated one": {"?unit=mm", meshFile(t, "bad/b01_truncated_binary.stl"), 400, "TRUNCATED"},
		"a web page":      {"?unit=mm", meshFile(t, "bad/b23_html.stl"), 400, "NOT_A_MESH"},
		"nothing":         {"?unit=mm", nil, 400, "file"},
		"too much":        {"?unit=mm", make([]byte, 1<<20+1), 413, "larger"},
		"a taken name":    {"?unit=cm&meshId=taken", hook, 409, "meshes/taken"},
	} {
		t.Run(name, func(t *testing.T) {
			answer, text := send(t, http.MethodPost, url+row.query, "model/stl", row.file)
			assert.Equal(t, row.status, answer.StatusCode, string(text))
			assert.Contains(t, string(text), row.says)
		})
	}
}

func TestAnUploadBeginsWithItsReading(t *testing.T) {
	s := start(t, Config{})
	stream, err := mouldwrightv1.NewTakeoffServiceClient(s.conn).UploadMesh(t.Context())
	require.NoError(t, err)
	_ = stream.Send(&mouldwrightv1.UploadMeshRequest{Part: &mouldwrightv1.UploadMeshRequest_Chunk{Chunk: []byte("solid")}}) // may be cut off by the answer
	_, err = stream.CloseAndRecv()
	assert.Equal(t, codes.InvalidArgument, status.Code(err), err)
}

// What is kept of a streamed file has no more room than it needs.
func TestAStreamedFileIsKeptAtItsSize(t *testing.T) {
	f := newIncoming(-1, 1<<20)
	require.NoError(t, f.add([]byte("solid")))
	assert.Equal(t, "solid", string(f.whole()))
	assert.LessOrEqual(t, cap(f.whole()), 64)
	require.NoError(t, f.add(make([]byte, 1<<20-5)))
	assert.Len(t, f.whole(), 1<<20)
	require.Error(t, f.add([]byte{0}))
}

// A mesh far too tall for usual layers is still shown, and one too large to draw is refused.
func TestAMeshInTheWrongUnit(t *testing.T) {
	s := start(t, Config{})
	url := "http://" + s.address + "/v1/meshes"
	answer, text := send(t, http.MethodPost, url+"?unit=m&meshId=giant", "model/stl", meshFile(t, "public/p06_undercut_hook.stl"))
	require.Equal(t, http.StatusOK, answer.StatusCode, string(text))
	assert.Contains(t, string(text), "odd_size")
	answer, _ = send(t, http.MethodGet, url+"/giant", "", nil)
	assert.Equal(t, http.StatusOK, answer.StatusCode)
	answer, text = send(t, http.MethodGet, url+"/giant/picture?scale=10000", "", nil)
	assert.Equal(t, http.StatusBadRequest, answer.StatusCode, string(text))
}

// All that is wrong with a query is named at once, by its parameters and with what is
// allowed, and so are the limits of those that can be read.
func TestAllFaultsOfAQuery(t *testing.T) {
	s := start(t, Config{})
	path := "/v1/meshes/hare/picture"
	for query, want := range map[string]map[string]string{
		"format=SVG&scle=8&scale=0": {
			"?format": `got "SVG"; allowed: PICTURE_FORMAT_PNG, PICTURE_FORMAT_SVG`, "?scle": `no such parameter; did you mean "scale"?`, "?scale": "got 0, allowed: greater than 0",
		},
		"scale=much&widthPx=1&format=2": {
			"?scale": `got "much", allowed: a finite number`, "?widthPx": "got 1, allowed: ", "?format": `got "2"; allowed: PICTURE_FORMAT_PNG, PICTURE_FORMAT_SVG`,
		},
		"scale=nan&widthPx=&scale=2": {"?scale": "given 2 times", "?widthPx": `got "", allowed: a whole number`},
		"widthPx=400.5&%zz":          {"?widthPx": "a whole number", "?": "cannot be read"},
	} {
		got := s.send(t, http.MethodGet, path+"?"+query, nil)
		require.Equal(t, http.StatusBadRequest, got.status, "%s", got.body)
		fields := got.refusal(t).fields
		assert.Len(t, fields, len(want), "%s: %v", query, fields)
		for name, says := range want {
			assert.Contains(t, fields[name], says, query)
		}
	}
	got := s.send(t, http.MethodGet, path+"?format=PICTURE_FORMAT_SVG&scale=8e0&widthPx=4e2", nil)
	assert.Equal(t, http.StatusOK, got.status, "%s", got.body)
	assert.Equal(t, "image/svg+xml", got.header.Get("Content-Type"))
}

// A file without a unit is told how its door names one; a mesh that is deleted twice is
// not asked for again.
func TestWordsForMeshes(t *testing.T) {
	s := start(t, Config{})
	hook := meshFile(t, "public/p06_undercut_hook.stl")
	got := s.send(t, http.MethodPost, "/v1/meshes", bytes.NewReader(hook), "Content-Type", "model/stl")
	assert.Contains(t, got.refusal(t).fields["?unit"], "allowed: mm, cm, m, in, ft")
	got = s.send(t, http.MethodPost, "/v1/meshes?unit=mm&meshId=-a", bytes.NewReader(hook), "Content-Type", "model/stl")
	assert.Equal(t, `got "-a", allowed: lower-case letters, digits and hyphens, no hyphen at either end, at most 60`, got.refusal(t).fields["?meshId"])
	got = s.post(t, "/v1/meshes", `{"file":"`+base64.StdEncoding.EncodeToString(hook)+`"}`)
	assert.Contains(t, got.refusal(t).fields["reading.unit"], "allowed: LENGTH_UNIT_MILLIMETRE, LENGTH_UNIT_CENTIMETRE, LENGTH_UNIT_METRE")
	got = s.send(t, http.MethodDelete, "/v1/meshes/none", nil)
	assert.Equal(t, http.StatusNotFound, got.status)
	assert.NotContains(t, string(got.body), "upload it")
}

// A file that is brought again with another title, or another name of the file, is refused by
// either door, and what is kept stays as it is. The same words, or none, are answered with it.
func TestOtherWordsForAKeptMesh(t *testing.T) {
	s := start(t, Config{})
	service := mouldwrightv1.NewTakeoffServiceClient(s.conn)
	bring := func(id, title, fileName string) map[string]*status.Status {
		query := url.Values{"unit": {"mm"}, "meshId": {id}, "title": {title}, "fileName": {fileName}}
		got := s.send(t, http.MethodPost, "/v1/meshes?"+query.Encode(), strings.NewReader(corner), "Content-Type", "model/stl")
		rest := status.New(codes.OK, "")
		if got.status != http.StatusOK {
			rest = got.refusal(t).Status
		}
		_, err := service.CreateMesh(t.Context(), &mouldwrightv1.CreateMeshRequest{File: []byte(corner), Reading: &mouldwrightv1.MeshReading{
			MeshId: id, Title: title, FileName: fileName, Unit: mouldwrightv1.LengthUnit_LENGTH_UNIT_MILLIMETRE,
		}})
		return map[string]*status.Status{"REST": rest, "gRPC": status.Convert(err)}
	}
	for _, row := range []struct{ id, title, fileName, says string }{
		{"gate", "A snail", "snail.stl", ""}, // is kept
		{"gate", "A snail", "snail.stl", ""},
		{"gate", "", "", ""},
		{"gate", "A slug", "snail.stl", `as meshes/gate with the title "A snail"; allowed: the same, none, or another meshId`},
		{"gate", "", "slug.stl", `with the fileName "snail.stl"; allowed`},
		{"gate", "A slug", "slug.stl", `with the title "A snail" and the fileName "snail.stl"; allowed`},
		{"other", "A slug", "slug.stl", ""},
		{"bare", "", "", ""}, // by REST with a name of the file that the door made up
		{"bare", "", "snail.stl", ""},
		{"", "A slug", "slug.stl", ""}, // under a name made from its content
	} {
		for door, got := range bring(row.id, row.title, row.fileName) {
			if row.says == "" {
				assert.Equal(t, codes.OK, got.Code(), "%+v by %s: %s", row, door, got.Message())
				continue
			}
			assert.Equal(t, codes.AlreadyExists, got.Code(), "%+v by %s", row, door)
			assert.Equal(t, reasonMeshTaken, refusalOf(got).info.GetReason())
			assert.Contains(t, got.Message(), row.says, door)
		}
	}
	kept, err := service.GetMesh(t.Context(), &mouldwrightv1.GetMeshRequest{Name: "meshes/gate"})
	require.NoError(t, err)
	reading := kept.GetMesh().GetReading()
	assert.Equal(t, []string{"A snail", "snail.stl"}, []string{reading.GetTitle(), reading.GetFileName()})
}

// bring has a caller bring a mesh in millimetres, under a name.
func (g *guarded) bring(t testing.TB, caller, id, file string) *mouldwrightv1.Mesh {
	t.Helper()
	got := g.send(t, http.MethodPost, "/v1/meshes?unit=mm&meshId="+id, strings.NewReader(file), append(g.as(caller), "Content-Type", "model/stl")...)
	require.Equal(t, http.StatusOK, got.status, "%s: %s", caller, got.body)
	return decoded(t, string(got.body), &mouldwrightv1.CreateMeshResponse{}).GetMesh()
}

// calling is the context of a caller's calls over gRPC.
func (g *guarded) calling(t testing.TB, caller string) context.Context {
	t.Helper()
	return metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+g.keys[caller])
}

// ofMesh are the calls about one mesh, by either door. Each is of a name, and of a partner or
// of none.
func (g *guarded) ofMesh(t testing.TB, caller string) map[string]func(name, partner string) *status.Status {
	t.Helper()
	service, ctx := mouldwrightv1.NewTakeoffServiceClient(g.conn), g.calling(t, caller)
	rest := func(verb, path, body string) *status.Status {
		var brought io.Reader
		if body != "" {
			brought = strings.NewReader(body)
		}
		got := g.send(t, verb, "/v1/"+path, brought, append(g.as(caller), "Content-Type", "application/json")...)
		if got.status == http.StatusOK {
			return status.New(codes.OK, "")
		}
		return got.refusal(t).Status
	}
	return map[string]func(name, partner string) *status.Status{
		"GetMesh": func(name, partner string) *status.Status {
			_, err := service.GetMesh(ctx, &mouldwrightv1.GetMeshRequest{Name: name, Partner: partner})
			return status.Convert(err)
		},
		"MeasureMesh": func(name, partner string) *status.Status {
			_, err := service.MeasureMesh(ctx, &mouldwrightv1.MeasureMeshRequest{Name: name, Partner: partner})
			return status.Convert(err)
		},
		"CompareMeshes": func(name, partner string) *status.Status {
			_, err := service.CompareMeshes(ctx, &mouldwrightv1.CompareMeshesRequest{Name: name, Other: name, Partner: partner})
			return status.Convert(err)
		},
		"GetMeshPicture": func(name, partner string) *status.Status {
			_, err := service.GetMeshPicture(ctx, &mouldwrightv1.GetMeshPictureRequest{Name: name, Partner: partner})
			return status.Convert(err)
		},
		"GET": func(name, partner string) *status.Status { return rest(http.MethodGet, name+"?partner="+partner, "") },
		"GET picture": func(name, partner string) *status.Status {
			return rest(http.MethodGet, name+"/picture?partner="+partner, "")
		},
		"POST :measure": func(name, partner string) *status.Status {
			return rest(http.MethodPost, name+":measure", `{"partner":"`+partner+`"}`)
		},
		"POST :compare": func(name, partner string) *status.Status {
			return rest(http.MethodPost, name+":compare", `{"other":"`+name+`","partner":"`+partner+`"}`)
		},
	}
}

// dropping are the calls that forget a mesh, by either door.
func (g *guarded) dropping(t testing.TB, caller string) map[string]func(name, partner string) *status.Status {
	t.Helper()
	return map[string]func(name, partner string) *status.Status{
		"DeleteMesh": func(name, partner string) *status.Status {
			_, err := mouldwrightv1.NewTakeoffServiceClient(g.conn).DeleteMesh(g.calling(t, caller), &mouldwrightv1.DeleteMeshRequest{Name: name, Partner: partner})
			return status.Convert(err)
		},
		"DELETE": func(name, partner string) *status.Status {
			got := g.send(t, http.MethodDelete, "/v1/"+name+"?partner="+partner, nil, g.as(caller)...)
			if got.status == http.StatusOK {
				return status.New(codes.OK, "")
			}
			return got.refusal(t).Status
		},
	}
}

// listed is what a caller is shown of someone's meshes, by both doors.
func (g *guarded) listed(t testing.TB, caller, partner string) ([]string, *refusal) {
	t.Helper()
	list, err := mouldwrightv1.NewTakeoffServiceClient(g.conn).ListMeshes(g.calling(t, caller), &mouldwrightv1.ListMeshesRequest{Partner: partner})
	got := g.send(t, http.MethodGet, "/v1/meshes?partner="+partner, nil, g.as(caller)...)
	if err != nil {
		assert.Equal(t, status.Convert(err).Message(), got.refusal(t).Message())
		return nil, refusalOf(status.Convert(err))
	}
	want, err := wire.Encode(list)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got.body))
	names := []string{}
	for _, m := range list.GetMeshes() {
		names = append(names, m.GetName())
	}
	return names, nil
}

// Partners' meshes and the studio's are apart: each has names of its own, and what a partner
// is told of another's, or of the studio's, is what it is told of what there is not.
func TestOwnersMeshesAreApart(t *testing.T) {
	g := guardedServer(t, Config{})
	mine := g.bring(t, own, "hare", corner) // the studio has one too
	for rpc, call := range g.ofMesh(t, other) {
		nothing := call("meshes/hare", "")
		require.Equal(t, codes.NotFound, nothing.Code(), rpc)
		for _, partner := range []string{"partners/tamsin-row", "partners/quillmere", "partners/nobody"} {
			got := call("meshes/hare", partner)
			assert.Equal(t, []any{nothing.Code(), nothing.Message()}, []any{got.Code(), got.Message()}, "%s of %s", rpc, partner)
			assert.Equal(t, reasonNoMesh, refusalOf(got).info.GetReason())
		}
	}
	for rpc, call := range g.dropping(t, other) {
		nothing := call("meshes/hare", "")
		got := call("meshes/hare", "partners/tamsin-row")
		assert.Equal(t, []any{codes.NotFound, nothing.Message()}, []any{got.Code(), got.Message()}, rpc)
	}
	theirs := g.bring(t, other, "hare", string(meshFile(t, "public/p06_undercut_hook.stl"))) // the name is free
	assert.NotEqual(t, mine.GetSha256(), theirs.GetSha256())
	for caller, partner := range map[string]string{own: "", ownReader: "partners/tamsin-row", reader: "partners/tamsin-row", studio: "partners/quillmere", admin: ""} {
		for rpc, call := range g.ofMesh(t, caller) {
			assert.Equal(t, codes.OK, call("meshes/hare", partner).Code(), "%s by %s of %q", rpc, caller, partner)
		}
	}
	assert.Equal(t, codes.OK, g.dropping(t, studio)["DELETE"]("meshes/hare", "partners/tamsin-row").Code())
	assert.Equal(t, codes.NotFound, g.ofMesh(t, own)["GET"]("meshes/hare", "").Code())
	assert.Equal(t, codes.OK, g.ofMesh(t, other)["GET"]("meshes/hare", "").Code())
	assert.Equal(t, codes.OK, g.ofMesh(t, studio)["GET"]("meshes/hare", "").Code())
}

// A list holds one owner's meshes. Whose partners there are is not told either.
func TestListsOfOwnersMeshes(t *testing.T) {
	g := guardedServer(t, Config{})
	g.bring(t, own, "stool", corner)
	for _, row := range []struct {
		caller, partner string
		want            []string
	}{
		{own, "", []string{"meshes/stool"}},
		{ownReader, "partners/tamsin-row", []string{"meshes/stool"}},
		{other, "", []string{}},
		{studio, "", []string{"meshes/hare", "meshes/hook"}},
		{studio, "partners/tamsin-row", []string{"meshes/stool"}},
		{studio, "partners/quillmere", []string{}},
	} {
		got, refused := g.listed(t, row.caller, row.partner)
		require.Nil(t, refused)
		assert.Equal(t, row.want, got, "%s of %q", row.caller, row.partner)
	}
	for _, partner := range []string{"partners/tamsin-row", "partners/nobody"} {
		_, refused := g.listed(t, other, partner)
		require.NotNil(t, refused)
		assert.Equal(t, codes.NotFound, refused.Code())
		assert.Equal(t, `got "`+partner+`", which is no partner here`, refused.Message())
	}
}

// A file that two owners have is kept once, and neither is shown the other's words for it.
func TestALikeFileTellsNothingOfItsOtherOwner(t *testing.T) {
	g := guardedServer(t, Config{})
	for _, caller := range []string{own, other} {
		got := g.send(t, http.MethodPost, "/v1/meshes?unit=mm&meshId=a&title=Title-of-"+caller[len("partner "):]+"&fileName=of-"+caller[len("partner "):]+".stl",
			strings.NewReader(corner), append(g.as(caller), "Content-Type", "model/stl")...)
		require.Equal(t, http.StatusOK, got.status, "%s", got.body)
	}
	for caller, never := range map[string]string{own: "of-other", other: "of-own"} {
		for _, path := range []string{"/v1/meshes", "/v1/meshes/a", "/v1/meshes/a/picture?format=PICTURE_FORMAT_SVG"} {
			got := g.send(t, http.MethodGet, path, nil, g.as(caller)...)
			assert.NotContains(t, string(got.body), never, "%s to %s", path, caller)
		}
	}
	assert.Contains(t, string(g.send(t, http.MethodGet, "/v1/meshes/a", nil, g.as(own)...).body), "Title-of-own")
}

// Each owner has room of its own.
func TestRoomForAnOwnersMeshes(t *testing.T) {
	g := guardedServer(t, Config{MeshRoom: 3_000_000}) // the hare takes 1,939,400 bytes: 38,788 triangles of 50
	for _, caller := range []string{own, other} {
		for n := range 2 {
			got := g.send(t, http.MethodPost, fmt.Sprint("/v1/meshes?meshId=h", n), bytes.NewReader(meshFile(t, "hare.glb")), append(g.as(caller), "Content-Type", "model/gltf-binary")...)
			if n == 0 {
				assert.Equal(t, http.StatusOK, got.status, "%s", got.body)
				continue
			}
			refused := got.refusal(t)
			assert.Equal(t, codes.ResourceExhausted, refused.Code())
			assert.Equal(t, reasonMeshRoom, refused.info.GetReason())
			assert.Equal(t, "there is no room for another mesh; delete one first", refused.Message())
		}
	}
}

// hareOf is a brief of one hare from a mesh.
func hareOf(t testing.TB, mesh string) string {
	t.Helper()
	return strings.Replace(string(briefs(t)["hare-from-maquette.json"]), "meshes/hare", mesh, 1)
}

// plainHareOf is the same without areas that only the hare has.
func plainHareOf(t testing.TB, mesh string) string {
	t.Helper()
	brief := hareOf(t, mesh)
	from, to := strings.Index(brief, `"zones": [`), strings.Index(brief, `"fixings"`)
	return brief[:from] + brief[to:]
}

// A brief finds the meshes of whoever it is for, and of nobody else.
func TestABriefHasItsOwnersMeshes(t *testing.T) {
	g := guardedServer(t, Config{})
	g.bring(t, own, "stool", string(meshFile(t, "public/p11_stepped_mound.stl")))
	for _, row := range []struct {
		caller, partner, mesh string
		found                 bool
	}{
		{own, "", "meshes/stool", true},
		{studio, "partners/tamsin-row", "meshes/stool", true},
		{studio, "", "meshes/stool", false},
		{other, "", "meshes/stool", false},
		{studio, "partners/quillmere", "meshes/stool", false},
		{own, "", "meshes/hare", false},
		{studio, "partners/tamsin-row", "meshes/hare", false},
		{studio, "", "meshes/hare", true},
	} {
		got := g.post(t, preview, `{"partner":"`+row.partner+`","brief":`+plainHareOf(t, row.mesh)+`}`, g.as(row.caller)...)
		missing := strings.Contains(string(got.body), "which is no mesh here")
		assert.Equal(t, row.found, got.status == http.StatusOK, "%+v: %s", row, got.body)
		assert.Equal(t, !row.found, missing, "%+v: %s", row, got.body)
	}
}

// sqliteStore is a store in a file that holds the demo studio's rate book.
func sqliteStore(t testing.TB) store.Store {
	t.Helper()
	s := onDisk(t, t.TempDir())
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	rules := rulesOf(t)
	books, err := bookcase.New(s, rules, time.Now)
	require.NoError(t, err)
	require.NoError(t, books.Begin(t.Context(), demoBook(t, rules)))
	return s
}

// unprimed is a server that has studied nothing yet.
func unprimed(t testing.TB, c Config) http.Handler {
	t.Helper()
	c.Keyless, c.Timeout, c.Logger = true, patient, loggerTo(&logbook{})
	s, err := New(c)
	require.NoError(t, err)
	return s.http.Handler
}

func asked(t testing.TB, h http.Handler, verb, path, body string) answerOf {
	t.Helper()
	r := httptest.NewRequestWithContext(t.Context(), verb, "http://localhost"+path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	w := newRecorder()
	h.ServeHTTP(w, r)
	return answerOf{w.Code, w.Header(), w.Body.Bytes()}
}

// Another server on the same store has the same meshes, and gives the same bytes.
func TestMeshesOutliveAServer(t *testing.T) {
	for name, kept := range map[string]store.Store{"in memory": demoStore(t, rulesOf(t)), "SQLite": sqliteStore(t)} {
		s := start(t, Config{Store: kept, Keyless: true})
		got := s.send(t, http.MethodPost, "/v1/meshes?unit=in&up=x&title=A+corner&meshId=corner", strings.NewReader(corner), "Content-Type", "model/stl")
		require.Equal(t, http.StatusOK, got.status, "%s", got.body)
		requests := []rpc{
			{verb: http.MethodGet, path: "/v1/meshes"},
			{verb: http.MethodGet, path: "/v1/meshes/corner"},
			{verb: http.MethodGet, path: "/v1/meshes/corner/picture?format=PICTURE_FORMAT_SVG"},
			{verb: http.MethodPost, path: "/v1/meshes/corner:measure", body: `{"scale":0.5,"pulls":[{"zRatio":1}]}`},
			{verb: http.MethodPost, path: preview, body: `{"brief":` + plainHareOf(t, "meshes/hook") + `,"view":"QUOTE_VIEW_WORKINGS"}`},
		}
		var before []answerOf
		for _, r := range requests {
			before = append(before, s.send(t, r.verb, r.path, strings.NewReader(r.body), "Content-Type", "application/json"))
		}
		require.NoError(t, s.stop())
		next := unprimed(t, Config{Store: kept})
		for i, r := range requests {
			after := asked(t, next, r.verb, r.path, r.body)
			assert.Equal(t, http.StatusOK, after.status, "%s, %s: %s", name, r.path, after.body)
			assert.Equal(t, string(before[i].body), string(after.body), "%s, %s", name, r.path)
		}
	}
}

// A quote is proved with the mesh that it was priced with, though its name is deleted, or
// stands for another file by then, and though another server proves it.
func TestAFrozenQuoteKeepsItsMesh(t *testing.T) {
	for name, kept := range map[string]store.Store{"in memory": demoStore(t, rulesOf(t)), "SQLite": sqliteStore(t)} {
		h := unprimed(t, Config{Store: kept, Now: march})
		bring := func(file string) {
			body := `{"reading":{"meshId":"mound","unit":"LENGTH_UNIT_MILLIMETRE"},"file":"` + base64.StdEncoding.EncodeToString(meshFile(t, file)) + `"}`
			got := asked(t, h, http.MethodPost, "/v1/meshes", body)
			require.Equal(t, http.StatusOK, got.status, "%s", got.body)
		}
		proves := func(when string) {
			t.Helper()
			got := asked(t, h, http.MethodPost, "/v1/quotes/Q-2027-0001:recompute", `{}`)
			require.Equal(t, http.StatusOK, got.status, "%s, %s: %s", name, when, got.body)
			assert.True(t, decoded(t, string(got.body), &mouldwrightv1.RecomputeQuoteResponse{}).GetSame(), "%s, %s: %s", name, when, got.body)
		}
		brief := `{"brief":` + plainHareOf(t, "meshes/mound") + `}`
		bring("public/p11_stepped_mound.stl")
		got := asked(t, h, http.MethodPost, "/v1/quotes", brief)
		require.Equal(t, http.StatusOK, got.status, "%s", got.body)
		require.Equal(t, http.StatusOK, asked(t, h, http.MethodPost, "/v1/quotes/Q-2027-0001:issue", `{}`).status)
		proves("at once")
		require.Equal(t, http.StatusOK, asked(t, h, http.MethodDelete, "/v1/meshes/mound", "").status)
		proves("deleted")
		assert.Equal(t, http.StatusBadRequest, asked(t, h, http.MethodPost, preview, brief).status, "a new brief finds nothing")
		bring("public/p10_rot_box.stl")
		proves("another file under the name")
		h = unprimed(t, Config{Store: kept, Now: march})
		proves("by another server")
	}
}

// unreachable is a store that, once it is down, says of meshes that it cannot be reached.
type unreachable struct {
	store.Store
	down atomic.Bool
}

// View gives a reader that may have no meshes.
func (u *unreachable) View(ctx context.Context, do func(store.Reader) error) error {
	return u.Store.View(ctx, func(r store.Reader) error { return do(&meshless{r, u}) })
}

type meshless struct {
	store.Reader
	of *unreachable
}

// MeshHead says so.
func (m *meshless) MeshHead(owner, name string, eyes store.Eyes) (store.Mesh, error) {
	if m.of.down.Load() {
		return store.Mesh{}, store.ErrUnavailable
	}
	return m.Reader.MeshHead(owner, name, eyes)
}

// That meshes cannot be looked up is no fault of a brief.
func TestMeshesThatCannotBeLookedUp(t *testing.T) {
	kept := &unreachable{Store: demoStore(t, rulesOf(t))}
	s := start(t, Config{Store: kept, Keyless: true})
	kept.down.Store(true)
	brief := request([]byte(hareOf(t, "meshes/hare")))
	for _, path := range []string{preview, "/v1/takeoffs:measure", "/v1/labour:estimate", "/v1/quotes"} {
		got := s.post(t, path, brief)
		assert.Equal(t, http.StatusServiceUnavailable, got.status, "%s: %s", path, got.body)
		assert.Equal(t, reasonStore, got.refusal(t).info.GetReason(), path)
	}
	for _, path := range []string{"/v1/meshes/hare", "/v1/meshes/hare/picture"} {
		assert.Equal(t, http.StatusServiceUnavailable, s.send(t, http.MethodGet, path, nil).status, path)
	}
	got := s.send(t, http.MethodPost, "/v1/meshes?unit=mm", strings.NewReader(corner), "Content-Type", "model/stl")
	assert.Equal(t, http.StatusServiceUnavailable, got.status, "%s", got.body)
}

// No mesh is studied for a request that is refused anyway: of one that is not at hand, only
// the form is told.
func TestNothingIsStudiedForARequestOutOfForm(t *testing.T) {
	kept := demoStore(t, rulesOf(t))
	require.NoError(t, start(t, Config{Store: kept, Keyless: true}).stop())
	h := unprimed(t, Config{Store: kept})
	bad := strings.Replace(request([]byte(hareOf(t, "meshes/hare"))), `"quantity": 3`, `"quantity": 3, "colours": 1`, 1)
	bad = strings.Replace(bad, `"meshArea": {"name": "mound"}`, `"meshArea": {"name": "mount"}`, 1)
	fields := func() map[string]string { return asked(t, h, http.MethodPost, preview, bad).refusal(t).fields }
	assert.Len(t, fields(), 1)
	require.Equal(t, http.StatusOK, asked(t, h, http.MethodGet, "/v1/meshes/hare", "").status) // studies it
	assert.Len(t, fields(), 2)
}
