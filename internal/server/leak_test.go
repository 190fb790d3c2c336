package server

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/httpbody"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// marked is the demo studio's rate book with its secrets as numbers that are easily known
// again, and those numbers.
func marked(t testing.TB) (text string, secrets []string) {
	t.Helper()
	var book any
	require.NoError(t, json.Unmarshal(demo.Document(), &book))
	mark(book, &secrets)
	book.(map[string]any)["revision"] = "marked-2027"
	out, err := json.Marshal(book)
	require.NoError(t, err)
	return string(out), secrets
}

// mark adds a fraction of its own to each rate and percentage of the studio's.
func mark(v any, secrets *[]string) {
	switch v := v.(type) {
	case []any:
		for _, item := range v {
			mark(item, secrets)
		}
	case map[string]any:
		for key, item := range v {
			switch key {
			case "hourlyRate", "overheadPerLabourHour", "contingencyPercent", "marginPercent", "price":
				whole, _, _ := strings.Cut(item.(string), ".")
				v[key] = fmt.Sprintf("%s.%04d", whole, 1013+len(*secrets)*37%8900)
				*secrets = append(*secrets, v[key].(string))
			default:
				mark(item, secrets)
			}
		}
	}
}

// hidden are all figures of at least five digits in what only the studio sees of a quote, and
// not in what its client sees too.
func hidden(t testing.TB, full *mouldwrightv1.Quote) []string {
	t.Helper()
	seen := proto.CloneOf(full)
	require.NoError(t, wire.Mask(seen, mouldwrightv1.Audience_AUDIENCE_PARTNER))
	open := figures(t, seen)
	var out []string
	for figure := range figures(t, full) {
		if !open[figure] {
			out = append(out, figure)
		}
	}
	return out
}

func figures(t testing.TB, m proto.Message) map[string]bool {
	t.Helper()
	text, err := wire.Encode(m)
	require.NoError(t, err)
	out := map[string]bool{}
	for _, figure := range regexp.MustCompile(`[0-9]+[.][0-9]+`).FindAllString(string(text), -1) {
		const telling = 6 // digits and the point: a shorter one may be met by chance
		if len(figure) >= telling {
			out[figure] = true
		}
	}
	return out
}

// leaks is a server whose rate book is marked, and what nobody but the studio may read there.
type leaks struct {
	*guarded
	secrets []string
	answers int
}

func leakServer(t testing.TB) *leaks {
	t.Helper()
	g := guardedServer(t, Config{})
	book, secrets := marked(t)
	g.do(t, studio, "/v1/rateBooks", `{"rateBook":`+book+`}`)
	terms, err := wire.EncodeTerms(&mouldwrightv1.PartnerTerms{MarginPercent: "37.9173", DiscountPercent: "4"})
	require.NoError(t, err)
	require.NoError(t, g.kept.Update(context.Background(), func(tx store.Tx) error {
		_, err := tx.ChangePartner(store.Partner{ID: "tamsin-row", Title: "Tamsin Row Events", Terms: terms}, 0)
		return err
	}))
	l := &leaks{guarded: g, secrets: append(secrets, "37.9173")}
	opened, faults := desk.OpenBook([]byte(book), rulesOf(t))
	require.NoError(t, faults.Err())
	brief := decoded(t, string(plainBrief(t)), &mouldwrightv1.Brief{})
	brief.PartnerTerms = decoded(t, string(terms), &mouldwrightv1.PartnerTerms{})
	q, err := opened.Price(brief)
	require.NoError(t, err)
	l.secrets = append(l.secrets, hidden(t, wire.Quote(q, true))...)
	require.Greater(t, len(l.secrets), 300, "figures that only the studio may see")
	return l
}

// No answer to anyone but the studio, on any RPC, at either door, holds a field or a figure
// that is not its caller's to see; nor does any error, document, header or line of the log.
func TestNothingLeaks(t *testing.T) {
	l := leakServer(t)
	l.secretsAreThere(t)
	who, how, least := []string{noKey, badKey, own, other}, spoils(), 500
	if testing.Short() {
		who, how, least = []string{own}, how[:2], 50
	}
	for name, r := range known(t) {
		for _, caller := range who {
			for _, spoil := range how {
				r.body = spoil(l.ask(t, name, caller))
				t.Run(name+" "+caller, func(t *testing.T) { l.bothDoors(t, name, r, caller) })
			}
		}
	}
	require.Greater(t, l.answers, least)
	took := regexp.MustCompile(`"ms":[0-9.]+`) // any figure may be met there by chance
	for _, line := range strings.Split(took.ReplaceAllString(l.log.String(), ""), "\n") {
		l.clean(t, "the log", line)
	}
}

// secretsAreThere holds the test itself to finding something: the studio's own answers are
// full of what the others' must not have.
func (l *leaks) secretsAreThere(t *testing.T) {
	t.Helper()
	got := l.do(t, admin, "/v1/quotes:preview", `{"view":"QUOTE_VIEW_WORKINGS","partner":"partners/tamsin-row","brief":`+string(plainBrief(t))+`}`)
	found := 0
	for _, secret := range l.secrets {
		if strings.Contains(string(got.body), secret) {
			found++
		}
	}
	require.Greater(t, found, 200)
}

// spoils make requests sound and unsound, so that answers and errors of each kind come.
func spoils() []func(string) string {
	replaced := func(old, by string) func(string) string {
		return func(body string) string { return strings.Replace(body, old, by, 1) }
	}
	return []func(string) string{
		func(body string) string { return body },
		replaced(`{`, `{"view":"QUOTE_VIEW_WORKINGS",`),
		replaced(`"brief":{`, `"brief":{"partnerTerms":{"marginPercent":"1"},"rush":"none","tax":"none",`),
		replaced(`"quantity"`, `"finish":"none","quantity"`),
		replaced(`quotes/Q-2027-0`, `quotes/Q-2027-9`),
		replaced(`"brief":{`, `"rateBook":"rateBooks/demo-2026.1","brief":{`),
		replaced(`"brief":{`, `"partner":"partners/quillmere","brief":{`),
	}
}

func (l *leaks) bothDoors(t *testing.T, name string, r rpc, caller string) {
	if name == "UploadMesh" { // its answer is CreateMesh's
		return
	}
	r.path = filled(t, r.path, r.body)
	rest := r.byREST(t, l.running, l.as(caller)...)
	l.answers++
	l.clean(t, "REST", string(rest.body)+fmt.Sprint(rest.header))
	if rest.status == http.StatusOK && rest.header.Get("Content-Type") == "application/json" {
		above(t, decoded(t, string(rest.body), r.answer(t)).ProtoReflect())
	}
	ctx := t.Context()
	if header := l.as(caller); header != nil {
		ctx = metadata.AppendToOutgoingContext(ctx, header...)
	}
	in := r.request(t)
	if len(wire.Decode([]byte(r.body), in)) > 0 {
		return // gRPC has no way to say so
	}
	l.directly(ctx, t, r, in)
}

func (l *leaks) directly(ctx context.Context, t *testing.T, r rpc, in proto.Message) {
	t.Helper()
	out := r.answer(t)
	var header, trailer metadata.MD
	err := l.conn.Invoke(ctx, r.method, in, out, grpc.Header(&header), grpc.Trailer(&trailer))
	l.answers++
	l.clean(t, "gRPC", fmt.Sprint(header, trailer))
	if err != nil {
		text, err := protojson.Marshal(status.Convert(err).Proto())
		require.NoError(t, err)
		l.clean(t, "gRPC's error", string(text))
		return
	}
	if document, ok := out.(*httpbody.HttpBody); ok {
		l.clean(t, "a document", string(document.GetData()))
		return
	}
	text, err := wire.Encode(out)
	require.NoError(t, err)
	l.clean(t, "gRPC", string(text))
	above(t, out.ProtoReflect())
}

// answer is an empty answer of the RPC.
func (r rpc) answer(t testing.TB) proto.Message {
	t.Helper()
	return newMessage(t, methodOf(t, r).Output())
}

// above fails for every field of a partner's answer that is not a partner's to see, by the
// contract's own words, read here without the program's help.
func above(t *testing.T, m protoreflect.Message) {
	t.Helper()
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		who, _ := proto.GetExtension(f.Options(), mouldwrightv1.E_Audience).(mouldwrightv1.Audience)
		if who != mouldwrightv1.Audience_AUDIENCE_PUBLIC && who != mouldwrightv1.Audience_AUDIENCE_PARTNER {
			t.Errorf("%s is in the answer", f.FullName())
		}
		switch {
		case f.IsList() && f.Message() != nil:
			for i := range v.List().Len() {
				above(t, v.List().Get(i).Message())
			}
		case f.Message() != nil && !f.IsMap():
			above(t, v.Message())
		}
		return true
	})
	assert.Empty(t, m.GetUnknown())
}

// clean fails where a text holds a secret as a number of its own.
func (l *leaks) clean(t *testing.T, where, text string) {
	t.Helper()
	for _, secret := range l.secrets {
		for rest := text; ; {
			at := strings.Index(rest, secret)
			if at < 0 {
				break
			}
			end := at + len(secret)
			if !digit(rest, at-1) && !digit(rest, end) {
				t.Errorf("%s holds %s: …%s…", where, secret, rest[max(0, at-80):min(len(rest), end+40)])
				break
			}
			rest = rest[end:]
		}
	}
}

func digit(s string, at int) bool { return at >= 0 && at < len(s) && (s[at] >= '0' && s[at] <= '9') }
