package server

import (
	"net/http"

	"google.golang.org/grpc/codes"

	"github.com/mouldwright/mouldwright/api/openapi"
)

// page is what the service shows outside the contract.
type page struct {
	path        string
	contentType string
	content     func() (status int, text []byte)
}

// pages lists them; ready says whether calls are being taken.
func pages(ready func() bool) []page {
	always := func(text []byte) func() (int, []byte) {
		return func() (int, []byte) { return http.StatusOK, text }
	}
	const plain = "text/plain; charset=utf-8"
	return []page{
		{"/{$}", jsonType, always([]byte(`{"service":"mouldwright","description":"/openapi.json"}`))},
		{"/healthz", plain, always([]byte("ok\n"))},
		{"/readyz", plain, func() (int, []byte) {
			if ready() {
				return http.StatusOK, []byte("ready\n")
			}
			return http.StatusServiceUnavailable, []byte("not ready\n")
		}},
		{"/openapi.json", jsonType, always(openapi.Document)},
	}
}

// show adds a page to the door.
func (d *restDoor) show(p page) {
	d.pages.HandleFunc(p.path, func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			d.refuseVerb(w, r, []string{http.MethodGet, http.MethodHead})
			return
		}
		status, text := p.content()
		w.Header().Set("Content-Type", p.contentType)
		w.WriteHeader(status)
		_, _ = w.Write(text) // a caller who left is told nothing
	})
}

// unknownRPC answers a gRPC call for what the contract does not have.
func unknownRPC(name string) *problem {
	return &problem{code: codes.Unimplemented, reason: reasonNoMethod, message: "there is no RPC " + clip(name)}
}
