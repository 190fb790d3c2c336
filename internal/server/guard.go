package server

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"google.golang.org/genproto/googleapis/api/httpbody"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// guard lets callers in: who they are, how often they come, and what they may call.
type guard struct {
	gate    *access.Gate
	keyless bool                   // whoever comes is the studio
	needs   map[string]access.Need // by the RPC's full name
	keys    *rate                  // of calls with a key, by key
	lone    *rate                  // of calls without a good one, by address
	strays  *rate                  // of requests for pages, and for what there is not, by address
	proxies proxies                // that are believed where calls come from
	over    *seldom                // of lines about calls without a key that come too often
}

// newGuard reads off the contract who may call what.
func newGuard(c Config, gate *access.Gate, services []service) (*guard, error) {
	g := &guard{keyless: c.Keyless, gate: gate, proxies: c.Proxies, needs: map[string]access.Need{}, over: &seldom{now: c.Now}}
	var err error
	if g.keys, err = newRate(c.KeyRate, c.Now); err != nil {
		return nil, err
	}
	if g.lone, err = newRate(c.AddressRate, c.Now); err != nil {
		return nil, err
	}
	if g.strays, err = newRate(c.AddressRate.times(straysPerCall), c.Now); err != nil {
		return nil, err
	}
	for _, s := range services {
		found, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(s.desc.ServiceName))
		if err != nil {
			return nil, fmt.Errorf("looking for %s: %w", s.desc.ServiceName, err)
		}
		methods := found.(protoreflect.ServiceDescriptor).Methods()
		for i := range methods.Len() {
			g.needs[fmt.Sprintf("/%s/%s", s.desc.ServiceName, methods.Get(i).Name())] = needOf(methods.Get(i))
		}
	}
	return g, nil
}

// straysPerCall is how many pages an address may ask for to each call without a key: they cost
// next to nothing.
const straysPerCall = 10

// newGate lets in by the keys of a store.
func newGate(s store.Store, now func() time.Time) *access.Gate {
	return &access.Gate{
		Find: func(ctx context.Context, id string) (key store.Key, err error) {
			err = s.View(ctx, func(r store.Reader) (err error) {
				key, err = r.Key(id)
				return err
			})
			return key, err
		},
		PartnerOf: func(ctx context.Context, id string) (partner store.Partner, err error) {
			err = s.View(ctx, func(r store.Reader) (err error) {
				partner, err = r.Partner(id, store.Studio())
				return err
			})
			return partner, err
		},
		Note: func(ctx context.Context, id string, at time.Time) error {
			return s.Update(ctx, func(tx store.Tx) error { return tx.UseKey(id, at) })
		},
		Now: now,
	}
}

// needOf is what an RPC asks of its caller.
func needOf(m protoreflect.MethodDescriptor) access.Need {
	caller, scope := wire.AccessOf(m)
	need := access.Need{Caller: access.Studio, Scope: access.Admin}
	switch caller {
	case mouldwrightv1.Audience_AUDIENCE_PUBLIC:
		need.Caller = access.Public
	case mouldwrightv1.Audience_AUDIENCE_PARTNER:
		need.Caller = access.Partner
	default: // the studio's
	}
	switch scope {
	case mouldwrightv1.Scope_SCOPE_READ:
		need.Scope = access.Read
	case mouldwrightv1.Scope_SCOPE_WRITE:
		need.Scope = access.Write
	default: // an administrator's
	}
	if need.Caller == access.Public {
		need.Scope = 0 // the public has none
	}
	return need
}

// admit tells who calls, and refuses who may not, or not so often.
func (g *guard) admit(ctx context.Context, own *call, rpc string) (access.Caller, error) {
	caller, err := g.caller(ctx, own)
	if err != nil {
		return caller, err
	}
	need, ours := g.needs[rpc]
	if !ours {
		return caller, nil // health and reflection, which tell nothing of anyone's; an RPC that there is not is refused later
	}
	return caller, caller.May(need)
}

// caller tells who calls, and counts a call that is not counted yet.
func (g *guard) caller(ctx context.Context, own *call) (access.Caller, error) {
	if g.keyless {
		return access.Caller{Kind: access.Studio, KeyTitle: "this machine", Scopes: access.Admin}, nil
	}
	presented, err := presentedBy(own)
	switch {
	case err == nil && own.counted:
		return g.gate.Authenticate(ctx, presented)
	case err == nil && presented != "":
		return g.keyed(ctx, own, presented)
	}
	if over := g.takeLone(ctx, own); over != nil {
		return access.Caller{}, over
	}
	own.counted = true
	return access.Caller{}, err
}

// keyed tells who presents a key, and counts the call: under the key where it is good, else under
// the address. A key that was never found to be good is counted under the address before the
// store is asked, so that made-up keys do not come to it without end, and taken off that count
// once it is found.
func (g *guard) keyed(ctx context.Context, own *call, presented string) (access.Caller, error) {
	id, known := g.gate.Remembers(presented)
	if !known {
		if over := g.takeLone(ctx, own); over != nil {
			return access.Caller{}, over
		}
	}
	caller, err := g.gate.Authenticate(ctx, presented)
	var over error
	switch {
	case err == nil && !known:
		g.lone.giveBack(ctx, g.address(own))
		over = g.keys.take(ctx, id)
	case known && errors.Is(err, access.ErrBadKey): // no longer good
		over = g.takeLone(ctx, own)
	case known:
		over = g.keys.take(ctx, id)
	}
	own.counted = over == nil
	if over != nil {
		return caller, over
	}
	return caller, err
}

func (g *guard) takeLone(ctx context.Context, own *call) error {
	return g.lone.take(ctx, g.address(own))
}

// stray counts a request for a page, or for something that there is not.
func (g *guard) stray(ctx context.Context, own *call) error {
	if g.keyless {
		return nil
	}
	return g.strays.take(ctx, g.address(own))
}

func (g *guard) address(own *call) string { return addressOf(g.proxies.origin(own)) }

// presentedBy is the key that a call comes with; empty for none.
func presentedBy(own *call) (string, error) {
	if len(own.keys) > 1 {
		return "", access.ErrBadKey // which of them is meant is anyone's guess
	}
	header := strings.Join(own.keys, "")
	presented, err := access.Presented(header)
	if scheme, _, _ := strings.Cut(header, " "); err != nil && !strings.EqualFold(scheme, "Bearer") {
		return "", otherScheme(err)
	}
	return presented, err
}

// otherScheme is a refusal of a header that is not as keys are sent. It tells how they are: that
// is no secret, and says nothing of any key.
func otherScheme(err error) *problem {
	p := accessProblem(err)
	p.message += "; a key is sent as Authorization: Bearer, a space, and the key"
	return p
}

// letIn lets the caller of a call in to an RPC, once. It takes no longer than a call may: what
// keeps the keys may be away.
func (c *chain) letIn(ctx context.Context, rpc string) (err error) {
	own := callFrom(ctx)
	if own.let != "" && own.let == rpc {
		return nil
	}
	defer rescued(&err)
	ctx, cancel := context.WithTimeout(ctx, c.timeout)
	defer cancel()
	own.caller, err = c.guard.admit(ctx, own, rpc)
	if err == nil {
		own.let = rpc
	}
	return err
}

// enter lets the caller in where the door has not done so, or not since the body came. What the
// door refused is refused: who calls was looked at before that.
func (c *chain) enter(ctx context.Context, request any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	if refused := callFrom(ctx).refused; refused != nil {
		return nil, refused
	}
	if err := c.letIn(ctx, info.FullMethod); err != nil {
		return nil, err
	}
	return next(ctx, request)
}

// mask takes out of an answer what its caller may not see. A document is written for its
// caller by whoever writes it.
func (c *chain) mask(ctx context.Context, request any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
	reply, err := next(ctx, request)
	if err != nil || callerOf(ctx).Kind == access.Studio {
		return reply, err
	}
	if _, ours := c.guard.needs[info.FullMethod]; !ours {
		return reply, nil // of health
	}
	if _, written := reply.(*httpbody.HttpBody); written {
		return reply, nil
	}
	m, ok := reply.(proto.Message)
	if !ok {
		return nil, &problem{code: codes.Internal, reason: reasonInternal, message: "internal error"}
	}
	return m, c.masker.Mask(m, audienceOf(callerOf(ctx).Kind))
}

func audienceOf(k access.Kind) mouldwrightv1.Audience {
	switch k {
	case access.Studio:
		return mouldwrightv1.Audience_AUDIENCE_STUDIO
	case access.Partner:
		return mouldwrightv1.Audience_AUDIENCE_PARTNER
	default:
		return mouldwrightv1.Audience_AUDIENCE_PUBLIC
	}
}
