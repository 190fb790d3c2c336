package server

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/store"
)

// studioAtWork is a keyless server whose clock the test moves.
type studioAtWork struct {
	*running
	kept  store.Store
	clock *atomic.Int64 // nanoseconds
}

func openStudio(t testing.TB, kept store.Store) *studioAtWork {
	t.Helper()
	o := &studioAtWork{kept: kept, clock: &atomic.Int64{}}
	if kept == nil {
		o.kept = demoStore(t, rulesOf(t))
	}
	o.clock.Store(march().UnixNano())
	o.running = start(t, Config{Store: o.kept, Keyless: true, Zone: london(t), Now: func() time.Time { return time.Unix(0, o.clock.Load()) }})
	return o
}

func (o *studioAtWork) at(when time.Time) { o.clock.Store(when.UnixNano()) }

// told is an answer about a quote; it fails for a refusal.
func (o *studioAtWork) told(t testing.TB, got answerOf) *mouldwrightv1.KeptQuote {
	t.Helper()
	require.Equal(t, http.StatusOK, got.status, "%s", got.body)
	var answer mouldwrightv1.GetQuoteResponse // all answers about one quote are of this form
	return decoded(t, string(got.body), &answer).GetQuote()
}

func (o *studioAtWork) create(t testing.TB, more string) *mouldwrightv1.KeptQuote {
	t.Helper()
	return o.told(t, o.post(t, "/v1/quotes", `{"brief":`+string(plainBrief(t))+more+`}`))
}

func (o *studioAtWork) act(t testing.TB, name, act, body string) answerOf {
	t.Helper()
	return o.post(t, "/v1/"+name+":"+act, body)
}

func (o *studioAtWork) get(t testing.TB, name string) *mouldwrightv1.KeptQuote {
	t.Helper()
	return o.told(t, o.send(t, "GET", "/v1/"+name, nil))
}

// titled is the plain brief under another title.
func titled(t testing.TB, title string) string {
	t.Helper()
	var brief map[string]any
	require.NoError(t, json.Unmarshal(plainBrief(t), &brief))
	brief["title"] = title
	text, err := json.Marshal(brief)
	require.NoError(t, err)
	return string(text)
}

func acts(q *mouldwrightv1.KeptQuote) string {
	var names []string
	for _, act := range q.GetAllowedActs() {
		names = append(names, strings.ToLower(strings.TrimPrefix(act.String(), "QUOTE_ACT_")))
	}
	return strings.Join(names, " ")
}

func TestAQuoteFromDraftToAcceptance(t *testing.T) {
	o := openStudio(t, nil)
	q := o.create(t, "")
	assert.Equal(t, "quotes/Q-2027-0001", q.GetName())
	assert.Equal(t, mouldwrightv1.QuoteState_QUOTE_STATE_DRAFT, q.GetState())
	assert.Equal(t, "revise issue", acts(q))
	assert.Equal(t, "2027-03-01", q.GetQuote().GetPreparedOn(), "a brief without a day is priced on today's")
	assert.Equal(t, "2027-03-01T10:00:00Z", q.GetCreateTime())

	q = o.told(t, o.act(t, q.GetName(), "revise", `{"brief":`+titled(t, "A changed hare")+`,"etag":"`+q.GetEtag()+`"}`))
	assert.Equal(t, "A changed hare", q.GetTitle())
	assert.Len(t, q.GetRevisions(), 1, "a draft is replaced")

	q = o.told(t, o.act(t, q.GetName(), "issue", `{}`))
	assert.Equal(t, mouldwrightv1.QuoteState_QUOTE_STATE_ISSUED, q.GetState())
	assert.Equal(t, "2027-03-31", q.GetValidUntil(), "as the document that was issued says")
	assert.Equal(t, q.GetQuote().GetValidUntil(), q.GetValidUntil())

	beside := o.told(t, o.act(t, q.GetName(), "revise", `{"brief":`+titled(t, "Another hare")+`}`))
	assert.Equal(t, int32(2), beside.GetShownRevision())
	assert.Equal(t, "A changed hare", o.get(t, q.GetName()).GetTitle(), "the offer is what is shown")

	q = o.told(t, o.act(t, q.GetName(), "accept", `{}`))
	assert.Equal(t, mouldwrightv1.QuoteState_QUOTE_STATE_ACCEPTED, q.GetState())
	assert.Empty(t, acts(q))
	var done []string
	for _, e := range q.GetHistory() {
		done = append(done, fmt.Sprintf("%v %d %s", e.GetAct(), e.GetRevision(), e.GetActorKind()))
	}
	assert.Equal(t, []string{
		"QUOTE_ACT_CREATE 1 studio", "QUOTE_ACT_REVISE 1 studio", "QUOTE_ACT_ISSUE 1 studio", "QUOTE_ACT_REVISE 2 studio", "QUOTE_ACT_ACCEPT 1 studio",
	}, done)
}

func TestRefusalsOfAQuotesLife(t *testing.T) {
	o := openStudio(t, nil)
	q := o.create(t, "")
	early := o.act(t, q.GetName(), "accept", `{}`)
	assert.Equal(t, codes.FailedPrecondition, early.refusal(t).Code())
	assert.Equal(t, "cannot accept a quote that is draft; allowed: revise, issue", early.refusal(t).Message())
	assert.Equal(t, map[string]string{"state": "draft", "allowed": "revise, issue"}, withoutID(early.refusal(t).info.GetMetadata()))

	stale := o.act(t, q.GetName(), "issue", `{"etag":"1-0000"}`)
	assert.Equal(t, codes.Aborted, stale.refusal(t).Code())
	assert.Equal(t, reasonStale, stale.refusal(t).info.GetReason())

	for _, name := range []string{"quotes/Q-2027-0099", "quotes/Q-0000-0001", "quotes/Q-2027-00001"} {
		got := o.send(t, "GET", "/v1/"+name, nil)
		assert.Equal(t, http.StatusNotFound, got.status, name)
	}
	assert.Equal(t, http.StatusNotFound, o.send(t, "GET", "/v1/"+q.GetName()+"?revision=2", nil).status)
	assert.Contains(t, o.send(t, "GET", "/v1/quotes/nonsense", nil).refusal(t).fields["name"], "such as quotes/Q-2027-0001")

	o.at(march().AddDate(0, 0, 31))
	late := o.act(t, q.GetName(), "issue", `{}`)
	assert.Equal(t, reasonLapsed, late.refusal(t).info.GetReason(), "%s", late.body)
}

func withoutID(metadata map[string]string) map[string]string {
	delete(metadata, "requestId")
	return metadata
}

// The day of an offer is the studio's, summer time and all: 23:30 UTC on the last valid day is past midnight in London.
func TestAnOfferLapses(t *testing.T) {
	o := openStudio(t, nil)
	q := o.create(t, "")
	o.told(t, o.act(t, q.GetName(), "issue", `{}`))
	o.at(time.Date(2027, 3, 31, 22, 59, 0, 0, time.UTC)) // 23:59 in London, where summer time began on 28 March
	assert.Equal(t, mouldwrightv1.QuoteState_QUOTE_STATE_ISSUED, o.get(t, q.GetName()).GetState())
	o.at(time.Date(2027, 3, 31, 23, 30, 0, 0, time.UTC))
	late := o.get(t, q.GetName())
	assert.Equal(t, mouldwrightv1.QuoteState_QUOTE_STATE_EXPIRED, late.GetState())
	assert.Equal(t, mouldwrightv1.QuoteState_QUOTE_STATE_EXPIRED, late.GetRevisions()[0].GetState())
	assert.Empty(t, acts(late))
	refused := o.act(t, q.GetName(), "accept", `{}`)
	assert.Equal(t, "expired", refused.refusal(t).info.GetMetadata()["state"])

	// The service notes it by itself, once.
	keep := &keeping{store: o.kept, now: func() time.Time { return time.Unix(0, o.clock.Load()) }, zone: london(t), flying: map[flight]bool{}}
	for range 2 {
		require.NoError(t, keep.sweep(t.Context()))
	}
	history := o.get(t, q.GetName()).GetHistory()
	assert.Len(t, history, 3)
	assert.Equal(t, "service", history[2].GetActorKind())
}

func london(t testing.TB) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	return zone
}

// Numbers are of the year that it is at the studio.
func TestANewYearsNumbers(t *testing.T) {
	o := openStudio(t, nil)
	o.create(t, "")
	o.at(time.Date(2028, 1, 1, 0, 30, 0, 0, time.UTC))
	assert.Equal(t, "quotes/Q-2028-0001", o.create(t, "").GetName())
}

func TestARequestIsAnsweredOnce(t *testing.T) {
	o := openStudio(t, nil)
	first := o.post(t, "/v1/quotes", `{"brief":`+string(plainBrief(t))+`,"requestId":"a"}`)
	name := o.told(t, first).GetName()
	o.told(t, o.act(t, name, "issue", `{"requestId":"b"}`))
	o.at(march().AddDate(1, 0, 0)) // whatever has become of the quote, of the rate book and of the year meanwhile
	again := o.post(t, "/v1/quotes", ` { "requestId" : "a", "brief":`+string(plainBrief(t))+`}`)
	assert.Equal(t, string(first.body), string(again.body))

	other := o.post(t, "/v1/quotes", `{"brief":`+titled(t, "Another")+`,"requestId":"a"}`)
	assert.Equal(t, codes.AlreadyExists, other.refusal(t).Code())
	assert.Equal(t, reasonOtherBody, other.refusal(t).info.GetReason())
	assert.Equal(t, map[string]string{"repeatedRequestId": "a"}, withoutID(other.refusal(t).info.GetMetadata()))
	assert.NotEqual(t, "a", other.header.Get("X-Request-Id"), "the call has a name of its own")
	crossed := o.act(t, name, "accept", `{"requestId":"b"}`)
	assert.Equal(t, reasonOtherBody, crossed.refusal(t).info.GetReason(), "the same fields of another RPC are another request")

	listed := o.send(t, "GET", "/v1/quotes", nil)
	var all mouldwrightv1.ListQuotesResponse
	assert.Len(t, decoded(t, string(listed.body), &all).GetQuotes(), 1)

	failed := o.act(t, name, "decline", `{"requestId":"c","etag":"stale"}`)
	assert.Equal(t, codes.Aborted, failed.refusal(t).Code())
	assert.Equal(t, codes.FailedPrecondition, o.act(t, name, "decline", `{"requestId":"c"}`).refusal(t).Code(), "what failed has no answer that is kept")
}

// While a request is being worked on it is ABORTED; afterwards it has its answer.
func TestARequestInFlight(t *testing.T) {
	held := &holding{Store: demoStore(t, rulesOf(t)), in: make(chan struct{}), out: make(chan struct{})}
	o := openStudio(t, held)
	body := `{"brief":` + string(plainBrief(t)) + `,"requestId":"slow"}`
	held.hold.Store(true)
	first := make(chan answerOf, 1)
	go func() { first <- o.post(t, "/v1/quotes", body) }()
	<-held.in
	got := o.post(t, "/v1/quotes", body)
	assert.Equal(t, codes.Aborted, got.refusal(t).Code())
	assert.Equal(t, reasonInFlight, got.refusal(t).info.GetReason())
	assert.Equal(t, time.Second, got.refusal(t).retry)
	assert.Equal(t, map[string]string{"repeatedRequestId": "slow"}, withoutID(got.refusal(t).info.GetMetadata()))
	held.hold.Store(false)
	close(held.out)
	answer := <-first
	require.Equal(t, http.StatusOK, answer.status)
	assert.Equal(t, string(answer.body), string(o.post(t, "/v1/quotes", body).body))
}

// holding is a store whose writers wait while they are held.
type holding struct {
	store.Store
	hold    atomic.Bool
	in, out chan struct{}
}

func (h *holding) Update(ctx context.Context, do func(store.Tx) error) error {
	if h.hold.Load() && callFrom(ctx).door != "" { // what the service writes by itself goes on
		select {
		case h.in <- struct{}{}:
		case <-ctx.Done():
		}
		select {
		case <-h.out:
		case <-ctx.Done():
		}
	}
	return h.Store.Update(ctx, do)
}

// A key that is lost or replaced between a request and its retry makes no second quote: ids are the partner's, or the studio's,
// whichever of its keys is used. Another's are apart.
func TestARequestIsRepeatedWithTheNextKey(t *testing.T) {
	g := guardedServer(t, Config{})
	g.keys["next"] = keepKey(t, g.kept, "next", store.Key{Owner: "tamsin-row", Scopes: []string{"write"}})
	body := `{"brief":` + string(plainBrief(t)) + `,"requestId":"7d0f4f6e-9a53-4c0c-8f4e-6f1f1f3d2c11"}`
	first := g.do(t, own, "/v1/quotes", body)
	assert.Equal(t, string(first.body), string(g.do(t, "next", "/v1/quotes", body).body))
	names := map[string]bool{}
	for _, caller := range []string{own, "next", other, studio, admin} {
		names[decoded(t, string(g.do(t, caller, "/v1/quotes", body).body), &mouldwrightv1.CreateQuoteResponse{}).GetQuote().GetName()] = true
	}
	assert.Len(t, names, 3, "one of each partner's, one of the studio's: %v", names)
	reused := g.post(t, "/v1/quotes", `{"brief":`+titled(t, "Another")+`,"requestId":"7d0f4f6e-9a53-4c0c-8f4e-6f1f1f3d2c11"}`, g.as("next")...)
	assert.Equal(t, reasonOtherBody, reused.refusal(t).info.GetReason(), "told, and never silently wrong")
}

// Many send the same request at once: one quote comes of it, and all who are answered have the same answer.
func TestOneQuoteComesOfOneRequest(t *testing.T) {
	o := openStudio(t, nil)
	body := `{"brief":` + string(plainBrief(t)) + `,"requestId":"one"}`
	answers := make(chan answerOf, 16)
	var callers sync.WaitGroup
	for range cap(answers) {
		callers.Go(func() { answers <- o.post(t, "/v1/quotes", body) })
	}
	callers.Wait()
	close(answers)
	texts := map[string]bool{}
	for got := range answers {
		if got.status == http.StatusOK {
			texts[string(got.body)] = true
			continue
		}
		assert.Equal(t, reasonInFlight, got.refusal(t).info.GetReason())
	}
	assert.Len(t, texts, 1)
	assert.Equal(t, "quotes/Q-2027-0002", o.create(t, "").GetName())
}

func TestListsOfQuotes(t *testing.T) {
	g := guardedServer(t, Config{})
	for range 3 {
		g.quoteOf(t, false)
	}
	g.quoteOf(t, true)
	g.do(t, studio, "/v1/quotes", `{"brief":`+strings.Replace(string(plainBrief(t)), `"reference": "FA-27-016"`, `"reference":"studio's own"`, 1)+`}`)
	list := func(caller, query string) (names []string, next string) {
		got := g.send(t, "GET", "/v1/quotes"+query, nil, g.as(caller)...)
		require.Equal(t, http.StatusOK, got.status, "%s", got.body)
		var page mouldwrightv1.ListQuotesResponse
		decoded(t, string(got.body), &page)
		for _, q := range page.GetQuotes() {
			names = append(names, q.GetName()[len("quotes/Q-2027-"):])
			assert.NotEmpty(t, q.GetTitle())
			assert.NotEmpty(t, q.GetNet().GetAmount())
		}
		return names, page.GetNextPageToken()
	}
	first, token := list(studio, "?pageSize=2")
	assert.Equal(t, []string{"0005", "0004"}, first)
	second, token := list(studio, "?pageSize=2&pageToken="+token)
	assert.Equal(t, []string{"0003", "0002"}, second)
	last, token := list(studio, "?pageSize=2&pageToken="+token)
	assert.Equal(t, []string{"0001"}, last)
	assert.Empty(t, token)
	for query, want := range map[string][]string{
		"?state=QUOTE_STATE_ISSUED": {"0004"}, "?state=QUOTE_STATE_DRAFT": {"0005", "0003", "0002", "0001"}, "?year=2026": nil,
		"?partner=partners/tamsin-row&pageSize=1": {"0004"}, "?reference=studio's+own": {"0005"},
	} {
		got, _ := list(studio, query)
		assert.Equal(t, want, got, query)
	}
	mine, _ := list(own, "")
	assert.Equal(t, []string{"0004", "0003", "0002", "0001"}, mine)
	theirs, _ := list(other, "?partner=partners/tamsin-row")
	assert.Empty(t, theirs)
	strange := g.send(t, "GET", "/v1/quotes?pageToken=%21", nil, g.as(studio)...)
	assert.Contains(t, strange.refusal(t).fields["?pageToken"], "which no page before gave")
}

// What a partner may not choose is refused in so many words.
func TestWhatAPartnerMayNotChoose(t *testing.T) {
	g := guardedServer(t, Config{})
	for field, body := range map[string]string{
		"brief.partnerTerms": strings.Replace(string(plainBrief(t)), "{", `{"partnerTerms":{"discountPercent":"90"},`, 1),
		"brief.preparedOn":   strings.Replace(string(plainBrief(t)), `"preparedOn": "2027-03-01"`, `"preparedOn": "2027-12-31"`, 1),
	} {
		got := g.post(t, "/v1/quotes", `{"brief":`+body+`}`, g.as(own)...)
		assert.Contains(t, got.refusal(t).fields, field, "%s", got.body)
	}
	for field, extra := range map[string]string{"rateBook": `,"rateBook":"rateBooks/demo-2026.1"`, "view": `,"view":"QUOTE_VIEW_WORKINGS"`} {
		got := g.post(t, "/v1/quotes", `{"brief":`+string(plainBrief(t))+extra+`}`, g.as(own)...)
		assert.Contains(t, got.refusal(t).fields, field, "%s", got.body)
	}
	hidden := g.post(t, "/v1/quotes", `{"brief":`+string(plainBrief(t))+`,"partner":"partners/quillmere"}`, g.as(own)...)
	absent := g.post(t, "/v1/quotes", `{"brief":`+string(plainBrief(t))+`,"partner":"partners/nobody"}`, g.as(own)...)
	assert.Equal(t, http.StatusNotFound, hidden.status)
	assert.Equal(t, strings.ReplaceAll(hidden.refusal(t).Message(), "quillmere", "x"), strings.ReplaceAll(absent.refusal(t).Message(), "nobody", "x"))
}

// What a partner is told that it may do, it may: issuing is the studio's, in answers and in refusals.
func TestActsAreThoseOfTheCaller(t *testing.T) {
	g := guardedServer(t, Config{})
	quoteFor := func(caller, name string) *mouldwrightv1.KeptQuote {
		got := g.send(t, "GET", "/v1/"+name, nil, g.as(caller)...)
		return decoded(t, string(got.body), &mouldwrightv1.GetQuoteResponse{}).GetQuote()
	}
	made := decoded(t, string(g.do(t, own, "/v1/quotes", request(plainBrief(t))).body), &mouldwrightv1.CreateQuoteResponse{}).GetQuote()
	assert.Equal(t, "revise", acts(made))
	name := made.GetName()
	assert.Equal(t, "revise", acts(quoteFor(own, name)))
	assert.Equal(t, "revise issue", acts(quoteFor(studio, name)))
	early := g.post(t, "/v1/"+name+":accept", `{}`, g.as(own)...).refusal(t)
	assert.Equal(t, "cannot accept a quote that is draft; allowed: revise", early.Message())
	assert.Equal(t, map[string]string{"state": "draft", "allowed": "revise"}, withoutID(early.info.GetMetadata()))
	g.do(t, studio, "/v1/"+name+":issue", `{}`)
	assert.Equal(t, "revise accept decline", acts(quoteFor(own, name)))
	g.do(t, studio, "/v1/"+name+":revise", request(plainBrief(t)))
	assert.Equal(t, "accept decline", acts(quoteFor(own, name)), "the draft beside the offer is the studio's")
	taken := decoded(t, string(g.do(t, own, "/v1/"+name+":accept", `{}`).body), &mouldwrightv1.AcceptQuoteResponse{}).GetQuote()
	assert.Empty(t, acts(taken))
}

// What the studio wrote last a partner does not write over: the studio might issue it unread.
func TestADraftOfTheStudioIsTheStudios(t *testing.T) {
	g := guardedServer(t, Config{})
	changed := func(title string) string { return `{"brief":` + titled(t, title) + `}` }
	refusedOwn := func(name, etag string) {
		t.Helper()
		body := strings.TrimSuffix(changed("Changed by the partner"), "}") + `,"etag":"` + etag + `"}`
		got := g.post(t, "/v1/"+name+":revise", body, g.as(own)...).refusal(t)
		assert.Equal(t, codes.FailedPrecondition, got.Code())
		assert.Equal(t, reasonStudios, got.info.GetReason())
		assert.Contains(t, got.Message(), "the studio wrote the draft of this quote last")
	}
	made := decoded(t, string(g.do(t, studio, "/v1/quotes", `{"partner":"partners/tamsin-row",`+changed("By the studio")[1:]).body), &mouldwrightv1.CreateQuoteResponse{}).GetQuote()
	refusedOwn(made.GetName(), "")
	refusedOwn(made.GetName(), made.GetEtag())
	issued := decoded(t, string(g.do(t, studio, "/v1/"+made.GetName()+":issue", `{}`).body), &mouldwrightv1.IssueQuoteResponse{}).GetQuote()
	assert.Equal(t, "By the studio", issued.GetTitle())

	// Beside an offer the partner may write a draft, which the studio may change; from then on it is the studio's.
	g.do(t, own, "/v1/"+made.GetName()+":revise", changed("By the partner"))
	g.do(t, own, "/v1/"+made.GetName()+":revise", changed("By the partner again"))
	g.do(t, studio, "/v1/"+made.GetName()+":revise", changed("Corrected by the studio"))
	refusedOwn(made.GetName(), "")
	issued = decoded(t, string(g.do(t, studio, "/v1/"+made.GetName()+":issue", `{}`).body), &mouldwrightv1.IssueQuoteResponse{}).GetQuote()
	assert.Equal(t, "Corrected by the studio", issued.GetTitle())
	late := g.post(t, "/v1/quotes/Q-2027-0001:revise", changed("x"), g.as(other)...)
	assert.Equal(t, http.StatusNotFound, late.status, "another partner is told nothing")
}

// The studio may price on a day to come, and issues it no earlier: its offer would stand from a day that is not yet.
func TestADraftOfADayToComeIsNotIssued(t *testing.T) {
	o := openStudio(t, nil)
	brief := strings.Replace(string(plainBrief(t)), `"preparedOn": "2027-03-01"`, `"preparedOn": "2027-03-03"`, 1)
	q := o.told(t, o.post(t, "/v1/quotes", `{"brief":`+brief+`}`))
	early := o.act(t, q.GetName(), "issue", `{}`).refusal(t)
	assert.Equal(t, codes.FailedPrecondition, early.Code())
	assert.Equal(t, reasonEarly, early.info.GetReason())
	assert.Contains(t, early.Message(), "the draft is priced on a day to come, 2027-03-03")
	o.at(time.Date(2027, 3, 2, 23, 59, 0, 0, time.UTC))
	assert.Equal(t, reasonEarly, o.act(t, q.GetName(), "issue", `{}`).refusal(t).info.GetReason())
	o.at(time.Date(2027, 3, 3, 0, 0, 0, 0, time.UTC)) // in London too
	issued := o.told(t, o.act(t, q.GetName(), "issue", `{}`))
	assert.Equal(t, "2027-04-02", issued.GetValidUntil())

	q = o.told(t, o.post(t, "/v1/quotes", `{"brief":`+strings.Replace(brief, "2027-03-03", "2027-08-01", 1)+`}`))
	o.told(t, o.act(t, q.GetName(), "revise", request(plainBrief(t))))
	o.told(t, o.act(t, q.GetName(), "issue", `{}`))
}

// Another's quote and one that there is not are told apart by nothing.
func TestAnothersQuoteIsNotThere(t *testing.T) {
	g := guardedServer(t, Config{})
	name := g.quoteOf(t, true)
	for _, path := range []string{"", ":accept", ":decline", "/document"} {
		verb, body := "POST", "{}"
		if path == "" || path == "/document" {
			verb, body = "GET", ""
		}
		theirs := g.send(t, verb, "/v1/"+name+path, strings.NewReader(body), append(g.as(other), "X-Request-Id", "same")...)
		none := g.send(t, verb, "/v1/quotes/Q-2027-9999"+path, strings.NewReader(body), append(g.as(other), "X-Request-Id", "same")...)
		assert.Equal(t, http.StatusNotFound, theirs.status)
		assert.Equal(t, string(none.body), strings.ReplaceAll(string(theirs.body), strings.TrimPrefix(name, "quotes/"), "Q-2027-9999"))
	}
}

// A partner's quote is on the partner's terms, whoever asks for it.
func TestAPartnersTerms(t *testing.T) {
	g := guardedServer(t, Config{})
	plain := decoded(t, string(g.do(t, studio, "/v1/quotes:preview", request(plainBrief(t))).body), &mouldwrightv1.PreviewQuoteResponse{})
	g.do(t, admin, "/v1/partners", `{"partnerId":"euro","partner":{"title":"Invented","terms":{"currencyCode":"EUR","exchangeRate":"2","discountPercent":"10","tax":"zero"}}}`)
	key := keepKey(t, g.kept, "euro", store.Key{Owner: "euro", Scopes: []string{"write"}})
	g.keys["euro"] = key
	mine := decoded(t, string(g.do(t, "euro", "/v1/quotes", request(plainBrief(t))).body), &mouldwrightv1.CreateQuoteResponse{})
	theirs := decoded(t, string(g.do(t, studio, "/v1/quotes", `{"partner":"partners/euro","brief":`+string(plainBrief(t))+`}`).body), &mouldwrightv1.CreateQuoteResponse{})
	assert.Equal(t, "EUR", mine.GetQuote().GetNet().GetCurrencyCode())
	assert.Equal(t, mine.GetQuote().GetNet().GetAmount(), theirs.GetQuote().GetNet().GetAmount())
	assert.Equal(t, mine.GetQuote().GetQuote().GetGross().GetAmount(), mine.GetQuote().GetNet().GetAmount(), "at 0 %")
	assert.NotEqual(t, plain.GetQuote().GetNet().GetAmount(), mine.GetQuote().GetNet().GetAmount())
	assert.Equal(t, "partners/euro", theirs.GetQuote().GetPartner())
	assert.Equal(t, http.StatusOK, g.send(t, "GET", "/v1/"+theirs.GetQuote().GetName(), nil, g.as("euro")...).status, "what the studio quotes for it is its own")
}

func TestDocumentsAreWrittenForTheirCaller(t *testing.T) {
	g := guardedServer(t, Config{})
	name := g.quoteOf(t, true)
	client := g.send(t, "GET", "/v1/"+name+"/document", nil, g.as(own)...)
	assert.Equal(t, "text/plain; charset=utf-8", client.header.Get("Content-Type"))
	assert.True(t, strings.HasPrefix(string(client.body), "Quote Q-2027-0001, revision 1: issued, may be taken until 2027-03-31\n"), "%.80s", client.body)
	assert.NotContains(t, string(client.body), "margin")
	full := g.send(t, "GET", "/v1/"+name+"/document?view=QUOTE_VIEW_WORKINGS", nil, g.as(studio)...)
	assert.Contains(t, string(full.body), "margin")
	assert.Equal(t, http.StatusBadRequest, g.send(t, "GET", "/v1/"+name+"/document?view=QUOTE_VIEW_WORKINGS", nil, g.as(own)...).status)
}

func TestAQuoteIsRecomputed(t *testing.T) {
	o := openStudio(t, nil)
	q := o.create(t, "")
	o.told(t, o.act(t, q.GetName(), "issue", `{}`))
	got := o.act(t, q.GetName(), "recompute", `{}`)
	var proof mouldwrightv1.RecomputeQuoteResponse
	decoded(t, string(got.body), &proof)
	assert.True(t, proof.GetSame(), "%s", got.body)
	assert.Empty(t, proof.GetDifferences())
	assert.Equal(t, proof.GetNetKept().GetAmount(), proof.GetNetNow().GetAmount())
}

// A store that cannot be written to is UNAVAILABLE, with a time to come again; nothing of the cause is told.
func TestAStoreThatIsAway(t *testing.T) {
	rules := rulesOf(t)
	away := &awayStore{Store: demoStore(t, rules)}
	o := openStudio(t, away)
	o.create(t, "")
	away.now.Store(true)
	got := o.post(t, "/v1/quotes", request(plainBrief(t)))
	assert.Equal(t, http.StatusServiceUnavailable, got.status)
	assert.Equal(t, "1", got.header.Get("Retry-After"))
	assert.Equal(t, reasonStore, got.refusal(t).info.GetReason())
	assert.NotContains(t, string(got.body), "disk")
	assert.NotEmpty(t, o.log.lines(t, "the disk is full"), "the log says why")
}

type awayStore struct {
	store.Store
	now atomic.Bool
}

func (a *awayStore) Update(ctx context.Context, do func(store.Tx) error) error {
	if a.now.Load() {
		return fmt.Errorf("%w: the disk is full", store.ErrUnavailable)
	}
	return a.Store.Update(ctx, do)
}

// What was read can be sent back: a caller changes one thing of the brief, and need not know what is the studio's to set.
func TestReadChangeRevise(t *testing.T) {
	g := guardedServer(t, Config{})
	g.do(t, admin, "/v1/partners", `{"partnerId":"terms","partner":{"title":"Invented","terms":{"marginPercent":"41","discountPercent":"5","tax":"zero"}}}`)
	g.keys["terms"] = keepKey(t, g.kept, "terms", store.Key{Owner: "terms", Scopes: []string{"write"}})
	made := decoded(t, string(g.do(t, "terms", "/v1/quotes", request(plainBrief(t))).body), &mouldwrightv1.CreateQuoteResponse{})
	for _, caller := range []string{"terms", studio} {
		var read struct {
			Quote struct{ Brief map[string]any }
		}
		require.NoError(t, json.Unmarshal(g.send(t, "GET", "/v1/"+made.GetQuote().GetName(), nil, g.as(caller)...).body, &read))
		assert.NotEmpty(t, read.Quote.Brief["partnerTerms"], caller)
		read.Quote.Brief["title"] = "Changed by " + caller
		brief, err := json.Marshal(read.Quote.Brief)
		require.NoError(t, err)
		revised := decoded(t, string(g.do(t, caller, "/v1/"+made.GetQuote().GetName()+":revise", request(brief)).body), &mouldwrightv1.ReviseQuoteResponse{})
		assert.Equal(t, "Changed by "+caller, revised.GetQuote().GetTitle())
		assert.Equal(t, made.GetQuote().GetNet().GetAmount(), revised.GetQuote().GetNet().GetAmount(), "on the same terms")
	}
	other := strings.Replace(string(plainBrief(t)), "{", `{"partnerTerms":{"discountPercent":"6"},`, 1)
	refused := g.post(t, "/v1/"+made.GetQuote().GetName()+":revise", `{"brief":`+other+`}`, g.as("terms")...)
	assert.Contains(t, refused.refusal(t).fields, "brief.partnerTerms")
}
