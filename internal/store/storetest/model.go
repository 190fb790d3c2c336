package storetest

import (
	"errors"
	"reflect"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// model is what a store keeps of one year, in the plainest way.
type model struct {
	s      store.Store
	year   int
	quotes []kept // by serial
	claims map[store.Request]*claim
	meshes map[string]map[string]store.Mesh // by owner and name
}

type kept struct {
	store.Quote
	contents []store.Content // by revision
	drafted  store.Summary
	summary  store.Summary // of what is shown
}

type claim struct {
	kept  store.Claim
	since time.Time
}

// likeTheModel does anything in any order, and looks whether the store has what the model has.
// Each try has a year to itself, since what is kept is kept for good.
func likeTheModel(t *testing.T, s store.Store) {
	withBook(t, s)
	var year atomic.Int64
	year.Store(2100)
	rapid.Check(t, func(t *rapid.T) {
		m := &model{s: s, year: int(year.Add(1)), claims: map[store.Request]*claim{}, meshes: map[string]map[string]store.Mesh{}}
		t.Repeat(map[string]func(*rapid.T){
			"create":  m.create,
			"change":  m.change,
			"list":    m.list,
			"request": m.request,
			"keep":    m.keepMesh,
			"drop":    m.dropMesh,
			"":        m.same,
		})
	})
}

// someEyes are the studio's more often than others.
func someEyes(t *rapid.T) store.Eyes {
	all := []store.Eyes{store.Studio(), store.Studio(), store.Studio(), store.EyesOf("fair"), store.EyesOf("Fair"), {}}
	return all[rapid.IntRange(0, len(all)-1).Draw(t, "eyes")]
}

// someContent may refer to meshes that are kept, or not any more.
func (m *model) someContent(t *rapid.T) store.Content {
	c := content(rapid.SampledFrom([]string{"a", "b", "c", ""}).Draw(t, "content"))
	for _, name := range rapid.SampledFrom([]string{"", "", "", "x", "xy"}).Draw(t, "meshes") {
		c.Meshes = append(c.Meshes, store.MeshRef{Name: string(name), Sum: m.file(t).Sum})
	}
	return c
}

func (m *model) create(t *rapid.T) {
	owner := rapid.SampledFrom([]string{"", "fair", "Fair"}).Draw(t, "owner")
	c := m.someContent(t)
	mark := january(rapid.IntRange(1, 31).Draw(t, "day"))
	giveUp := rapid.IntRange(0, 3).Draw(t, "give up") == 0
	no := errors.New("no")
	var got store.Quote
	err := m.s.Update(t.Context(), func(tx store.Tx) (err error) {
		if got, err = tx.Create(owner, m.year, c, mark); err == nil && giveUp {
			err = no
		}
		return err
	})
	if !m.holds(c) {
		is(t, "a mesh that is not kept", errors.Is(err, store.ErrNotFound), true)
		return
	}
	if giveUp {
		is(t, "the error", errors.Is(err, no), true)
		return
	}
	n := life.Number{Year: m.year, Serial: len(m.quotes) + 1}
	q, _ := life.Quote{Number: n}.Do(life.Create(c.Sum()), mark)
	m.quotes = append(m.quotes, kept{Quote: store.Quote{Quote: q, Owner: owner}, contents: []store.Content{asRead(c)}, drafted: c.Summary, summary: c.Summary})
	is(t, "the error", err, nil)
	is(t, "the new quote", got, m.quotes[n.Serial-1].Quote)
}

// pick is a quote, or now and then a number that there is not yet.
func (m *model) pick(t *rapid.T) (life.Number, *kept) {
	serial := rapid.IntRange(1, len(m.quotes)+1).Draw(t, "serial")
	n := life.Number{Year: m.year, Serial: serial}
	if serial > len(m.quotes) {
		return n, nil
	}
	return n, &m.quotes[serial-1]
}

func (m *model) change(t *rapid.T) {
	n, q := m.pick(t)
	eyes, c := someEyes(t), m.someContent(t)
	day := rapid.IntRange(1, 31).Draw(t, "day")
	act := rapid.SampledFrom([]life.Change{
		life.Revise(c.Sum()), life.Issue(on(rapid.IntRange(1, 31).Draw(t, "until"))), life.Issue(on(31)), life.Accept(), life.Decline(), life.Expire(),
	}).Draw(t, "change")
	etag := rapid.SampledFrom(m.etags(q)).Draw(t, "etag")
	var got store.Quote
	err := m.s.Update(t.Context(), func(tx store.Tx) (err error) {
		got, err = tx.Change(n, etag, eyes, act, c, january(day))
		return err
	})
	if q == nil || !eyes.Sees(q.Owner) {
		is(t, "not found", errors.Is(err, store.ErrNotFound), true)
		return
	}
	if etag != "" && etag != q.Etag() {
		is(t, "stale", errors.Is(err, store.ErrStale), true)
		return
	}
	if act.Act == life.Revising && !m.holds(c) {
		is(t, "a mesh that is not kept", errors.Is(err, store.ErrNotFound), true)
		return
	}
	next, refused := q.Do(act, january(day))
	if refused != nil {
		is(t, "the reason", err != nil && err.Error() == refused.Error(), true)
		return
	}
	is(t, "the error", err, nil)
	q.keep(next, c)
	is(t, "the quote", got, q.Quote)
}

func (q *kept) keep(next life.Quote, c store.Content) {
	last := next.History[len(next.History)-1]
	if last.Act == life.Revising {
		q.contents, q.drafted = append(slices.Clip(q.contents[:last.Revision-1]), asRead(c)), c.Summary
	}
	if last.Act == life.Issuing || next.State() == life.Draft {
		q.summary = q.drafted
	}
	q.Quote.Quote = next
}

func (m *model) etags(q *kept) []string {
	if q == nil {
		return []string{""}
	}
	before, _ := life.Replay(q.Number, q.History[:len(q.History)-1])
	return []string{"", q.Etag(), q.Etag(), before.Etag()}
}

func (m *model) list(t *rapid.T) {
	owner := rapid.SampledFrom([]string{"", "fair", "Fair"}).Draw(t, "owner")
	reference := content(rapid.SampledFrom([]string{"a", "b", "d"}).Draw(t, "reference")).Summary.Reference
	by := store.Filter{
		Year:  m.year,
		State: rapid.SampledFrom([]life.State{"", life.Draft, life.Issued, life.Accepted}).Draw(t, "state"),
		Owner: rapid.SampledFrom([]*string{nil, &owner}).Draw(t, "by owner"),

		Reference: rapid.SampledFrom([]*string{nil, nil, &reference}).Draw(t, "by reference"),
	}
	eyes, limit := someEyes(t), rapid.IntRange(1, 5).Draw(t, "limit")
	var got []store.Head
	after := life.Number{}
	if below := rapid.IntRange(0, len(m.quotes)).Draw(t, "below"); below > 0 {
		after = life.Number{Year: m.year, Serial: below}
	}
	err := m.s.View(t.Context(), func(r store.Reader) (err error) {
		got, err = r.Quotes(by, after, limit, eyes)
		return err
	})
	is(t, "the error", err, nil)
	is(t, "the list", got, m.heads(by, after, limit, eyes))
}

func (m *model) heads(by store.Filter, after life.Number, limit int, eyes store.Eyes) []store.Head {
	var heads []store.Head
	for i := len(m.quotes) - 1; i >= 0 && len(heads) < limit; i-- {
		q := m.quotes[i]
		beyond := after == life.Number{} || q.Number.Serial < after.Serial
		if beyond && eyes.Sees(q.Owner) && (by.State == "" || by.State == q.State()) && (by.Owner == nil || *by.Owner == q.Owner) && (by.Reference == nil || *by.Reference == q.summary.Reference) {
			offer, _ := q.Offer()
			heads = append(heads, store.Head{
				Number: q.Number, Owner: q.Owner, State: q.State(), ValidUntil: offer.ValidUntil, Etag: q.Etag(),
				At: q.History[0].At, Revisions: len(q.Revisions), Summary: q.summary,
			})
		}
	}
	return heads
}

func (m *model) request(t *rapid.T) {
	r := store.Request{
		Caller: life.Number{Year: m.year, Serial: 1}.String(), // of this try only
		ID:     rapid.SampledFrom([]string{"1", "2"}).Draw(t, "id"),
	}
	body := [32]byte{byte(rapid.IntRange(0, 3).Draw(t, "body") / 3)}
	at := january(rapid.IntRange(1, 31).Draw(t, "day")).At
	const patience = 5 * 24 * time.Hour
	sent := r
	sent.Body = body
	m.answered(t, sent, m.claims[r])
	var got store.Claim
	err := m.s.Update(t.Context(), func(tx store.Tx) (err error) {
		got, err = tx.Begin(sent, at, patience)
		return err
	})
	before := m.claims[r]
	switch {
	case before == nil:
		m.claims[r] = &claim{kept: store.Claim{Request: sent, Attempt: 1}, since: at}
	case before.kept.Request.Body != body:
		is(t, "another body", errors.Is(err, store.ErrOtherBody), true)
		return
	case !before.kept.Done && at.Sub(before.since) < patience:
		is(t, "in flight", errors.Is(err, store.ErrInFlight), true)
		return
	case !before.kept.Done:
		before.kept.Attempt++
		before.since = at
	}
	is(t, "the error", err, nil)
	is(t, "done", got.Done, m.claims[r].kept.Done)
	is(t, "the answer", string(got.Answer), string(m.claims[r].kept.Answer))
	m.answer(t, r, got)
}

// answered asks for the answer of a request before it is sent.
func (m *model) answered(t *rapid.T, sent store.Request, before *claim) {
	var got store.Claim
	err := m.s.View(t.Context(), func(r store.Reader) (err error) {
		got, err = r.Answered(sent)
		return err
	})
	switch {
	case before == nil:
		is(t, "never sent", errors.Is(err, store.ErrNotFound), true)
	case before.kept.Request.Body != sent.Body:
		is(t, "another body", errors.Is(err, store.ErrOtherBody), true)
	case !before.kept.Done:
		is(t, "not answered", errors.Is(err, store.ErrInFlight), true)
	default:
		is(t, "the answer", []any{got.Done, got.Attempt, string(got.Answer), err}, []any{true, before.kept.Attempt, string(before.kept.Answer), nil})
	}
}

// answer answers a claim now and then, and also one that was answered or taken over before.
func (m *model) answer(t *rapid.T, r store.Request, got store.Claim) {
	if !rapid.Bool().Draw(t, "answer") {
		return
	}
	now := &m.claims[r].kept
	got.Attempt -= rapid.IntRange(0, 1).Draw(t, "attempts ago")
	answer := []byte(rapid.SampledFrom([]string{"", "yes", "no"}).Draw(t, "with"))
	err := m.s.Update(t.Context(), func(tx store.Tx) error { return tx.Finish(got, answer) })
	if now.Done || got.Attempt != now.Attempt {
		is(t, "answered by another", errors.Is(err, store.ErrInFlight), true)
		return
	}
	is(t, "the error", err, nil)
	now.Done, now.Answer = true, answer
}

// same reads an owner's meshes, and one quote with all of its revisions, or one that there is not.
func (m *model) same(t *rapid.T) {
	m.sameMeshes(t)
	n, q := m.pick(t)
	eyes := someEyes(t)
	err := m.s.View(t.Context(), func(r store.Reader) error {
		got, err := r.Quote(n, eyes)
		if err != nil {
			return err
		}
		is(t, "the quote", got, q.Quote)
		for _, revision := range got.Revisions {
			c, err := r.Content(n, revision.Number, eyes)
			is(t, "the error", err, nil)
			is(t, "its content", c, q.contents[revision.Number-1])
			is(t, "its sum", c.Sum(), revision.Sum)
		}
		return nil
	})
	if q == nil || !eyes.Sees(q.Owner) {
		is(t, "not found", errors.Is(err, store.ErrNotFound), true)
		return
	}
	is(t, "the error", err, nil)
}

func is(t *rapid.T, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}
