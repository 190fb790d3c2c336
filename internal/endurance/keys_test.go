//go:build linux

package endurance

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"os/exec"
	"strings"
	"testing"
	"time"

	v1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
)

// A key that is revoked at one server opens nothing at the others a second later, by either
// door, although they have just let it in; other keys open as before.
func TestARevokedKeyIsRefusedAtEveryServer(t *testing.T) {
	kept := shared(t)
	admin, guest := newKey(t, kept, "admin"), newKey(t, kept, "read")
	servers, ring := three(t, kept)
	for i, d := range ring.through {
		for _, key := range []string{admin, guest} {
			if err := looks(t.Context(), d, key); err != nil {
				t.Fatalf("door %d, before the key was revoked: %v", i, err)
			}
		}
	}
	if err := revoke(t.Context(), ring.through[0], admin, guest); err != nil {
		t.Fatal(err)
	}
	time.Sleep(time.Second) // this long a server may believe what it knows
	for i, d := range ring.through {
		refused, unanswered := tried(looks(t.Context(), d, guest))
		if unanswered != nil || refused == nil || refused.reason != "KEY_REFUSED" || refused.status != 0 && refused.status != http.StatusUnauthorized {
			t.Errorf("door %d, a second after the key was revoked: %v, %v", i, refused, unanswered)
		}
		if err := looks(t.Context(), d, admin); err != nil {
			t.Errorf("door %d, with the other key: %v", i, err)
		}
	}
	for _, p := range servers {
		p.stop(t)
	}
}

// newKey makes a key by the program's own command.
func newKey(t testing.TB, kept place, scope string) string {
	t.Helper()
	command := exec.CommandContext(t.Context(), program, "key", "create", "--store", string(kept), "--scope", scope, "--title", "Invented "+scope)
	command.Env = plainEnvironment()
	var said bytes.Buffer
	command.Stderr = &said
	text, err := command.Output()
	if err != nil {
		t.Fatalf("making a key: %v\n%s", err, said.String())
	}
	return strings.TrimSpace(string(text))
}

// looks lists quotes with a key.
func looks(ctx context.Context, d door, key string) error {
	return d.call(ctx, call{
		method: quotes + "ListQuotes", verb: http.MethodGet, path: "/v1/quotes", key: key,
		ask: &v1.ListQuotesRequest{}, reply: &v1.ListQuotesResponse{},
	})
}

// revoke shuts a key out, with another.
func revoke(ctx context.Context, d door, with, key string) error {
	parts := strings.Split(key, "_") // the ID stands between the first two underscores
	if len(parts) < 3 {
		return fmt.Errorf("a key has %d parts", len(parts))
	}
	name := "keys/" + parts[1]
	return d.call(ctx, call{
		method: "/mouldwright.v1.AccessService/RevokeKey", verb: http.MethodPost, path: "/v1/" + name + ":revoke", body: true, key: with,
		ask: &v1.RevokeKeyRequest{Name: name, RequestId: "revoke-" + parts[1]}, reply: &v1.RevokeKeyResponse{},
	})
}
