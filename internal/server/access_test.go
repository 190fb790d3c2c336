package server

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// stopped is a clock that goes on only when it is told to.
type stopped struct {
	mu sync.Mutex
	at time.Time
}

func (c *stopped) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *stopped) pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

// office is a server that asks for keys, with an administrator's.
type office struct {
	*running
	kept  store.Store
	dir   string // of the store's files
	clock *stopped
	admin string // the text of the key
}

func newOffice(t testing.TB, c Config) *office {
	t.Helper()
	o := &office{dir: t.TempDir(), clock: &stopped{at: time.Date(2027, 3, 1, 9, 30, 0, 0, time.UTC)}}
	kept := onDisk(t, o.dir)
	t.Cleanup(func() { require.NoError(t, kept.Close()) })
	rules := rulesOf(t)
	books, err := bookcase.New(kept, rules, o.clock.now)
	require.NoError(t, err)
	require.NoError(t, books.Begin(context.Background(), demoBook(t, rules)))
	o.kept, c.Store, c.Now = kept, kept, o.clock.now
	o.admin = o.cut(t, store.Key{Title: "The office", Scopes: access.Admin.Names()})
	o.running = start(t, c)
	return o
}

// cut makes a key in the store and returns its text.
func (o *office) cut(t testing.TB, k store.Key) string {
	t.Helper()
	key, err := access.NewKey(rand.Reader)
	require.NoError(t, err)
	k.ID, k.Digest, k.Made = key.ID(), key.Digest(), o.clock.now()
	require.NoError(t, o.kept.Update(context.Background(), func(tx store.Tx) error {
		_, err := tx.AddKey(k)
		return err
	}))
	return key.Reveal()
}

// takeOn keeps a partner.
func (o *office) takeOn(t testing.TB, id, title string) {
	t.Helper()
	require.NoError(t, o.kept.Update(context.Background(), func(tx store.Tx) error {
		_, err := tx.AddPartner(store.Partner{ID: id, Title: title, At: o.clock.now()})
		return err
	}))
}

// doors are the ways in.
func doors() []string { return []string{"rest", "grpc"} }

// callAs calls an RPC of the contract at a door; the refusal is nil where it was answered.
func callAs[M proto.Message](t testing.TB, s *running, door, key, rpc, body string, reply M) (M, *refusal) {
	t.Helper()
	m := methodNamed(t, rpc)
	if door == "grpc" {
		ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+key)
		err := s.conn.Invoke(ctx, fmt.Sprintf("/%s/%s", m.Parent().FullName(), m.Name()), decoded(t, body, newMessage(t, m.Input())), reply)
		if err != nil {
			return reply, refusalOf(status.Convert(err))
		}
		return reply, nil
	}
	verb, path := bindingOf(m)
	path = filled(t, path, body)
	if verb == http.MethodGet {
		path += query(t, body)
		body = ""
	}
	got := s.send(t, verb, path, strings.NewReader(body), "Authorization", "Bearer "+key)
	if got.status != http.StatusOK {
		return reply, got.refusal(t)
	}
	return decoded(t, string(got.body), reply), nil
}

func methodNamed(t testing.TB, rpc string) protoreflect.MethodDescriptor {
	t.Helper()
	for _, of := range []string{"AccessService", "QuoteService"} {
		s, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName("mouldwright.v1." + of))
		require.NoError(t, err)
		if m := s.(protoreflect.ServiceDescriptor).Methods().ByName(protoreflect.Name(rpc)); m != nil {
			return m
		}
	}
	require.Fail(t, "no such RPC", rpc)
	return nil
}

// query writes all fields of a request but its name as parameters.
func query(t testing.TB, body string) string {
	t.Helper()
	var fields map[string]any
	require.NoError(t, json.Unmarshal([]byte(body), &fields))
	values := url.Values{}
	for name, value := range fields {
		if name != "name" {
			values.Set(name, fmt.Sprint(value))
		}
	}
	return "?" + values.Encode()
}

// must is the answer of a call that has to be answered.
func must[M proto.Message](t testing.TB, reply M, refused *refusal) M {
	t.Helper()
	if refused != nil {
		require.Fail(t, "refused", "%v %v", refused.Err(), refused.fields)
	}
	return reply
}

// refusing is what a call that has to be refused is told.
func refusing[M proto.Message](t testing.TB, reply M, refused *refusal) *refusal {
	t.Helper()
	require.NotNil(t, refused, "answered with %v", reply)
	return refused
}

// ofPartner is an answer with a partner.
type ofPartner interface {
	proto.Message
	GetPartner() *mouldwrightv1.Partner
}

func (o *office) askPartner(t testing.TB, door, rpc, body string) (ofPartner, *refusal) {
	t.Helper()
	return callAs(t, o.running, door, o.admin, rpc, body, newMessage(t, methodNamed(t, rpc).Output()).(ofPartner))
}

// partner is the partner that an RPC of the administrator's is answered with.
func (o *office) partner(t testing.TB, door, rpc, body string) *mouldwrightv1.Partner {
	t.Helper()
	reply, refused := o.askPartner(t, door, rpc, body)
	return must(t, reply, refused).GetPartner()
}

func (o *office) refusedPartner(t testing.TB, door, rpc, body string) *refusal {
	t.Helper()
	reply, refused := o.askPartner(t, door, rpc, body)
	return refusing(t, reply, refused)
}

func (o *office) askKey(t testing.TB, door, body string) (*mouldwrightv1.CreateKeyResponse, *refusal) {
	t.Helper()
	return callAs(t, o.running, door, o.admin, "CreateKey", body, &mouldwrightv1.CreateKeyResponse{})
}

// newKey has a key made by the administrator.
func (o *office) newKey(t testing.TB, door, body string) *mouldwrightv1.CreateKeyResponse {
	t.Helper()
	reply, refused := o.askKey(t, door, body)
	return must(t, reply, refused)
}

func (o *office) refusedKey(t testing.TB, door, body string) *refusal {
	t.Helper()
	reply, refused := o.askKey(t, door, body)
	return refusing(t, reply, refused)
}

// opens is the code that a call with a key is answered with, which anyone with a good key may make.
func opens(t testing.TB, s *running, door, key string) codes.Code {
	t.Helper()
	_, refused := callAs(t, s, door, key, "ListQuotes", `{}`, &mouldwrightv1.ListQuotesResponse{})
	if refused == nil {
		return codes.OK
	}
	return refused.Code()
}

func TestPartnerFromFirstToLast(t *testing.T) {
	for i, door := range doors() {
		t.Run(door, func(t *testing.T) {
			o, other := newOffice(t, Config{}), doors()[1-i]
			terms := `{"discountPercent":"5","currencyCode":"EUR","exchangeRate":"1.15"}`
			made := o.partner(t, door, "CreatePartner", `{"partnerId":"tamsin-row","partner":{"title":"Tamsin Row Events","terms":`+terms+`}}`)
			assert.Equal(t, "partners/tamsin-row", made.GetName())
			assert.Equal(t, "2027-03-01T09:30:00Z", made.GetCreateTime())
			assert.Equal(t, "1.15", made.GetTerms().GetExchangeRate())
			assert.True(t, strings.HasPrefix(made.GetEtag(), "1-"), made.GetEtag())
			read := o.partner(t, other, "GetPartner", `{"name":"partners/tamsin-row"}`)
			assert.True(t, proto.Equal(made, read), "%v and %v", made, read)

			refused := o.refusedPartner(t, door, "CreatePartner", `{"partnerId":"tamsin-row","partner":{"title":"Another"}}`)
			assert.Equal(t, codes.AlreadyExists, refused.Code())
			refused = o.refusedPartner(t, door, "GetPartner", `{"name":"partners/quillmere"}`)
			assert.Equal(t, codes.NotFound, refused.Code())
			refused = o.refusedPartner(t, door, "UpdatePartner", `{"partner":{"name":"partners/quillmere","title":"Quillmere Displays"}}`)
			assert.Equal(t, codes.NotFound, refused.Code())

			o.clock.pass(time.Hour)
			named := o.partner(t, door, "UpdatePartner", `{"partner":{"name":"partners/tamsin-row","title":"Tamsin Row","etag":"`+made.GetEtag()+`"}}`)
			assert.True(t, strings.HasPrefix(named.GetEtag(), "2-"), named.GetEtag())
			assert.Equal(t, "Tamsin Row", named.GetTitle())
			assert.Equal(t, made.GetCreateTime(), named.GetCreateTime())
			assert.True(t, proto.Equal(made.GetTerms(), named.GetTerms()))

			refused = o.refusedPartner(t, other, "UpdatePartner", `{"partner":{"name":"partners/tamsin-row","title":"Late","etag":"`+made.GetEtag()+`"}}`)
			assert.Equal(t, codes.Aborted, refused.Code())
			assert.Equal(t, reasonStale, refused.info.GetReason())
			for _, strange := range []string{"1", "2-00000000", "W/x"} {
				refused = o.refusedPartner(t, other, "UpdatePartner", `{"partner":{"name":"partners/tamsin-row","title":"Late","etag":"`+strange+`"}}`)
				assert.Equal(t, codes.Aborted, refused.Code(), strange)
			}
			same := o.partner(t, door, "UpdatePartner", `{"partner":{"name":"partners/tamsin-row","title":"Tamsin Row"}}`)
			assert.Equal(t, named.GetEtag(), same.GetEtag(), "nothing was changed")
		})
	}
}

// A mask changes what it names and nothing else; without one what is set is changed (AIP-134: "if no mask is provided, an implied
// field mask equivalent to all fields that are populated").
func TestPartnerUpdateMasks(t *testing.T) {
	for i, door := range doors() {
		t.Run(door, func(t *testing.T) {
			o := newOffice(t, Config{})
			o.takeOn(t, "quillmere", "Quillmere Displays")
			update := func(fields, mask string) *mouldwrightv1.Partner {
				body := `{"partner":{"name":"partners/quillmere"` + fields + `}` + mask + `}`
				return o.partner(t, doors()[(i+1)%2], "UpdatePartner", body)
			}
			got := update(`,"terms":{"discountPercent":"7.5"}`, "")
			assert.Equal(t, "7.5", got.GetTerms().GetDiscountPercent())
			assert.Equal(t, "Quillmere Displays", got.GetTitle())
			got = update(`,"title":"Quillmere","terms":{"discountPercent":"9"},"closed":true`, `,"updateMask":"title"`)
			assert.Equal(t, "Quillmere", got.GetTitle())
			assert.Equal(t, "7.5", got.GetTerms().GetDiscountPercent())
			assert.False(t, got.GetClosed())
			got = update(``, `,"updateMask":"terms"`)
			assert.True(t, proto.Equal(&mouldwrightv1.PartnerTerms{}, got.GetTerms()), "%v", got.GetTerms())
			got = update(`,"closed":true`, "")
			assert.True(t, got.GetClosed())
			got = update(`,"title":"Q"`, "")
			assert.True(t, got.GetClosed(), "what is left out stays")
			got = update(`,"terms":{"marginPercent":"40"}`, `,"updateMask":"closed,terms"`)
			assert.False(t, got.GetClosed())
			assert.Equal(t, "40", got.GetTerms().GetMarginPercent())
			for _, nothing := range []string{``, `,"closed":false`, `,"terms":{}`, `,"etag":"` + got.GetEtag() + `"`} {
				for _, mask := range []string{``, `,"updateMask":""`} {
					refused := o.refusedPartner(t, door, "UpdatePartner", `{"partner":{"name":"partners/quillmere"`+nothing+`}`+mask+`}`)
					assert.Equal(t, codes.InvalidArgument, refused.Code(), nothing)
					assert.Contains(t, refused.fields["partner"], "nothing to change; allowed: title, terms, terms.discountPercent", nothing)
				}
			}

			for mask, at := range map[string]string{
				"name": "updateMask", "etag": "updateMask", "createTime": "updateMask", "terms.discount": "updateMask", "title,partner": "updateMask",
				"title": "partner.title",
			} {
				refused := o.refusedPartner(t, door, "UpdatePartner", `{"partner":{"name":"partners/quillmere"},"updateMask":"`+mask+`"}`)
				assert.Equal(t, codes.InvalidArgument, refused.Code(), mask)
				assert.Contains(t, refused.fields, at, mask)
			}
			for _, path := range []string{"*", "terms.*", "terms.", "", "Title"} { // what JSON does not let through may come by gRPC
				ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+o.admin)
				_, err := mouldwrightv1.NewAccessServiceClient(o.conn).UpdatePartner(ctx, &mouldwrightv1.UpdatePartnerRequest{
					Partner: &mouldwrightv1.Partner{Name: "partners/quillmere", Title: "X"}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"title", path}},
				})
				assert.Contains(t, refusalOf(status.Convert(err)).fields, "updateMask", path)
			}
			assert.Equal(t, "Q", o.partner(t, door, "GetPartner", `{"name":"partners/quillmere"}`).GetTitle())
		})
	}
}

// What is not sent stays: a field of the terms changes by itself, without a mask (AIP-134) and with one that names it, and the answer
// shows them whole.
func TestPartnerTermsChangeOneByOne(t *testing.T) {
	for i, door := range doors() {
		t.Run(door, func(t *testing.T) {
			o, other := newOffice(t, Config{}), doors()[1-i]
			first := `{"discountPercent":"5","marginPercent":"32","currencyCode":"EUR","exchangeRate":"1.15","tax":"zero","finishes":["gloss","satin"]}`
			o.partner(t, door, "CreatePartner", `{"partnerId":"tamsin-row","partner":{"title":"Tamsin Row Events","terms":`+first+`}}`)
			want := decoded(t, first, &mouldwrightv1.PartnerTerms{})
			update := func(terms, mask string) {
				t.Helper()
				got := o.partner(t, door, "UpdatePartner", `{"partner":{"name":"partners/tamsin-row","terms":`+terms+`}`+mask+`}`)
				assert.True(t, proto.Equal(want, got.GetTerms()), "%s %s: %v", terms, mask, got.GetTerms())
				assert.True(t, proto.Equal(got, o.partner(t, other, "GetPartner", `{"name":"partners/tamsin-row"}`)))
				assert.Equal(t, "Tamsin Row Events", got.GetTitle())
			}
			want.DiscountPercent = "10"
			update(`{"discountPercent":"10"}`, "")
			want.ExchangeRate = "1.2" // which fits beside the currency that is kept
			update(`{"exchangeRate":"1.2"}`, "")
			want.Finishes = []string{"satin"}
			update(`{"finishes":["satin"]}`, "")
			want.Tax = ""
			update(`{"discountPercent":"50"}`, `,"updateMask":"terms.tax"`)
			want.MarginPercent, want.Finishes = "30", nil
			update(`{"marginPercent":"30"}`, `,"updateMask":"terms.marginPercent,terms.finishes"`)

			refused := o.refusedPartner(t, door, "UpdatePartner", `{"partner":{"name":"partners/tamsin-row","terms":{"currencyCode":"GBP"}}}`)
			assert.Contains(t, refused.fields["partner.terms.exchangeRate"], "got 1.2 for GBP", "what is kept does not fit beside it")
			refused = o.refusedPartner(t, door, "UpdatePartner", `{"partner":{"name":"partners/tamsin-row"},"updateMask":"terms.exchangeRate"}`)
			assert.Contains(t, refused.fields["partner.terms.exchangeRate"], "missing")
			want = &mouldwrightv1.PartnerTerms{DiscountPercent: "3"}
			update(`{"discountPercent":"3"}`, `,"updateMask":"terms"`)
		})
	}
}

// A change of one field is kept with what another changed meanwhile.
func TestPartnerChangesMeanwhile(t *testing.T) {
	o := newOffice(t, Config{})
	o.takeOn(t, "tamsin-row", "Tamsin Row Events")
	var callers sync.WaitGroup
	for _, terms := range []string{`"discountPercent":"4"`, `"marginPercent":"33"`, `"tax":"zero"`, `"finishes":["gloss"]`} {
		callers.Go(func() {
			got := o.send(t, "PATCH", "/v1/partners/tamsin-row", strings.NewReader(`{"partner":{"terms":{`+terms+`}}}`), "Authorization", "Bearer "+o.admin)
			assert.Equal(t, http.StatusOK, got.status, "%s", got.body)
		})
	}
	callers.Wait()
	want := &mouldwrightv1.PartnerTerms{DiscountPercent: "4", MarginPercent: "33", Tax: "zero", Finishes: []string{"gloss"}}
	assert.True(t, proto.Equal(want, o.partner(t, "rest", "GetPartner", `{"name":"partners/tamsin-row"}`).GetTerms()))
}

// A finish that there is not is answered with those that there are: terms are the studio's.
func TestPartnerFinishesAreTold(t *testing.T) {
	o := newOffice(t, Config{})
	refused := o.refusedPartner(t, "rest", "CreatePartner", `{"partnerId":"tamsin-row","partner":{"title":"Tamsin Row Events","terms":{"finishes":["gloss","satn"]}}}`)
	assert.Contains(t, refused.fields["partner.terms.finishes[1]"], `got "satn", which is no finish of rate book demo-2026.1; did you mean "satin"? allowed: `)
	assert.Len(t, refused.fields, 1)
}

// Terms have to fit the rate book that is in force when they are set.
func TestPartnerTermsFitTheRateBook(t *testing.T) {
	o := newOffice(t, Config{})
	o.takeOn(t, "quillmere", "Quillmere Displays")
	for terms, at := range map[string]string{
		`{"tax":"no-such-tax"}`:                           "partner.terms.tax",
		`{"finishes":["no-such-finish"]}`:                 "partner.terms.finishes[0]",
		`{"currencyCode":"EUR"}`:                          "partner.terms.exchangeRate",
		`{"exchangeRate":"1.2"}`:                          "partner.terms.exchangeRate",
		`{"currencyCode":"XQX","exchangeRate":"1.2"}`:     "partner.terms.currencyCode",
		`{"currencyCode":"EUR","exchangeRate":"0.00001"}`: "partner.terms.exchangeRate",
		`{"discountPercent":"91"}`:                        "partner.terms.discountPercent",
		`{"marginPercent":"96"}`:                          "partner.terms.marginPercent",
		`{"discount":"5"}`:                                "partner.terms.discount",
	} {
		for _, door := range doors() {
			if door == "grpc" && terms == `{"discount":"5"}` {
				continue // it cannot be said there
			}
			refused := o.refusedPartner(t, door, "CreatePartner", `{"partnerId":"tamsin-row","partner":{"title":"Tamsin Row Events","terms":`+terms+`}}`)
			assert.Equal(t, codes.InvalidArgument, refused.Code(), terms)
			assert.Contains(t, refused.fields, at, terms)
			assert.Len(t, refused.fields, 1, terms)
			refused = o.refusedPartner(t, door, "UpdatePartner", `{"partner":{"name":"partners/quillmere","terms":`+terms+`}}`)
			assert.Contains(t, refused.fields, at, terms)
		}
	}
	// All that is wrong is said at once: form, limits, and what does not fit.
	refused := o.refusedPartner(t, "grpc", "CreatePartner", `{"partnerId":"A","partner":{"name":"partners/x","terms":{"tax":"x","finishes":["y"]}}}`)
	for _, path := range []string{"partnerId", "partner.name", "partner.title", "partner.terms.tax", "partner.terms.finishes[0]"} {
		assert.Contains(t, refused.fields, path)
	}
	o.partner(t, "rest", "CreatePartner", `{"partnerId":"tamsin-row","partner":{"name":"partners/tamsin-row","title":"Tamsin Row Events"}}`)
	refused = o.refusedPartner(t, "rest", "CreatePartner", `{"partnerId":"x","partner":{"title":"a\nb"}}`)
	assert.Contains(t, refused.fields, "partner.title")
}

func TestListsOfPartnersAndKeys(t *testing.T) {
	o := newOffice(t, Config{})
	var ids []string
	for n := range 5 {
		ids = append(ids, fmt.Sprintf("partners/p%d", n))
		o.takeOn(t, fmt.Sprintf("p%d", n), "A partner")
		o.cut(t, store.Key{Owner: "p0", Title: fmt.Sprint("till ", n), Scopes: access.Read.Names()})
	}
	for _, door := range doors() {
		var names, keys, sorted []string
		for token, pages := "", 0; pages < 3; pages++ {
			got, refused := callAs(t, o.running, door, o.admin, "ListPartners", `{"pageSize":2,"pageToken":"`+token+`"}`, &mouldwrightv1.ListPartnersResponse{})
			for _, p := range must(t, got, refused).GetPartners() {
				names = append(names, p.GetName())
			}
			token = got.GetNextPageToken()
			assert.Equal(t, pages == 2, token == "")
		}
		assert.Equal(t, ids, names)
		for token, pages := "", 0; pages < 2; pages++ {
			got, refused := callAs(t, o.running, door, o.admin, "ListKeys", `{"pageSize":3,"partner":"partners/p0","pageToken":"`+token+`"}`, &mouldwrightv1.ListKeysResponse{})
			for _, k := range must(t, got, refused).GetKeys() {
				keys = append(keys, k.GetName())
				assert.Equal(t, "partners/p0", k.GetPartner())
				assert.Equal(t, mouldwrightv1.Scope_SCOPE_READ, k.GetScope())
			}
			token = got.GetNextPageToken()
		}
		assert.Len(t, keys, 5)
		assert.IsIncreasing(t, append(sorted, keys...))
		all, refused := callAs(t, o.running, door, o.admin, "ListKeys", `{}`, &mouldwrightv1.ListKeysResponse{})
		assert.Len(t, must(t, all, refused).GetKeys(), 6, "with the office's own")
		at := map[string]string{"rest": "?pageToken", "grpc": "pageToken"}[door]
		for _, strange := range []string{"!", pageToken("no id"), pageToken("A"), pageToken("é")} {
			_, refused := callAs(t, o.running, door, o.admin, "ListPartners", `{"pageToken":"`+strange+`"}`, &mouldwrightv1.ListPartnersResponse{})
			require.NotNil(t, refused, strange)
			assert.Contains(t, refused.fields, at, strange)
			_, refused = callAs(t, o.running, door, o.admin, "ListKeys", `{"pageToken":"`+strange+`"}`, &mouldwrightv1.ListKeysResponse{})
			assert.Contains(t, refused.fields, at, strange)
		}
	}
}

func TestKeyFromFirstToLast(t *testing.T) {
	for i, door := range doors() {
		t.Run(door, func(t *testing.T) {
			o, other := newOffice(t, Config{}), doors()[1-i]
			o.takeOn(t, "tamsin-row", "Tamsin Row Events")
			made := o.newKey(t, door, `{"title":"Tamsin's laptop","partner":"partners/tamsin-row","scope":"SCOPE_WRITE","lifetimeDays":30}`)
			key, err := access.ParseKey(made.GetText())
			require.NoError(t, err)
			assert.True(t, proto.Equal(&mouldwrightv1.Key{
				Name: "keys/" + key.ID(), Title: "Tamsin's laptop", Partner: "partners/tamsin-row", Scope: mouldwrightv1.Scope_SCOPE_WRITE,
				CreateTime: "2027-03-01T09:30:00Z", ExpireTime: "2027-03-31T09:30:00Z", State: mouldwrightv1.KeyState_KEY_STATE_OPEN,
			}, made.GetKey()), "%v", made.GetKey())
			assert.Equal(t, codes.OK, opens(t, o.running, other, made.GetText()))

			_, refused := callAs(t, o.running, other, made.GetText(), "ListKeys", `{}`, &mouldwrightv1.ListKeysResponse{})
			assert.Equal(t, codes.PermissionDenied, refused.Code())
			_, refused = callAs(t, o.running, other, made.GetText(), "RevokeKey", `{"name":"keys/`+key.ID()+`"}`, &mouldwrightv1.RevokeKeyResponse{})
			assert.Equal(t, codes.PermissionDenied, refused.Code())

			o.clock.pass(time.Minute)
			revoke := func() *mouldwrightv1.Key {
				got, refused := callAs(t, o.running, door, o.admin, "RevokeKey", `{"name":"keys/`+key.ID()+`"}`, &mouldwrightv1.RevokeKeyResponse{})
				return must(t, got, refused).GetKey()
			}
			assert.Equal(t, "2027-03-01T09:31:00Z", revoke().GetRevokeTime())
			o.clock.pass(time.Minute)
			assert.Equal(t, "2027-03-01T09:31:00Z", revoke().GetRevokeTime(), "it was so before")
			for _, d := range doors() {
				assert.Equal(t, codes.Unauthenticated, opens(t, o.running, d, made.GetText()))
			}
			_, refused = callAs(t, o.running, door, o.admin, "RevokeKey", `{"name":"keys/aaaaaaaaaaaaaaaa"}`, &mouldwrightv1.RevokeKeyResponse{})
			assert.Equal(t, codes.NotFound, refused.Code())
		})
	}
}

// For a partner that is closed nothing new is begun, and its keys say so; what there is goes on, and all is as before once it is
// opened again.
func TestPartnerThatIsClosed(t *testing.T) {
	o := newOffice(t, Config{})
	o.takeOn(t, "tamsin-row", "Tamsin Row Events")
	o.newKey(t, "rest", `{"title":"Tamsin's laptop","partner":"partners/tamsin-row","scope":"SCOPE_WRITE","lifetimeDays":2}`)
	states := func() string {
		got, refused := callAs(t, o.running, "rest", o.admin, "ListKeys", `{"partner":"partners/tamsin-row"}`, &mouldwrightv1.ListKeysResponse{})
		var all []string
		for _, k := range must(t, got, refused).GetKeys() {
			all = append(all, strings.TrimPrefix(k.GetState().String(), "KEY_STATE_"))
		}
		return strings.Join(all, " ")
	}
	quote := func(door string) (*mouldwrightv1.CreateQuoteResponse, *refusal) {
		body := `{"partner":"partners/tamsin-row","brief":` + string(plainBrief(t)) + `}`
		return callAs(t, o.running, door, o.admin, "CreateQuote", body, &mouldwrightv1.CreateQuoteResponse{})
	}
	begun, refused := quote("rest")
	begun = must(t, begun, refused)
	assert.Equal(t, "OPEN", states())
	o.partner(t, "rest", "UpdatePartner", `{"partner":{"name":"partners/tamsin-row","closed":true}}`)
	assert.Equal(t, "PARTNER_CLOSED", states())
	for _, door := range doors() {
		refused := o.refusedKey(t, door, `{"title":"Tamsin's till","partner":"partners/tamsin-row","scope":"SCOPE_READ"}`)
		assert.Equal(t, codes.FailedPrecondition, refused.Code())
		assert.Equal(t, reasonClosed, refused.info.GetReason())
		_, refused = quote(door)
		require.NotNil(t, refused)
		assert.Equal(t, codes.FailedPrecondition, refused.Code())
		assert.Equal(t, reasonClosed, refused.info.GetReason())
		assert.Equal(t, "partners/tamsin-row is closed; allowed: another, or this one once it is opened again", refused.Message())
	}
	issued, refused := callAs(t, o.running, "grpc", o.admin, "IssueQuote", `{"name":"`+begun.GetQuote().GetName()+`"}`, &mouldwrightv1.IssueQuoteResponse{})
	assert.Equal(t, mouldwrightv1.QuoteState_QUOTE_STATE_ISSUED, must(t, issued, refused).GetQuote().GetState(), "what was begun goes on")
	o.partner(t, "rest", "UpdatePartner", `{"partner":{"name":"partners/tamsin-row"},"updateMask":"closed"}`)
	assert.Equal(t, "OPEN", states())
	begun, refused = quote("grpc")
	must(t, begun, refused)
	o.clock.pass(48 * time.Hour)
	assert.Equal(t, "EXPIRED", states())
}

func TestKeysThatAreNotMade(t *testing.T) {
	o := newOffice(t, Config{})
	o.takeOn(t, "tamsin-row", "Tamsin Row Events")
	for body, at := range map[string]string{
		`{"title":"x","partner":"partners/tamsin-row","scope":"SCOPE_ADMIN"}`: "scope",
		`{"title":"x"}`:                                          "scope",
		`{"scope":"SCOPE_READ"}`:                                 "title",
		`{"title":"a\tb","scope":"SCOPE_READ"}`:                  "title",
		`{"title":"x","scope":"SCOPE_READ","lifetimeDays":0}`:    "lifetimeDays",
		`{"title":"x","scope":"SCOPE_READ","lifetimeDays":3651}`: "lifetimeDays",
	} {
		for _, door := range doors() {
			refused := o.refusedKey(t, door, body)
			assert.Equal(t, codes.InvalidArgument, refused.Code(), body)
			assert.Contains(t, refused.fields, at, body)
		}
	}
	refused := o.refusedKey(t, "rest", `{"title":"x","partner":"partners/quillmere","scope":"SCOPE_READ"}`)
	assert.Equal(t, codes.NotFound, refused.Code())
	assert.Equal(t, reasonNoPartner, refused.info.GetReason())
	all, refused := callAs(t, o.running, "grpc", o.admin, "ListKeys", `{}`, &mouldwrightv1.ListKeysResponse{})
	assert.Len(t, must(t, all, refused).GetKeys(), 1)
}

// The text of a key is in one answer and nowhere else: not in the answer that is kept for a request that is sent again, not in
// the log, not in the store's files, where only the SHA-256 (FIPS 180-4, as the standard library has it) of the secret is.
func TestAKeyIsShownOnce(t *testing.T) {
	for i, door := range doors() {
		t.Run(door, func(t *testing.T) {
			o := newOffice(t, Config{})
			const body = `{"title":"The till","scope":"SCOPE_WRITE","requestId":"till-1"}`
			made := o.newKey(t, door, body)
			require.NotEmpty(t, made.GetText())
			for _, d := range []string{door, doors()[1-i]} {
				again := o.newKey(t, d, body)
				assert.Empty(t, again.GetText(), d)
				assert.True(t, proto.Equal(made.GetKey(), again.GetKey()))
			}
			refused := o.refusedKey(t, door, `{"title":"The other till","scope":"SCOPE_WRITE","requestId":"till-1"}`)
			assert.Equal(t, codes.AlreadyExists, refused.Code())
			assert.Equal(t, reasonOtherBody, refused.info.GetReason())
			assert.Equal(t, codes.OK, opens(t, o.running, door, made.GetText()))

			part := strings.Split(made.GetText(), "_") // mwk, id, secret, checksum
			require.Len(t, part, 4)
			plain, err := base32.StdEncoding.WithPadding(base32.NoPadding).DecodeString(strings.ToUpper(part[2])) // RFC 4648, section 6
			require.NoError(t, err)
			digest := sha256.Sum256([]byte(part[2]))
			files := filesIn(t, o.dir)
			assert.True(t, diskless || bytes.Contains(files, digest[:]), "what is kept is the sum")
			assert.True(t, diskless || bytes.Contains(files, []byte(part[1])), "and the id")
			for _, secret := range [][]byte{[]byte(made.GetText()), []byte(part[2]), []byte(strings.ToUpper(part[2])), plain, plain[:16], []byte(part[2][:20]), []byte(part[3])} {
				assert.False(t, bytes.Contains(files, secret), "%x is in the store", secret)
			}
			assert.NotContains(t, o.log.String(), part[2][:10])
			assert.Contains(t, o.log.String(), part[1])
		})
	}
}

// filesIn is all that is in the files of a directory: a database, and what it has not yet put in its place.
func filesIn(t testing.TB, dir string) (all []byte) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.True(t, diskless || len(entries) > 0)
	for _, e := range entries {
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		all = append(all, text...)
	}
	return all
}

// overtaken is a store whose transactions are tried twice, and something else happens between the tries of one of them.
type overtaken struct {
	store.Store
	updates int
	between func() // before the second try of the first transaction
}

var errAgain = errors.New("try again")

func (o *overtaken) Update(ctx context.Context, do func(store.Tx) error) error {
	if o.updates++; o.updates == 1 {
		err := o.Store.Update(ctx, func(tx store.Tx) error { return errors.Join(do(tx), errAgain) })
		if !errors.Is(err, errAgain) {
			return err
		}
		o.between()
	}
	return o.Store.Update(ctx, do)
}

// Two servers are sent the same request: whoever is overtaken answers with the other's key, and not with the text of his own,
// which nobody keeps.
func TestAKeyThatWasOvertakenIsNotShown(t *testing.T) {
	r := demoRoom(t, rulesOf(t))
	serviceOn := func(s store.Store) *accessService {
		keep := &keeping{store: s, now: time.Now, zone: time.UTC, flying: map[flight]bool{}}
		return &accessService{intake: r.intake, keep: keep, gate: r.gate, random: rand.Reader}
	}
	request := &mouldwrightv1.CreateKeyRequest{Title: "The till", Scope: mouldwrightv1.Scope_SCOPE_READ, RequestId: "till-1"}
	var first *mouldwrightv1.CreateKeyResponse
	slow := &overtaken{Store: r.keep.store, between: func() {
		var err error
		first, err = serviceOn(r.keep.store).CreateKey(asStudio(t.Context()), request)
		require.NoError(t, err)
	}}
	second, err := serviceOn(slow).CreateKey(asStudio(t.Context()), request)
	require.NoError(t, err)
	assert.NotEmpty(t, first.GetText())
	assert.Empty(t, second.GetText())
	assert.True(t, proto.Equal(first.GetKey(), second.GetKey()))
}

func TestKeysExpire(t *testing.T) {
	o := newOffice(t, Config{})
	made := o.newKey(t, "rest", `{"title":"For a day","scope":"SCOPE_READ","lifetimeDays":1}`)
	for _, door := range doors() {
		assert.Equal(t, codes.OK, opens(t, o.running, door, made.GetText()))
	}
	o.clock.pass(24*time.Hour - time.Nanosecond)
	assert.Equal(t, codes.OK, opens(t, o.running, "rest", made.GetText()))
	o.clock.pass(time.Nanosecond)
	for _, door := range doors() {
		assert.Equal(t, codes.Unauthenticated, opens(t, o.running, door, made.GetText()))
	}
}

// What shuts keys out does so at once where it is done, and within a second on another server of the same store.
func TestKeyRevocationBites(t *testing.T) {
	here := newOffice(t, Config{})
	here.takeOn(t, "tamsin-row", "Tamsin Row Events")
	there := start(t, Config{Store: here.kept, Now: here.clock.now})
	for name, shut := range map[string]struct{ rpc, body string }{
		"revoked": {"RevokeKey", `{"name":"keys/%s"}`},
		"closed":  {"UpdatePartner", `{"partner":{"name":"partners/tamsin-row","closed":true}}`},
	} {
		for _, door := range doors() {
			t.Run(name+" "+door, func(t *testing.T) {
				here.partner(t, door, "UpdatePartner", `{"partner":{"name":"partners/tamsin-row"},"updateMask":"closed"}`)
				here.clock.pass(time.Second)
				text := here.cut(t, store.Key{Owner: "tamsin-row", Title: "Tamsin's laptop", Scopes: access.Read.Names()})
				for _, s := range []*running{here.running, there} {
					for _, d := range doors() {
						require.Equal(t, codes.OK, opens(t, s, d, text))
					}
				}
				body := strings.Replace(shut.body, "%s", strings.Split(text, "_")[1], 1)
				_, refused := callAs[proto.Message](t, here.running, door, here.admin, shut.rpc, body, newMessage(t, methodNamed(t, shut.rpc).Output()))
				require.Nil(t, refused)
				for _, d := range doors() {
					assert.Equal(t, codes.Unauthenticated, opens(t, here.running, d, text), "at once")
				}
				here.clock.pass(time.Second - time.Nanosecond)
				for _, d := range doors() {
					assert.Equal(t, codes.Unauthenticated, opens(t, there, d, text), "within a second")
				}
			})
		}
	}
}

func TestLastUseOfKeysIsNoted(t *testing.T) {
	o := newOffice(t, Config{})
	text := o.cut(t, store.Key{Title: "The till", Scopes: access.Read.Names()})
	unused := o.cut(t, store.Key{Title: "The spare", Scopes: access.Read.Names()})
	o.clock.pass(time.Hour)
	for _, door := range doors() {
		require.Equal(t, codes.OK, opens(t, o.running, door, text))
	}
	require.NoError(t, o.stop()) // which keeps what was noted
	used := func(text string) (k store.Key) {
		require.NoError(t, o.kept.View(context.Background(), func(r store.Reader) (err error) {
			k, err = r.Key(strings.Split(text, "_")[1])
			return err
		}))
		return k
	}
	assert.Equal(t, "2027-03-01T10:30:00Z", wire.Key(used(text), false, o.clock.now()).GetLastUseTime())
	assert.Empty(t, wire.Key(used(unused), false, o.clock.now()).GetLastUseTime())
}

// A request that is sent again with its id is answered as it was, whatever became of things since.
func TestAccessWritesAreRepeatable(t *testing.T) {
	o := newOffice(t, Config{})
	second := o.cut(t, store.Key{Title: "The other office", Scopes: access.Admin.Names()})
	const create = `{"partnerId":"tamsin-row","partner":{"title":"Tamsin Row Events"},"requestId":"one"}`
	const update = `{"partner":{"name":"partners/tamsin-row","title":"Tamsin Row"},"requestId":"two"}`
	made := o.partner(t, "rest", "CreatePartner", create)
	named := o.partner(t, "grpc", "UpdatePartner", update)
	o.partner(t, "rest", "UpdatePartner", `{"partner":{"name":"partners/tamsin-row","title":"T. Row"}}`)
	o.clock.pass(time.Hour)
	for _, door := range doors() {
		assert.True(t, proto.Equal(made, o.partner(t, door, "CreatePartner", create)))
		assert.True(t, proto.Equal(named, o.partner(t, door, "UpdatePartner", update)))
		assert.Equal(t, "T. Row", o.partner(t, door, "GetPartner", `{"name":"partners/tamsin-row"}`).GetTitle())
		refused := o.refusedPartner(t, door, "UpdatePartner", strings.Replace(update, "two", "one", 1))
		assert.Equal(t, reasonOtherBody, refused.info.GetReason())
		again, failed := callAs(t, o.running, door, second, "CreatePartner", create, &mouldwrightv1.CreatePartnerResponse{})
		assert.True(t, proto.Equal(made, must(t, again, failed).GetPartner()), "the studio's ids are those of all its keys")
	}
}

// The generic cell rate algorithm (ITU-T I.371, annex A): so many at once, then one for each emission interval, which is a
// minute's share; the wait that is told is what is left of it.
func TestRateIsEven(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // whose clock stands still but for what is slept
		const interval = 2 * time.Second
		r, err := newRate(Rate{PerMinute: 30, Burst: 3}, time.Now)
		require.NoError(t, err)
		take := func(who string) time.Duration {
			err := r.take(t.Context(), who)
			if err == nil {
				return 0
			}
			var over *problem
			require.ErrorAs(t, err, &over)
			assert.Equal(t, codes.ResourceExhausted, over.code)
			return over.retry
		}
		for range 3 {
			assert.Zero(t, take("a"))
		}
		assert.Equal(t, interval, take("a"))
		assert.Equal(t, interval, take("a"), "what was refused does not count")
		assert.Zero(t, take("b"), "another is not held back")
		time.Sleep(interval - time.Nanosecond)
		assert.Equal(t, time.Nanosecond, take("a"))
		time.Sleep(time.Nanosecond)
		assert.Zero(t, take("a"))
		assert.Equal(t, interval, take("a"), "one for each interval")
		time.Sleep(time.Hour)
		for range 3 {
			assert.Zero(t, take("a"), "no more are saved up than may come at once")
		}
		assert.Equal(t, interval, take("a"))
	})
}

// Who calls too often is told when to come again, by RetryInfo at both doors and by Retry-After in whole seconds (RFC 9110,
// section 10.2.3) over HTTP; others go on.
func TestRateAtTheDoors(t *testing.T) {
	for _, door := range doors() {
		t.Run(door, func(t *testing.T) {
			o := newOffice(t, Config{KeyRate: Rate{PerMinute: 1, Burst: 1}, AddressRate: Rate{PerMinute: 1, Burst: 1}})
			greedy := o.cut(t, store.Key{Title: "Greedy", Scopes: access.Read.Names()})
			modest := o.cut(t, store.Key{Title: "Modest", Scopes: access.Read.Names()})
			tooOften := func(key string) *refusal {
				for {
					_, refused := callAs(t, o.running, door, key, "ListQuotes", `{}`, &mouldwrightv1.ListQuotesResponse{})
					if refused != nil && refused.Code() != codes.Unauthenticated {
						return refused
					}
				}
			}
			require.Equal(t, codes.OK, opens(t, o.running, door, modest)) // from then on it is known, and not counted under its address
			o.clock.pass(time.Minute)
			for _, key := range []string{greedy, "mwk_nobody"} {
				refused := tooOften(key)
				assert.Equal(t, codes.ResourceExhausted, refused.Code())
				assert.Equal(t, reasonTooOften, refused.info.GetReason())
				assert.Positive(t, refused.retry)
				assert.LessOrEqual(t, refused.retry, time.Minute, "the emission interval")
			}
			assert.Equal(t, codes.OK, opens(t, o.running, door, modest))
			tooOften(greedy)
			got := o.send(t, "GET", "/v1/quotes", nil, "Authorization", "Bearer "+greedy)
			if got.status == http.StatusOK { // a minute has gone by
				got = o.send(t, "GET", "/v1/quotes", nil, "Authorization", "Bearer "+greedy)
			}
			assert.Equal(t, http.StatusTooManyRequests, got.status)
			after, err := strconv.Atoi(got.header.Get("Retry-After"))
			require.NoError(t, err)
			assert.Equal(t, math.Ceil(got.refusal(t).retry.Seconds()), float64(after))
		})
	}
}
