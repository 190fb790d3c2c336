package access_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/store"
)

var morning = time.Date(2027, 1, 4, 9, 30, 0, 0, time.UTC)

// cabinet keeps keys and partners, says how often it was asked, and has the time.
type cabinet struct {
	mu       sync.Mutex
	now      time.Time
	keys     map[string]store.Key
	partners map[string]store.Partner
	fails    error // of every question
	asked    int
	noted    []string
}

func (c *cabinet) find(_ context.Context, id string) (store.Key, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.asked++
	key, ok := c.keys[id]
	if !ok {
		return key, errors.Join(c.fails, fmt.Errorf("key %s: %w", id, store.ErrNotFound))
	}
	return key, c.fails
}

func (c *cabinet) partnerOf(_ context.Context, id string) (store.Partner, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	partner, ok := c.partners[id]
	if !ok {
		return partner, store.ErrNotFound
	}
	return partner, c.fails
}

func (c *cabinet) note(ctx context.Context, id string, at time.Time) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if ctx.Err() != nil {
		return ctx.Err()
	}
	c.noted = append(c.noted, id+at.Format(" 15:04:05"))
	return c.fails
}

func (c *cabinet) clock() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *cabinet) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

func (c *cabinet) change(id string, how func(*store.Key)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	key := c.keys[id]
	how(&key)
	c.keys[id] = key
}

func (c *cabinet) gate() *access.Gate {
	return &access.Gate{Find: c.find, PartnerOf: c.partnerOf, Now: c.clock, Note: c.note}
}

// keyNo makes another key for each number.
func keyNo(t testing.TB, n int) access.Key {
	t.Helper()
	random := counting(42)
	random[8], random[9], random[10], random[11] = byte(n>>8), byte(n), byte(n>>8), byte(n)
	return newKey(t, random)
}

// furnished is a cabinet with a key of the studio's (1) and one of a partner's (2).
func furnished(t testing.TB) (c *cabinet, studio, partner access.Key) {
	t.Helper()
	studio, partner = keyNo(t, 1), keyNo(t, 2)
	return &cabinet{
		now: morning,
		keys: map[string]store.Key{
			studio.ID():  {ID: studio.ID(), Title: "office", Scopes: []string{"admin"}, Digest: studio.Digest()},
			partner.ID(): {ID: partner.ID(), Owner: "tamsin-row", Scopes: []string{"read", "write"}, Digest: partner.Digest()},
		},
		partners: map[string]store.Partner{"tamsin-row": {ID: "tamsin-row"}, "quillmere": {ID: "quillmere", Closed: true}},
	}, studio, partner
}

// refused checks that a refusal looks like every other one, and for what reason it was made.
func refused(t *testing.T, name string, caller access.Caller, err error, want access.Why) {
	t.Helper()
	if want == "" {
		if err != nil || access.Reason(err) != "" {
			t.Errorf("%s: %v (%s)", name, err, access.Reason(err))
		}
		return
	}
	if !errors.Is(err, access.ErrBadKey) || access.Reason(err) != want || caller != (access.Caller{}) {
		t.Errorf("%s: %v for %q, want %q; the caller is %+v", name, err, access.Reason(err), want, caller)
	}
	if err != nil && (err.Error() != access.ErrBadKey.Error() || fmt.Sprintf("%v %s", err, err) != fmt.Sprintf("%v %[1]s", access.ErrBadKey)) {
		t.Errorf("%s: tells why: %v", name, err)
	}
}

func TestWhoCalls(t *testing.T) {
	c, studio, partner := furnished(t)
	g := c.gate()
	for _, k := range []struct {
		presented string
		want      access.Caller
	}{
		{"", access.Caller{}},
		{studio.Reveal(), access.Caller{Kind: access.Studio, KeyID: studio.ID(), KeyTitle: "office", Scopes: access.Admin}},
		{partner.Reveal(), access.Caller{Kind: access.Partner, Partner: "tamsin-row", KeyID: partner.ID(), Scopes: access.Write}},
	} {
		for range 2 { // as found, and as remembered
			if got, err := g.Authenticate(t.Context(), k.presented); err != nil || got != k.want {
				t.Errorf("%+v, %v, want %+v", got, err, k.want)
			}
		}
	}
	c.change(partner.ID(), func(k *store.Key) { k.Scopes = []string{"admin", "conjure"} })
	c.pass(time.Second)
	if got, err := g.Authenticate(t.Context(), partner.Reveal()); err != nil || got.Scopes != access.Write {
		t.Errorf("a partner's key has %s, %v", got.Scopes, err)
	}
}

func TestRefusals(t *testing.T) {
	wrong := counting(42)
	wrong[9], wrong[8], wrong[41] = 2, 0, 0 // the id of key 2 with another secret
	another := newKey(t, wrong)
	for _, c := range []struct {
		name   string
		change func(*store.Key)
		key    string // key 2 where empty
		want   access.Why
	}{
		{name: "as it is"},
		{"not a key", nil, "sesame", access.Malformed},
		{"mistyped", nil, another.Reveal()[:81] + "!", access.Malformed},
		{"a space only", nil, " ", access.Malformed},
		{"unknown", nil, keyNo(t, 3).Reveal(), access.Unknown},
		{"another secret", nil, another.Reveal(), access.WrongSecret},
		{"another secret of a revoked key", func(k *store.Key) { k.Revoked = morning }, another.Reveal(), access.WrongSecret},
		{"kept without a digest", func(k *store.Key) { k.Digest = [32]byte{} }, "", access.WrongSecret},
		{"expires later", func(k *store.Key) { k.Expires = morning.Add(time.Microsecond) }, "", ""},
		{"expires now", func(k *store.Key) { k.Expires = morning }, "", access.Expired},
		{"expires now elsewhere", func(k *store.Key) { k.Expires = morning.In(time.FixedZone("", 3600)) }, "", access.Expired},
		{"expired", func(k *store.Key) { k.Expires = morning.Add(-time.Hour) }, "", access.Expired},
		{"revoked", func(k *store.Key) { k.Revoked = morning.Add(-time.Hour) }, "", access.Revoked},
		{"revoked by a clock ahead", func(k *store.Key) { k.Revoked = morning.Add(time.Hour) }, "", access.Revoked},
		{"closed partner", func(k *store.Key) { k.Owner = "quillmere" }, "", access.PartnerClosed},
		{"no such partner", func(k *store.Key) { k.Owner = "nobody" }, "", access.PartnerClosed},
	} {
		cabinet, _, partner := furnished(t)
		if c.change != nil {
			cabinet.change(partner.ID(), c.change)
		}
		presented := c.key
		if presented == "" {
			presented = partner.Reveal()
		}
		g := cabinet.gate()
		for range 2 {
			caller, err := g.Authenticate(t.Context(), presented)
			refused(t, c.name, caller, err, c.want)
		}
	}
	if access.Reason(nil) != "" || access.Reason(store.ErrNotFound) != "" || access.Reason(fmt.Errorf("call: %w", access.ErrBadKey)) != "" {
		t.Error("a reason for other errors")
	}
}

// A wrong secret is refused where the right one is remembered, and does not make it forgotten.
func TestAWrongSecretBesideTheRightOne(t *testing.T) {
	c, _, partner := furnished(t)
	g := c.gate()
	wrong := counting(42)
	wrong[8], wrong[9] = 0, 2
	other := newKey(t, wrong)
	if other.ID() != partner.ID() {
		t.Fatal("the ids differ")
	}
	for range 3 {
		caller, err := g.Authenticate(t.Context(), partner.Reveal())
		refused(t, "right", caller, err, "")
		caller, err = g.Authenticate(t.Context(), other.Reveal())
		refused(t, "wrong", caller, err, access.WrongSecret)
	}
	if c.asked != 1 {
		t.Errorf("asked %d times", c.asked)
	}
}

// Malformed keys are told without the store, and keys that are not kept are looked for each time.
func TestOnlyWhatIsFoundIsRemembered(t *testing.T) {
	c, _, partner := furnished(t)
	g := c.gate()
	for _, ask := range []struct {
		presented string
		asked     int
	}{
		{"", 0},
		{"sesame", 0},
		{strings.ToUpper(partner.Reveal()), 0},
		{keyNo(t, 3).Reveal(), 1},
		{keyNo(t, 3).Reveal(), 2},
		{partner.Reveal(), 3},
		{partner.Reveal(), 3},
	} {
		_, _ = g.Authenticate(t.Context(), ask.presented)
		if c.asked != ask.asked {
			t.Errorf("%q: the store was asked %d times, want %d", ask.presented, c.asked, ask.asked)
		}
	}
	c.keys[keyNo(t, 3).ID()] = store.Key{Digest: keyNo(t, 3).Digest()}
	caller, err := g.Authenticate(t.Context(), keyNo(t, 3).Reveal())
	refused(t, "a key that was just made", caller, err, "")
}

func TestARevokedKeyLivesAtMostFresh(t *testing.T) {
	for _, c := range []struct {
		name         string
		fresh, lives time.Duration
	}{
		{"the default", 0, 500 * time.Millisecond},
		{"a tenth", 100 * time.Millisecond, 100 * time.Millisecond},
		{"never believed", -1, 0},
	} {
		for what, end := range map[access.Why]func(*cabinet, string){
			access.Revoked: func(c *cabinet, id string) { c.change(id, func(k *store.Key) { k.Revoked = morning }) },
			access.PartnerClosed: func(c *cabinet, _ string) {
				c.partners["tamsin-row"] = store.Partner{ID: "tamsin-row", Closed: true}
			},
			access.Unknown: func(c *cabinet, id string) { delete(c.keys, id) },
		} {
			cabinet, _, partner := furnished(t)
			g := cabinet.gate()
			g.Fresh = c.fresh
			name := fmt.Sprintf("%s, %s", c.name, what)
			caller, err := g.Authenticate(t.Context(), partner.Reveal())
			refused(t, name, caller, err, "")
			end(cabinet, partner.ID())
			if c.lives > 0 {
				cabinet.pass(c.lives - 1)
				caller, err = g.Authenticate(t.Context(), partner.Reveal())
				refused(t, name+", still fresh", caller, err, "")
				cabinet.pass(1)
			}
			caller, err = g.Authenticate(t.Context(), partner.Reveal())
			refused(t, name, caller, err, what)
		}
	}
}

// Being used does not make it fresher, and a clock that went back does not make it older than it is.
func TestFreshnessIsOfTheFinding(t *testing.T) {
	c, studio, _ := furnished(t)
	g := c.gate()
	for range 20 { // 2 s in steps of a fifth of the freshness
		_, _ = g.Authenticate(t.Context(), studio.Reveal())
		c.pass(100 * time.Millisecond)
	}
	if c.asked != 4 {
		t.Errorf("asked %d times in two seconds, want 4", c.asked)
	}
	c.pass(-time.Hour)
	_, _ = g.Authenticate(t.Context(), studio.Reveal())
	if c.asked != 5 {
		t.Errorf("what was found in the future is believed")
	}
}

// What a slow store answers may be as old as the question.
func TestFreshnessCountsFromTheQuestion(t *testing.T) {
	c, studio, _ := furnished(t)
	g := c.gate()
	g.Find = func(ctx context.Context, id string) (store.Key, error) {
		defer c.pass(400 * time.Millisecond)
		return c.find(ctx, id)
	}
	_, _ = g.Authenticate(t.Context(), studio.Reveal())
	c.pass(99 * time.Millisecond)
	_, _ = g.Authenticate(t.Context(), studio.Reveal())
	if c.asked != 1 {
		t.Errorf("asked %d times", c.asked)
	}
	c.pass(time.Millisecond)
	_, _ = g.Authenticate(t.Context(), studio.Reveal())
	if c.asked != 2 {
		t.Errorf("believed for longer than it is fresh")
	}
}

func TestExpiryToTheMicrosecond(t *testing.T) {
	c, _, partner := furnished(t)
	g := c.gate()
	at := morning.Add(2 * time.Microsecond)
	c.change(partner.ID(), func(k *store.Key) { k.Expires = at })
	for _, step := range []struct {
		pass time.Duration
		want access.Why
	}{
		{0, ""}, {time.Microsecond, ""}, {999, ""}, {1, access.Expired}, {time.Microsecond, access.Expired},
	} {
		c.pass(step.pass)
		caller, err := g.Authenticate(t.Context(), partner.Reveal())
		refused(t, c.clock().Format("15:04:05.000000000"), caller, err, step.want)
	}
	if c.asked != 1 {
		t.Errorf("asked %d times: it expires while it is remembered", c.asked)
	}
}

func TestAStoreThatFailsOpensNothing(t *testing.T) {
	for _, cause := range []error{store.ErrUnavailable, context.Canceled, context.DeadlineExceeded} {
		c, studio, partner := furnished(t)
		g := c.gate()
		_, _ = g.Authenticate(t.Context(), studio.Reveal())
		c.fails = cause
		if _, err := g.Authenticate(t.Context(), studio.Reveal()); err != nil {
			t.Errorf("%v: what is fresh is not believed: %v", cause, err)
		}
		c.pass(time.Second)
		for _, key := range []access.Key{studio, partner} {
			caller, err := g.Authenticate(t.Context(), key.Reveal())
			if !errors.Is(err, cause) || errors.Is(err, access.ErrBadKey) || access.Reason(err) != "" || caller != (access.Caller{}) {
				t.Errorf("%v: %+v, %v", cause, caller, err)
			}
			if err != nil && strings.Contains(err.Error(), key.Reveal()[21:]) {
				t.Errorf("the secret is in %v", err)
			}
		}
		c.fails = nil
		caller, err := g.Authenticate(t.Context(), studio.Reveal())
		refused(t, "after it came back", caller, err, "")
	}
}

// The partner cannot be looked up, although the key could.
func TestAPartnerThatCannotBeLookedUp(t *testing.T) {
	c, _, partner := furnished(t)
	g := c.gate()
	g.PartnerOf = func(context.Context, string) (store.Partner, error) { return store.Partner{}, store.ErrUnavailable }
	for range 2 {
		if caller, err := g.Authenticate(t.Context(), partner.Reveal()); !errors.Is(err, store.ErrUnavailable) || caller != (access.Caller{}) {
			t.Errorf("%+v, %v", caller, err)
		}
	}
	if c.asked != 2 {
		t.Errorf("asked %d times: half of what was found is remembered", c.asked)
	}
}

func TestWhatIsRememberedIsBounded(t *testing.T) {
	c, _, _ := furnished(t)
	g := c.gate()
	for n := range access.KeptKeys + 10 {
		key := keyNo(t, n)
		c.keys[key.ID()] = store.Key{Digest: key.Digest()}
		if _, err := g.Authenticate(t.Context(), key.Reveal()); err != nil {
			t.Fatal(err)
		}
	}
	if got := g.Known(); got != access.KeptKeys {
		t.Errorf("%d keys are remembered, allowed are %d", got, access.KeptKeys)
	}
}

// A gate beside a cabinet that changes: whom it lets in the cabinet would have let in at some moment of the last Fresh, and whom it
// keeps out the cabinet would have kept out at one.
func TestTheGateIsNeverOlderThanFresh(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		key := newKey(t, counting(42))
		c := &cabinet{now: morning, keys: map[string]store.Key{key.ID(): {Owner: "tamsin-row", Digest: key.Digest()}}}
		c.partners = map[string]store.Partner{"tamsin-row": {}}
		g := c.gate()
		open := true
		last := map[bool]time.Time{} // when it was last open, and when it was last not
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			switch rapid.IntRange(0, 3).Draw(t, "step") {
			case 0:
				c.pass(time.Duration(rapid.SampledFrom([]int{0, 1, 100, 250, 499, 500, 700}).Draw(t, "ms")) * time.Millisecond)
			case 1:
				revoked := rapid.SampledFrom([]time.Time{{}, morning}).Draw(t, "revoked")
				c.change(key.ID(), func(k *store.Key) { k.Revoked = revoked })
			case 2:
				c.partners["tamsin-row"] = store.Partner{Closed: rapid.Bool().Draw(t, "closed")}
			default:
				_, err := g.Authenticate(context.Background(), key.Reveal())
				says := err == nil
				if when, ever := last[says]; says != open && (!ever || c.now.Sub(when) >= 500*time.Millisecond) {
					t.Fatalf("open: %t, and the gate says %v after %s", open, err, c.now.Sub(when))
				}
			}
			last[open] = c.now // it was so until now
			open = c.keys[key.ID()].Revoked.IsZero() && !c.partners["tamsin-row"].Closed
		}
	})
}

func TestManyAtOnce(t *testing.T) {
	c, studio, partner := furnished(t)
	g := c.gate()
	ctx, cancel := context.WithCancel(t.Context())
	var runs, calls sync.WaitGroup
	runs.Go(func() { g.Run(ctx) })
	for n := range 8 {
		calls.Go(func() {
			for i := range 200 {
				key := []access.Key{studio, partner, keyNo(t, 3)}[(n+i)%3]
				_, err := g.Authenticate(ctx, key.Reveal())
				if known := key.ID() != keyNo(t, 3).ID(); known != (err == nil) {
					t.Errorf("%s: %v", key, err)
				}
				c.pass(time.Millisecond)
			}
		})
	}
	calls.Wait()
	cancel()
	runs.Wait()
	if len(c.noted) != 2 {
		t.Errorf("noted: %q", c.noted)
	}
}

// RFC 6750 section 2.1 and its example; RFC 9110 section 11.1 on the scheme's case and 11.6.2 on the header.
func TestPresented(t *testing.T) {
	const example = "mF_9.B5f-4.1JqM" // RFC 6750 section 2.1
	for _, c := range []struct {
		header, want string
		ok           bool
	}{
		{"", "", true},
		{"Bearer " + example, example, true},
		{"bearer " + example, example, true},
		{"BEARER " + example, example, true},
		{"Bearer    " + example, example, true}, // 1*SP
		{"Bearer abc==", "abc==", true},
		{"Bearer az09-._~+/", "az09-._~+/", true},
		{"Bearer " + worked, worked, true},
		{"Bearer", "", false},
		{"Bearer ", "", false},
		{"Bearer =", "", false},
		{"Bearer a=b", "", false},
		{"Bearer a b", "", false},
		{"Bearer a ", "", false},
		{"Bearer a, Bearer b", "", false},
		{"Bearer\ta", "", false},
		{"Bearer é", "", false},
		{" Bearer a", "", false},
		{" ", "", false},
		{"Bearera", "", false},
		{"Basic dGFtc2luOnJvdw==", "", false},
		{worked, "", false},
	} {
		got, err := access.Presented(c.header)
		if got != c.want || (err == nil) != c.ok || err != nil && access.Reason(err) != access.Malformed {
			t.Errorf("%q: %q, %v", c.header, got, err)
		}
	}
}

func FuzzPresented(f *testing.F) {
	for _, seed := range []string{"", "Bearer " + worked, "bearer  a==", "Basic a", "Bearer \x00"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, header string) {
		key, err := access.Presented(header)
		switch {
		case err != nil && (key != "" || !errors.Is(err, access.ErrBadKey)):
			t.Fatalf("%q: %q, %v", header, key, err)
		case err == nil && header != "":
			fields := strings.Fields(header)
			if len(fields) != 2 || !strings.EqualFold(fields[0], "bearer") || fields[1] != key {
				t.Fatalf("%q is read as %q", header, key)
			}
			if again, err := access.Presented("Bearer " + key); err != nil || again != key {
				t.Fatalf("%q is read again as %q, %v", key, again, err)
			}
		case err == nil && !slices.Equal([]byte(key), nil):
			t.Fatalf("nothing is read as %q", key)
		}
	})
}

// A key is remembered once it was found with its secret, however long ago, and the store is not asked for that.
func TestRemembers(t *testing.T) {
	c, studio, _ := furnished(t)
	g := c.gate()
	for _, presented := range []string{"", "mwk_nobody", studio.Reveal(), keyNo(t, 3).Reveal()} {
		if _, known := g.Remembers(presented); known {
			t.Errorf("%d characters are remembered that were never found", len(presented))
		}
	}
	if _, err := g.Authenticate(t.Context(), studio.Reveal()); err != nil {
		t.Fatal(err)
	}
	c.pass(time.Hour)
	asked := c.asked
	if id, known := g.Remembers(studio.Reveal()); !known || id != studio.ID() {
		t.Errorf("got %q, %v", id, known)
	}
	random := counting(42)
	random[8], random[9], random[10], random[11], random[41] = 0, 1, 0, 1, 77 // the first key's id, with another secret
	other := newKey(t, random)
	if id, known := g.Remembers(other.Reveal()); known || id != studio.ID() {
		t.Errorf("got %q, %v for another secret", id, known)
	}
	if c.asked != asked {
		t.Error("the store was asked")
	}
}
