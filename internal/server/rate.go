package server

import (
	"context"
	"fmt"
	"net"
	"net/netip"
	"time"

	"github.com/throttled/throttled/v2"
	"github.com/throttled/throttled/v2/store/memstore"
	"google.golang.org/grpc/codes"
)

// Rate is how often somebody may call: so many calls a minute evenly, and as many at once
// as Burst.
type Rate struct{ PerMinute, Burst int }

// rate holds callers to a Rate by the generic cell rate algorithm (ITU-T I.371, annex A), on
// this server. It remembers so many of them; the one that was seen last longest ago is
// forgotten for the next.
type rate struct {
	limiter *throttled.GCRARateLimiterCtx
	quota   Rate
}

// mostRemembered bounds how many callers a rate remembers, a few hundred bytes each.
const mostRemembered = 65536

func newRate(r Rate, now func() time.Time) (*rate, error) {
	seen, err := memstore.New(mostRemembered)
	if err != nil {
		return nil, err
	}
	seen.SetTimeNow(now)
	limiter, err := throttled.NewGCRARateLimiterCtx(throttled.WrapStoreWithContext(seen), throttled.RateQuota{MaxRate: throttled.PerMin(r.PerMinute), MaxBurst: r.Burst - 1})
	if err != nil {
		return nil, err
	}
	limiter.SetMaxCASAttemptsLimit(mostAttempts)
	return &rate{limiter, r}, nil
}

// mostAttempts bounds how often a call tries to be counted while others of the same caller are:
// each time that it does not succeed, another has.
const mostAttempts = 10_000

// take counts a call, or says when the next one will be taken.
func (r *rate) take(ctx context.Context, who string) error {
	over, state, err := r.limiter.RateLimitCtx(ctx, who, 1)
	if err != nil {
		return err
	}
	if !over {
		return nil
	}
	return &problem{
		code: codes.ResourceExhausted, reason: reasonTooOften, retry: state.RetryAfter,
		message: fmt.Sprintf("called too often; allowed: %d calls a minute, at most %d of them at once", r.quota.PerMinute, r.quota.Burst),
	}
}

// giveBack takes a call off the count again.
func (r *rate) giveBack(ctx context.Context, who string) {
	_, _, _ = r.limiter.RateLimitCtx(ctx, who, -1) // what cannot be given back is only counted
}

// times is a rate that is so many times as high.
func (r Rate) times(n int) Rate { return Rate{PerMinute: n * r.PerMinute, Burst: n * r.Burst} }

// addressOf is what calls from an address are counted under: the address, or of IPv6 the
// network of 64 bits that one subscriber has to himself (RFC 6177 speaks of at least that).
func addressOf(peer string) string {
	if host, _, err := net.SplitHostPort(peer); err == nil {
		peer = host
	}
	address, err := netip.ParseAddr(peer)
	if err != nil {
		return peer
	}
	address = address.Unmap().WithZone("")
	if address.Is4() {
		return address.String()
	}
	const network = 64
	prefix, err := address.Prefix(network)
	if err != nil {
		return address.String()
	}
	return prefix.String()
}
