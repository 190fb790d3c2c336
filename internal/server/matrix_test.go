package server

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Callers of the matrix. Resources belong to the partner tamsin-row; quillmere is another.
const (
	noKey      = "no key"
	badKey     = "bad key"
	expiredKey = "expired"
	revokedKey = "revoked"
	closedKey  = "key of a closed partner"
	ownReader  = "partner own, read only"
	own        = "partner own"
	other      = "partner other"
	reader     = "studio, read only"
	studio     = "studio"
	admin      = "studio admin"
)

// row is what an RPC answers to each kind of caller whose key is good.
type row struct{ ownReader, own, other, reader, studio, admin codes.Code }

// Rows that several RPCs have.
func anyPartner() row { // asks, and keeps nothing
	return row{codes.OK, codes.OK, codes.OK, codes.OK, codes.OK, codes.OK}
}

func ownThing() row { // looks at what a partner owns
	return row{codes.OK, codes.OK, codes.NotFound, codes.OK, codes.OK, codes.OK}
}

func ownChange() row { // changes what a partner owns
	return row{codes.PermissionDenied, codes.OK, codes.NotFound, codes.PermissionDenied, codes.OK, codes.OK}
}

func newThing() row { // makes something of the caller's own
	return row{codes.PermissionDenied, codes.OK, codes.OK, codes.PermissionDenied, codes.OK, codes.OK}
}

func studioAsks() row {
	return row{codes.PermissionDenied, codes.PermissionDenied, codes.PermissionDenied, codes.OK, codes.OK, codes.OK}
}

func studioWrites() row {
	return row{codes.PermissionDenied, codes.PermissionDenied, codes.PermissionDenied, codes.PermissionDenied, codes.OK, codes.OK}
}

func adminOnly() row {
	return row{codes.PermissionDenied, codes.PermissionDenied, codes.PermissionDenied, codes.PermissionDenied, codes.PermissionDenied, codes.OK}
}

// matrix says who may call what. It is written by hand, beside the contract's own options.
func matrix() map[string]row {
	return map[string]row{
		"MeasureBrief": anyPartner(), "PreviewQuote": anyPartner(), "ListQuotes": anyPartner(), "ListMeshes": anyPartner(),
		"UploadMesh": newThing(), "CreateMesh": newThing(), "CreateQuote": newThing(),
		"GetMesh": ownThing(), "MeasureMesh": ownThing(), "CompareMeshes": ownThing(), "GetMeshPicture": ownThing(),
		"GetQuote": ownThing(), "GetQuoteDocument": ownThing(),
		"DeleteMesh": ownChange(), "ReviseQuote": ownChange(), "AcceptQuote": ownChange(), "DeclineQuote": ownChange(),
		"EstimateLabour": studioAsks(), "ApplyMargin": studioAsks(), "RecomputeQuote": studioAsks(),
		"GetRateBook": studioAsks(), "ListRateBooks": studioAsks(), "CheckRateBook": studioAsks(),
		"IssueQuote": studioWrites(), "CreateRateBook": studioWrites(),
		"CreatePartner": adminOnly(), "GetPartner": adminOnly(), "ListPartners": adminOnly(), "UpdatePartner": adminOnly(),
		"CreateKey": adminOnly(), "ListKeys": adminOnly(), "RevokeKey": adminOnly(),
	}
}

func (r row) of(caller string) codes.Code {
	switch caller {
	case ownReader:
		return r.ownReader
	case own:
		return r.own
	case other:
		return r.other
	case reader:
		return r.reader
	case studio:
		return r.studio
	case admin:
		return r.admin
	default:
		return codes.Unauthenticated // no RPC is anyone's yet
	}
}

// guarded is a server that asks for keys, with a key for each caller of the matrix.
type guarded struct {
	*running
	kept store.Store
	keys map[string]string
	made int // things made so far, for names of their own
}

func guardedServer(t testing.TB, c Config) *guarded {
	t.Helper()
	rules := rulesOf(t)
	c.Store, c.Now = demoStore(t, rules), march
	c.KeyRate, c.AddressRate = unhurried(), unhurried()
	g := &guarded{kept: c.Store, keys: map[string]string{noKey: "", badKey: newKey(t).Reveal()}}
	require.NoError(t, c.Store.Update(context.Background(), func(tx store.Tx) error {
		for _, p := range []store.Partner{
			{ID: "tamsin-row", Title: "Tamsin Row Events"}, {ID: "quillmere", Title: "Quillmere Displays"}, {ID: "closed", Title: "Closed", Closed: true},
		} {
			if _, err := tx.AddPartner(p); err != nil {
				return err
			}
		}
		return nil
	}))
	before := march().Add(-time.Hour)
	for name, k := range map[string]store.Key{
		expiredKey: {Scopes: access.Admin.Names(), Expires: march()}, revokedKey: {Scopes: access.Admin.Names(), Revoked: before},
		closedKey: {Owner: "closed", Scopes: access.Write.Names()},
		ownReader: {Owner: "tamsin-row", Scopes: access.Read.Names()}, own: {Owner: "tamsin-row", Scopes: access.Write.Names()},
		other: {Owner: "quillmere", Scopes: access.Write.Names()}, reader: {Scopes: access.Read.Names()},
		studio: {Scopes: access.Write.Names()}, admin: {Scopes: access.Admin.Names()},
	} {
		g.keys[name] = keepKey(t, c.Store, name, k)
	}
	g.running = start(t, c)
	return g
}

func newKey(t testing.TB) access.Key {
	t.Helper()
	key, err := access.NewKey(rand.Reader)
	require.NoError(t, err)
	return key
}

// keepKey keeps a key and returns its text.
func keepKey(t testing.TB, kept store.Store, title string, k store.Key) string {
	t.Helper()
	key := newKey(t)
	k.ID, k.Digest, k.Title, k.Made = key.ID(), key.Digest(), title, march()
	revoked := k.Revoked
	k.Revoked = time.Time{}
	require.NoError(t, kept.Update(context.Background(), func(tx store.Tx) error {
		if _, err := tx.AddKey(k); err != nil || revoked.IsZero() {
			return err
		}
		_, err := tx.RevokeKey(k.ID, revoked, store.Studio())
		return err
	}))
	return key.Reveal()
}

// as gives the header of a caller's key.
func (g *guarded) as(caller string) []string {
	if g.keys[caller] == "" {
		return nil
	}
	return []string{"Authorization", "Bearer " + g.keys[caller]}
}

// do has a caller post something that must be done.
func (g *guarded) do(t testing.TB, caller, path, body string) answerOf {
	t.Helper()
	got := g.post(t, path, body, g.as(caller)...)
	require.Equal(t, http.StatusOK, got.status, "%s %s: %s", caller, path, got.body)
	return got
}

// quoteOf has the partner tamsin-row make a quote, which is issued or not, and returns its name.
func (g *guarded) quoteOf(t testing.TB, issued bool) string {
	t.Helper()
	var made mouldwrightv1.CreateQuoteResponse
	decoded(t, string(g.do(t, own, "/v1/quotes", request(plainBrief(t))).body), &made)
	if issued {
		g.do(t, studio, "/v1/"+made.GetQuote().GetName()+":issue", "{}")
	}
	return made.GetQuote().GetName()
}

// meshOf makes a mesh of the partner tamsin-row and returns its name.
func (g *guarded) meshOf(t testing.TB) string {
	t.Helper()
	g.made++
	id := fmt.Sprintf("corner-%d", g.made)
	g.do(t, own, "/v1/meshes", `{"reading":{"meshId":"`+id+`","unit":"LENGTH_UNIT_METRE"},"file":"`+base64.StdEncoding.EncodeToString([]byte(corner))+`"}`)
	return "meshes/" + id
}

// ask writes a fresh request of an RPC, about things of tamsin-row that there are. The studio
// names the partner where an RPC asks whose.
func (g *guarded) ask(t testing.TB, rpc, caller string) string {
	t.Helper()
	g.made++
	whose := ""
	if caller == reader || caller == studio || caller == admin {
		whose = `,"partner":"partners/tamsin-row"`
	}
	switch rpc {
	case "GetMesh", "MeasureMesh", "GetMeshPicture", "DeleteMesh":
		return `{"name":"` + g.meshOf(t) + `"` + whose + `}`
	case "CompareMeshes":
		name := g.meshOf(t)
		return `{"name":"` + name + `","other":"` + name + `"` + whose + `}`
	case "CreateMesh":
		return fmt.Sprintf(`{"reading":{"meshId":"new-%d","unit":"LENGTH_UNIT_METRE"},"file":%q}`, g.made, base64.StdEncoding.EncodeToString([]byte(corner)))
	case "GetQuote", "GetQuoteDocument", "RecomputeQuote", "IssueQuote":
		return `{"name":"` + g.quoteOf(t, false) + `"}`
	case "ReviseQuote":
		return `{"name":"` + g.quoteOf(t, false) + `","brief":` + string(plainBrief(t)) + `}`
	case "AcceptQuote", "DeclineQuote":
		return `{"name":"` + g.quoteOf(t, true) + `"}`
	case "CreateRateBook":
		return `{"rateBook":` + anotherBook(t, fmt.Sprintf("matrix-%d", g.made)) + `}`
	case "CreatePartner":
		return fmt.Sprintf(`{"partnerId":"new-%d","partner":{"title":"New"}}`, g.made)
	case "CreateKey":
		return `{"title":"a new one","scope":"SCOPE_READ"}`
	case "RevokeKey":
		text := keepKey(t, g.kept, "to revoke", store.Key{Scopes: access.Read.Names()})
		return `{"name":"keys/` + strings.Split(text, "_")[1] + `"}`
	default:
		return cmp.Or(askedAlways(t)[rpc], "{}")
	}
}

// askedAlways are requests that can be sent again and again.
func askedAlways(t testing.TB) map[string]string {
	t.Helper()
	plain := request(plainBrief(t))
	return map[string]string{
		"MeasureBrief": plain, "EstimateLabour": plain, "PreviewQuote": plain, "CreateQuote": plain, "ApplyMargin": costs,
		"GetRateBook": `{"name":"rateBooks/current"}`, "CheckRateBook": `{"rateBook":` + anotherBook(t, "checked") + `}`,
		"GetPartner": `{"name":"partners/quillmere"}`, "UpdatePartner": `{"partner":{"name":"partners/quillmere","title":"Quillmere Displays"}}`,
	}
}

// known reads off the contract all RPCs there are.
func known(t testing.TB) map[string]rpc {
	t.Helper()
	all := map[string]rpc{}
	protoregistry.GlobalFiles.RangeFilesByPackage("mouldwright.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			s := file.Services().Get(i)
			for j := range s.Methods().Len() {
				m := s.Methods().Get(j)
				verb, path := "", ""
				if !m.IsStreamingClient() {
					verb, path = bindingOf(m)
				}
				all[string(m.Name())] = rpc{fmt.Sprintf("/%s/%s", s.FullName(), m.Name()), verb, path, ""}
			}
		}
		return true
	})
	return all
}

// callers are the matrix's columns; a few of them in short, where the race detector looks at
// the same steps of each.
func callers() []string {
	if testing.Short() {
		return []string{noKey, other, admin}
	}
	return []string{noKey, badKey, expiredKey, revokedKey, closedKey, ownReader, own, other, reader, studio, admin}
}

// Every RPC, by every caller, through both doors.
func TestWhoMayCallWhat(t *testing.T) {
	g := guardedServer(t, Config{})
	want := matrix()
	for name, r := range known(t) {
		of, ok := want[name]
		if !ok {
			t.Errorf("%s: say in the matrix who may call it", name)
			continue
		}
		for _, caller := range callers() {
			t.Run(name+" "+caller, func(t *testing.T) { g.cell(t, name, r, caller, of.of(caller)) })
		}
	}
	assert.Len(t, want, len(known(t)), "the matrix has RPCs that the contract has not")
}

// cell holds both doors to one field of the matrix. What is refused changes nothing.
func (g *guarded) cell(t *testing.T, name string, r rpc, caller string, want codes.Code) {
	for door, call := range map[string]func(*testing.T, string, rpc, string) codes.Code{"gRPC": g.directly, "REST": g.overREST} {
		r.body = g.ask(t, name, caller)
		before := g.state(t)
		assert.Equal(t, want, call(t, name, r, caller), "over %s", door)
		if want != codes.OK {
			assert.Equal(t, before, g.state(t), "refused over %s, and yet something changed", door)
		}
	}
}

func (g *guarded) directly(t *testing.T, name string, r rpc, caller string) codes.Code {
	t.Helper()
	ctx := t.Context()
	if header := g.as(caller); header != nil {
		ctx = metadata.AppendToOutgoingContext(ctx, header...)
	}
	if name != "UploadMesh" {
		_, err := r.byGRPC(ctx, t, g.running)
		return status.Code(err)
	}
	g.made++
	stream := g.upload(ctx, t)
	for _, part := range []*mouldwrightv1.UploadMeshRequest{head(fmt.Sprintf("up-%d", g.made)), chunk([]byte(corner))} {
		if err := stream.Send(part); err != nil {
			break // the answer says why
		}
	}
	_, err := stream.CloseAndRecv()
	return status.Code(err)
}

func (g *guarded) overREST(t *testing.T, name string, r rpc, caller string) codes.Code {
	t.Helper()
	var got answerOf
	switch name {
	case "UploadMesh": // its twin takes the file as the body
		g.made++
		got = g.send(t, http.MethodPost, fmt.Sprintf("/v1/meshes?meshId=body-%d&unit=m", g.made), bytes.NewReader([]byte(corner)),
			append([]string{"Content-Type", "model/stl"}, g.as(caller)...)...)
	default:
		r.path = filled(t, r.path, r.body)
		if strings.Contains(r.body, `"partner":"partners/`) && r.verb != http.MethodPost {
			r.path += "?partner=partners/tamsin-row"
		}
		got = r.byREST(t, g.running, g.as(caller)...)
	}
	if got.status == http.StatusOK {
		return codes.OK
	}
	if got.status == http.StatusUnauthorized {
		assert.Equal(t, "Bearer", got.header.Get("WWW-Authenticate")) // RFC 9110, section 11.6.1
	}
	return got.refusal(t).Code()
}

// state is all that a refused call might have changed, in one line.
func (g *guarded) state(t testing.TB) string {
	t.Helper()
	var state string
	require.NoError(t, g.kept.View(context.Background(), func(r store.Reader) error {
		state = ""
		heads, err := r.Quotes(store.Filter{}, life.Number{}, 1000, store.Studio())
		for _, h := range heads {
			state += h.Etag
		}
		books, err2 := r.RateBooks(store.RateBook{}, 1000, store.Studio())
		partners, err3 := r.Partners("", 1000, store.Studio())
		for _, p := range partners {
			state += fmt.Sprint(p.ID, p.Version)
		}
		keys, err4 := r.Keys(nil, "", 1000, store.Studio())
		for _, k := range keys {
			state += fmt.Sprint(k.Revoked.IsZero())
		}
		state += fmt.Sprint(len(books), len(keys), meshCount(t, r))
		return errors.Join(err, err2, err3, err4)
	}))
	return state
}

func meshCount(t testing.TB, r store.Reader) (count int) {
	t.Helper()
	for _, owner := range []string{"", "tamsin-row", "quillmere"} {
		meshes, err := r.Meshes(owner, "", 1000, store.Studio())
		require.NoError(t, err)
		count += len(meshes)
	}
	return count
}
