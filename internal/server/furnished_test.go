package server

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/store"
)

// march is the time at the studio in tests of what is kept.
func march() time.Time { return time.Date(2027, 3, 1, 10, 0, 0, 0, time.UTC) }

// furnished is a keyless server that keeps a quote in each of the states that requests of rpcs
// are about, two partners and a key.
func furnished(t testing.TB, c Config) *running {
	t.Helper()
	rules := rulesOf(t)
	c.Store, c.Keyless, c.Now = demoStore(t, rules), true, march
	s := start(t, c)
	furnish(t, s, c.Store)
	return s
}

// Numbers of the quotes that a furnished server keeps, each in the state that its name says.
const (
	drafted1, drafted2, drafted3 = "quotes/Q-2027-0001", "quotes/Q-2027-0002", "quotes/Q-2027-0003"
	issued4, issued5             = "quotes/Q-2027-0004", "quotes/Q-2027-0005"
)

func furnish(t testing.TB, s *running, kept store.Store) {
	t.Helper()
	for n := range 5 {
		got := s.post(t, "/v1/quotes", `{"brief":`+string(plainBrief(t))+`}`)
		require.Equal(t, 200, got.status, "%s", got.body)
		if n >= 3 {
			got = s.post(t, fmt.Sprintf("/v1/quotes/Q-2027-%04d:issue", n+1), `{}`)
			require.Equal(t, 200, got.status, "%s", got.body)
		}
	}
	require.NoError(t, kept.Update(context.Background(), func(tx store.Tx) error {
		if _, err := tx.AddPartner(store.Partner{ID: "quillmere", Title: "Quillmere Displays", At: march()}); err != nil {
			return err
		}
		_, err := tx.AddKey(store.Key{ID: keptKey, Title: "the spare", Scopes: access.Read.Names(), Made: march()})
		return err
	}))
}

// keptKey is the id of a key that a furnished server keeps.
const keptKey = "aaaabbbbccccdddd"

// plainBrief is a brief that takes little to price, and refers to no mesh.
func plainBrief(t testing.TB) []byte { return briefs(t)["one-off-hare.json"] }

// anotherBook is the demo studio's rate book as another revision.
func anotherBook(t testing.TB, revision string) string {
	t.Helper()
	var book map[string]any
	require.NoError(t, json.Unmarshal(demo.Document(), &book))
	book["revision"] = revision
	text, err := json.Marshal(book)
	require.NoError(t, err)
	return string(text)
}

// keptRequests are requests of RPCs about what is kept, by name of the RPC. Those that write
// name themselves, so that they are answered alike however often they are sent.
func keptRequests(t testing.TB) map[string]string {
	t.Helper()
	return map[string]string{
		"CreateQuote":    `{"brief":` + string(plainBrief(t)) + `,"requestId":"create"}`,
		"ReviseQuote":    `{"name":"` + drafted2 + `","brief":` + string(plainBrief(t)) + `,"requestId":"revise"}`,
		"IssueQuote":     `{"name":"` + drafted3 + `","requestId":"issue"}`,
		"AcceptQuote":    `{"name":"` + issued4 + `","requestId":"accept"}`,
		"DeclineQuote":   `{"name":"` + issued5 + `","requestId":"decline"}`,
		"GetQuote":       `{"name":"` + drafted1 + `"}`,
		"RecomputeQuote": `{"name":"` + drafted1 + `"}`, "GetQuoteDocument": `{"name":"` + drafted1 + `"}`,
		"ListQuotes": `{}`, "ListRateBooks": `{}`,
		"CreateRateBook": `{"rateBook":` + anotherBook(t, "demo-2027.1") + `,"requestId":"book"}`,
		"CreatePartner":  `{"partnerId":"tamsin-row","partner":{"title":"Tamsin Row Events"},"requestId":"partner"}`,
		"GetPartner":     `{"name":"partners/quillmere"}`, "ListPartners": `{}`,
		"UpdatePartner": `{"partner":{"name":"partners/quillmere","title":"Quillmere"},"requestId":"update"}`,
		"CreateKey":     "", // its text is answered once: see access_test.go
		"ListKeys":      `{}`, "RevokeKey": `{"name":"keys/` + keptKey + `","requestId":"revoke"}`,
	}
}

// filled puts what a request names into the template of its path.
func filled(t testing.TB, template, body string) string {
	t.Helper()
	var of struct {
		Name    string
		Partner any
	}
	if body == "" || json.Unmarshal([]byte(body), &of) != nil {
		return template
	}
	start, end := strings.Index(template, "{"), strings.Index(template, "}")
	if start < 0 {
		return template
	}
	name := of.Name
	if partner, ok := of.Partner.(map[string]any); ok && strings.HasPrefix(template[start:], "{partner.name") {
		name, _ = partner["name"].(string)
	}
	return template[:start] + name + template[end+1:]
}
