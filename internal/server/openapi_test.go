package server

import (
	"encoding/json"
	"maps"
	"net/url"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/api/openapi"
)

// The description of the HTTP interface names the content types of a mesh file and the
// parameters beside it that the service takes, and no others.
func TestFileBodiesAreDescribed(t *testing.T) {
	var doc struct {
		Paths map[string]struct {
			Post struct {
				RequestBody struct {
					Content map[string]json.RawMessage `json:"content"`
				} `json:"requestBody"`
				Parameters []struct{ Name string }
			}
		}
	}
	require.NoError(t, json.Unmarshal(openapi.Document, &doc))
	post := doc.Paths[meshesPath].Post
	types := slices.Collect(maps.Keys(meshTypes()))
	require.ElementsMatch(t, append(types, "application/json"), slices.Collect(maps.Keys(post.RequestBody.Content)))
	query := url.Values{}
	for _, p := range post.Parameters {
		query.Set(p.Name, map[string]string{"unit": "mm", "up": "z"}[p.Name])
	}
	require.Len(t, query, 5)
	_, faults := readingFrom(&url.URL{RawQuery: query.Encode()})
	require.Empty(t, faults)
}
