package server

import (
	"context"
	"crypto/rand"
	"errors"
	"slices"
	"strings"

	"google.golang.org/grpc/metadata"

	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/fault"
)

// requestIDKey is the name of the request's id in gRPC metadata; HTTP's headers
// have the same name and know no case.
const requestIDKey = "x-request-id"

// authorizationKey is the name of the header that a key comes in (RFC 9110, section 11.6.2).
const authorizationKey = "authorization"

// call is what a door knows of a request before the chain runs.
type call struct {
	door string     // "grpc" or "rest"
	id   string     // the caller's own where it is sane, else made here
	form fault.List // what in the request the contract has no place for

	query  bool     // the fields of its reading were given as parameters of the query
	fields []string // of the request itself that are given so

	refused error // why the request was not read at all; nil where it was

	keys      []string      // the Authorization headers, as they came
	address   string        // the other end of its connection
	forwarded []string      // the X-Forwarded-For headers, as they came
	let       string        // the RPC that the caller was let in to; empty for none yet
	counted   bool          // how often the caller comes was seen to
	caller    access.Caller // who that is
}

// came says that the body has come. That may have taken long, and so who sends it is looked at
// again.
func (c *call) came() { c.let = "" }

// again says that the call goes on with something to be counted and let in anew.
func (c *call) again() { c.let, c.counted = "", false }

type callKey struct{}

func withCall(ctx context.Context, c *call) context.Context {
	return context.WithValue(ctx, callKey{}, c)
}

// callFrom returns the call of a context; an empty one for a context that came
// through no door.
func callFrom(ctx context.Context) *call {
	if c, ok := ctx.Value(callKey{}).(*call); ok {
		return c
	}
	return &call{}
}

// callerOf is who calls; the public where nobody was let in.
func callerOf(ctx context.Context) access.Caller { return callFrom(ctx).caller }

// calling returns the context's call, made from the metadata where the door
// made none.
func calling(ctx context.Context) (context.Context, *call) {
	if c, ok := ctx.Value(callKey{}).(*call); ok {
		return ctx, c
	}
	c := &call{
		door: "grpc", id: requestID(metadata.ValueFromIncomingContext(ctx, requestIDKey)),
		keys: metadata.ValueFromIncomingContext(ctx, authorizationKey), address: peerOf(ctx),
		forwarded: metadata.ValueFromIncomingContext(ctx, forwardedKey),
	}
	return withCall(ctx, c), c
}

// asTyped gives faults of fields that the caller gave in the query the parameters' paths,
// one fault for each.
func (c *call) asTyped(err error) error {
	var bad *violations
	if !c.query && len(c.fields) == 0 || !errors.As(err, &bad) {
		return err
	}
	typed := &violations{reasons: map[string]string{}}
	seen := map[string]bool{}
	for _, f := range bad.faults {
		path := f.Path
		if field, ok := strings.CutPrefix(path, "reading."); ok || slices.Contains(c.fields, path) {
			path = "?" + field
		}
		if seen[path] {
			continue
		}
		seen[path] = true
		typed.faults = append(typed.faults, fault.Fault{Path: path, Message: f.Message})
		if reason, ok := bad.reasons[f.Path]; ok {
			typed.reasons[path] = reason
		}
	}
	return typed
}

// requestID takes a caller's id where it is one that a log can hold, and makes
// one otherwise.
func requestID(given []string) string {
	if len(given) == 1 && sane(given[0]) {
		return given[0]
	}
	return rand.Text()
}

func sane(id string) bool {
	const longest = 64
	for i := range len(id) {
		c := id[i]
		letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
		if !letter && c != '.' && c != '_' && c != '-' {
			return false
		}
	}
	return id != "" && len(id) <= longest
}
