package server

import (
	"context"
	"net/http"
	"sync"
	"time"

	"google.golang.org/grpc/codes"

	"github.com/mouldwright/mouldwright/api/openapi"
	"github.com/mouldwright/mouldwright/internal/store"
)

// page is what the service shows outside the contract.
type page struct {
	path        string
	contentType string
	content     func(context.Context) (status int, text []byte)
	watched     bool // by whoever looks after the service, as often as he likes
}

// pages lists them; ready says whether calls are being taken, and can be answered.
func pages(ready func(context.Context) bool) []page {
	always := func(text []byte) func(context.Context) (int, []byte) {
		return func(context.Context) (int, []byte) { return http.StatusOK, text }
	}
	const plain = "text/plain; charset=utf-8"
	return []page{
		{"/{$}", jsonType, always([]byte(`{"service":"mouldwright","description":"/openapi.json"}`)), false},
		{"/healthz", plain, always([]byte("ok\n")), true},
		{"/readyz", plain, func(ctx context.Context) (int, []byte) {
			if ready(ctx) {
				return http.StatusOK, []byte("ready\n")
			}
			return http.StatusServiceUnavailable, []byte("not ready\n")
		}, true},
		{"/openapi.json", jsonType, always(openapi.Document), false},
	}
}

// show adds a page to the door.
func (d *restDoor) show(p page) {
	answer := func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			d.refuseVerb(w, r, []string{http.MethodGet, http.MethodHead})
			return
		}
		status, text := p.content(r.Context())
		w.Header().Set("Content-Type", p.contentType)
		w.WriteHeader(status)
		_, _ = w.Write(text) // a caller who left is told nothing
	}
	d.pages.HandleFunc(p.path, func(w http.ResponseWriter, r *http.Request) {
		if p.watched {
			answer(w, r)
			return
		}
		d.stray(w, r, answer)
	})
}

const (
	lookTime  = time.Second // that the store has to answer in
	lookEvery = time.Second // while what it said is believed
)

// lookout tells whether the store can be read, without asking it more than once a second.
type lookout struct {
	store store.Store
	now   func() time.Time

	mu    sync.Mutex
	last  time.Time // when it was asked
	found bool      // that it answers
}

// sees reports whether the store answers. Who asks while it is being asked waits for that.
func (l *lookout) sees(ctx context.Context) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	if now.Sub(l.last).Abs() < lookEvery {
		return l.found
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), lookTime) // it is asked for others too
	defer cancel()
	err := l.store.View(ctx, func(r store.Reader) error {
		_, err := r.Partners("", 1, store.Studio())
		return err
	})
	l.last, l.found = now, err == nil
	return l.found
}

// unknownRPC answers a gRPC call for what the contract does not have.
func unknownRPC(name string) *problem {
	return &problem{code: codes.Unimplemented, reason: reasonNoMethod, message: "there is no RPC " + clip(name)}
}
