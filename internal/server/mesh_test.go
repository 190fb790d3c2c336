package server

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
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
