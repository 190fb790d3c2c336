package server

import (
	"context"
	"fmt"
	"math/big"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ledger"
	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
	inmemory "github.com/mouldwright/mouldwright/internal/store/memory"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// bookshop is a rate book service on a store in memory, which holds the demo studio's book.
type bookshop struct {
	*rateBookService
	room  *room
	store store.Store
	ctx   context.Context // of the studio's calls
	at    time.Time
}

func newBookshop(t testing.TB) *bookshop {
	t.Helper()
	rules := rulesOf(t)
	b := &bookshop{store: inmemory.New(), ctx: asStudio(t.Context()), at: march()}
	var err error
	b.room, err = newRoom(Config{Store: b.store, Now: func() time.Time { return b.at }}.withDefaults(), rules)
	require.NoError(t, err)
	require.NoError(t, b.room.books.Begin(b.ctx, demoBook(t, rules)))
	b.rateBookService = &rateBookService{books: b.room.books, intake: b.room.intake, keep: b.room.keep, rules: rules}
	return b
}

func (b *bookshop) priced(t testing.TB, pb *mouldwrightv1.Brief) store.Content {
	t.Helper()
	book, err := b.room.intake.book(b.ctx, "", "")
	require.NoError(t, err)
	c, _, err := ledger.Price(book, pb)
	require.NoError(t, err)
	return c
}

// deed is a change of a quote's life, and what a draft holds after it.
type deed struct {
	change life.Change
	brief  *mouldwrightv1.Brief
}

// quote keeps a quote that went through changes.
func (b *bookshop) quote(t testing.TB, owner string, pb *mouldwrightv1.Brief, deeds ...deed) string {
	t.Helper()
	mark := life.Mark{By: life.Actor{Kind: "studio", Name: "The office"}, At: b.at, On: life.Day(b.at.Format(time.DateOnly))}
	var q store.Quote
	content := b.priced(t, pb)
	require.NoError(t, b.store.Update(b.ctx, func(tx store.Tx) (err error) {
		q, err = tx.Create(owner, 2027, content, mark)
		return err
	}))
	for _, d := range deeds {
		var content store.Content
		if d.brief != nil {
			content = b.priced(t, d.brief)
		}
		require.NoError(t, b.store.Update(b.ctx, func(tx store.Tx) error {
			_, err := tx.Change(q.Number, "", store.Studio(), d.change, content, mark)
			return err
		}))
	}
	return wire.QuoteName(q.Number)
}

func (b *bookshop) check(t testing.TB, book *mouldwrightv1.RateBook) *mouldwrightv1.CheckRateBookResponse {
	t.Helper()
	got, err := b.CheckRateBook(b.ctx, &mouldwrightv1.CheckRateBookRequest{RateBook: book})
	require.NoError(t, err)
	return got
}

func briefNamed(t testing.TB, name string) *mouldwrightv1.Brief {
	t.Helper()
	return decoded(t, string(briefs(t)[name+".json"]), &mouldwrightv1.Brief{})
}

// dearer is the demo studio's rate book under a revision of its own, with other wages.
func dearer(t testing.TB, revision string) *mouldwrightv1.RateBook {
	t.Helper()
	book := demoDocument(t)
	book.Revision = revision
	for _, skill := range book.GetSkills() {
		skill.HourlyRate = "77.00"
	}
	return book
}

func asJSON(t testing.TB, m proto.Message) string {
	t.Helper()
	text, err := wire.Encode(m)
	require.NoError(t, err)
	return string(text)
}

func creation(t testing.TB, book *mouldwrightv1.RateBook, id string) *mouldwrightv1.CreateRateBookRequest {
	t.Helper()
	return &mouldwrightv1.CreateRateBookRequest{RateBook: book, RequestId: id}
}

// A book that is kept is in force at once at both doors, and within a second at every other
// server; what was priced by the one before stays as it is.
func TestARateBookIsKeptAndInForce(t *testing.T) {
	kept, at := demoStore(t, rulesOf(t)), march()
	now := func() time.Time { return at }
	here, there := start(t, Config{Store: kept, Keyless: true, Now: now}), start(t, Config{Store: kept, Keyless: true, Now: now})
	rate := func(s *running, name string) string {
		got, err := mouldwrightv1.NewRateBookServiceClient(s.conn).GetRateBook(t.Context(), &mouldwrightv1.GetRateBookRequest{Name: name})
		require.NoError(t, err)
		return got.GetRateBook().GetSkills()[0].GetHourlyRate()
	}
	before := rate(there, bookcase.Current)
	require.NotEqual(t, "77.00", before)

	got := here.post(t, "/v1/rateBooks", asJSON(t, creation(t, dearer(t, "demo-2027.1"), "one")))
	require.Equal(t, http.StatusOK, got.status, "%s", got.body)
	made := decoded(t, string(got.body), &mouldwrightv1.CreateRateBookResponse{}).GetRateBook()
	assert.Equal(t, "rateBooks/demo-2027.1", made.GetName())
	assert.Regexp(t, "^[0-9a-f]{64}$", made.GetSha256())
	assert.True(t, made.GetCurrent())
	assert.Equal(t, "77.00", rate(here, bookcase.Current), "at once")
	at = at.Add(time.Second)
	assert.Equal(t, "77.00", rate(there, bookcase.Current), "within a second")
	assert.Equal(t, before, rate(there, "rateBooks/demo-2026.1"))

	again, err := mouldwrightv1.NewRateBookServiceClient(here.conn).CreateRateBook(t.Context(), creation(t, dearer(t, "demo-2027.1"), "one"))
	require.NoError(t, err, "sent again")
	assert.True(t, proto.Equal(made, again.GetRateBook()))

	for id, reason := range map[string]string{"": reasonTaken, "two": reasonTaken, "one": reasonOtherBody} {
		book := dearer(t, "demo-2027.1")
		book.Basis = "Invented, and otherwise"
		_, err := mouldwrightv1.NewRateBookServiceClient(here.conn).CreateRateBook(t.Context(), creation(t, book, id))
		assert.Equal(t, codes.AlreadyExists, status.Code(err), id)
		assert.Equal(t, reason, refusalOf(status.Convert(err)).info.GetReason(), id)
	}
	refused := here.post(t, "/v1/rateBooks", asJSON(t, creation(t, dearer(t, "demo-2027.1"), "")))
	assert.Equal(t, http.StatusConflict, refused.status, "also with the same content: it was kept already")
}

// A book that is to be kept has to be as sound as one that is checked, and is told the same.
func TestABadRateBookIsNotKept(t *testing.T) {
	s := start(t, Config{})
	unlike := demoDocument(t) // sound in every field, but they contradict each other
	unlike.Revision = "demo-2027.1"
	unlike.Policies.DefaultFinish = "no-such-finish"
	unlike.Materials[2].Code = unlike.GetMaterials()[1].GetCode()
	broken := proto.CloneOf(unlike)
	broken.Revision, broken.CurrencyCode, broken.Skills[1].HourlyRate = "No Good", "XQX", "-1"
	for name, text := range map[string]string{
		"meaning": asJSON(t, unlike), "limits": asJSON(t, broken), "form": strings.Replace(asJSON(t, broken), `"studio"`, `"studdio"`, 1),
		"nothing": `{}`,
	} {
		t.Run(name, func(t *testing.T) {
			checked := decoded(t, string(s.post(t, "/v1/rateBooks:check", `{"rateBook":`+text+`}`).body), &mouldwrightv1.CheckRateBookResponse{})
			require.NotEmpty(t, checked.GetFaults())
			got := s.post(t, "/v1/rateBooks", `{"rateBook":`+text+`,"requestId":"bad"}`)
			require.Equal(t, http.StatusBadRequest, got.status, "%s", got.body)
			told := got.refusal(t)
			assert.Equal(t, reasonRequest, told.info.GetReason())
			assert.Len(t, told.fields, len(checked.GetFaults()))
			for _, f := range checked.GetFaults() {
				assert.Equal(t, f.GetMessage(), told.fields["rateBook."+f.GetPath()], f.GetPath())
			}
		})
	}
	for _, none := range []string{`{}`, `{"rateBook":null}`} {
		got := s.post(t, "/v1/rateBooks", none)
		assert.Equal(t, http.StatusBadRequest, got.status, none)
		assert.Contains(t, got.refusal(t).fields, "rateBook", none)
	}
	_, err := mouldwrightv1.NewRateBookServiceClient(s.conn).CreateRateBook(t.Context(), creation(t, unlike, "bad"))
	assert.Equal(t, codes.InvalidArgument, status.Code(err))
	assert.Contains(t, refusalOf(status.Convert(err)).fields, "rateBook.policies.defaultFinish")
	list, err := mouldwrightv1.NewRateBookServiceClient(s.conn).ListRateBooks(t.Context(), &mouldwrightv1.ListRateBooksRequest{})
	require.NoError(t, err)
	assert.Len(t, list.GetRateBooks(), 1, "nothing was kept")
}

// A rate book may be as long as 4 MiB, and no other body is longer for it.
func TestALongRateBook(t *testing.T) {
	s := start(t, Config{})
	const most = 4 << 20
	padded := func(text string, to int) string { return text + strings.Repeat(" ", to-len(text)) }
	for path, body := range map[string]string{
		"/v1/rateBooks:check": `{"rateBook":` + asJSON(t, dearer(t, "demo-2027.1")) + `}`,
		"/v1/rateBooks":       asJSON(t, creation(t, dearer(t, "demo-2027.1"), "")),
	} {
		got := s.post(t, path, padded(body, most))
		assert.Equal(t, http.StatusOK, got.status, "%.200s", got.body)
		refused := s.post(t, path, padded(body, most+1))
		assert.Equal(t, http.StatusRequestEntityTooLarge, refused.status, path)
		assert.Equal(t, "4194304", refused.refusal(t).info.GetMetadata()["limitBytes"], path)
	}
	refused := s.post(t, preview, padded(request(demoBrief(t)), 256<<10+1))
	assert.Equal(t, http.StatusRequestEntityTooLarge, refused.status)
	assert.Equal(t, "262144", refused.refusal(t).info.GetMetadata()["limitBytes"])
}

// The list goes from the newest to the oldest over any pages, also where several are of one
// moment, and the newest alone is the current one.
func TestRateBooksAreListed(t *testing.T) {
	s := start(t, Config{})
	books := mouldwrightv1.NewRateBookServiceClient(s.conn)
	want := []string{"rateBooks/demo-2026.1"}
	for i := range 6 {
		_, err := books.CreateRateBook(t.Context(), creation(t, dearer(t, fmt.Sprintf("demo-2027.%d", i)), ""))
		require.NoError(t, err)
		want = slices.Insert(want, 0, fmt.Sprintf("rateBooks/demo-2027.%d", i))
	}
	whole := pagesOf(t, s, 0)
	require.Len(t, whole, 1)
	for i, r := range whole[0].GetRateBooks() {
		assert.Equal(t, want[i], r.GetName())
		assert.Equal(t, i == 0, r.GetCurrent())
		assert.Regexp(t, "^[0-9a-f]{64}$", r.GetSha256())
		at, err := time.Parse(time.RFC3339Nano, r.GetCreateTime())
		require.NoError(t, err)
		assert.Equal(t, time.UTC, at.Location())
	}
	for size := int32(1); size <= 8; size++ {
		var got []*mouldwrightv1.RateBookRevision
		for i, page := range pagesOf(t, s, size) {
			assert.LessOrEqual(t, len(page.GetRateBooks()), int(size))
			assert.NotEmpty(t, page.GetRateBooks(), "page %d of %d", i, size)
			got = append(got, page.GetRateBooks()...)
		}
		require.Len(t, got, len(want))
		for i := range got {
			assert.True(t, proto.Equal(whole[0].GetRateBooks()[i], got[i]), "%d of pages of %d", i, size)
		}
	}
	for _, strange := range []string{"x", "!", pageToken("1"), pageToken("1 "), pageToken(" demo"), pageToken("01 demo"), pageToken("x demo"), pageToken("99999999999999999999 demo")} {
		got := s.send(t, "GET", "/v1/rateBooks?pageToken="+strange, nil)
		assert.Equal(t, http.StatusBadRequest, got.status, strange)
		assert.Contains(t, got.refusal(t).fields, "?pageToken", strange)
	}
	for _, size := range []string{"-1", "101"} {
		assert.Equal(t, http.StatusBadRequest, s.send(t, "GET", "/v1/rateBooks?pageSize="+size, nil).status, size)
	}
}

// pagesOf are the pages of the list at the REST door.
func pagesOf(t testing.TB, s *running, size int32) (pages []*mouldwrightv1.ListRateBooksResponse) {
	t.Helper()
	for token := ""; ; {
		got := s.send(t, "GET", fmt.Sprintf("/v1/rateBooks?pageSize=%d&pageToken=%s", size, token), nil)
		require.Equal(t, http.StatusOK, got.status, "%s", got.body)
		pages = append(pages, decoded(t, string(got.body), &mouldwrightv1.ListRateBooksResponse{}))
		if token = pages[len(pages)-1].GetNextPageToken(); token == "" {
			return pages
		}
		require.Less(t, len(pages), 100)
	}
}

// Revisions of one moment are listed from the last name to the first, and none is passed over.
func TestRateBooksOfOneMoment(t *testing.T) {
	b := newBookshop(t)
	require.NoError(t, b.store.Update(b.ctx, func(tx store.Tx) error {
		for _, name := range []string{"a", "c", "b"} {
			if _, err := tx.AddRateBook(store.RateBook{Revision: name, Document: []byte(name), At: b.at.Add(time.Hour)}); err != nil {
				return err
			}
		}
		return nil
	}))
	var names []string
	for token := ""; ; {
		page, err := b.ListRateBooks(b.ctx, &mouldwrightv1.ListRateBooksRequest{PageSize: 1, PageToken: token})
		require.NoError(t, err)
		names = append(names, page.GetRateBooks()[0].GetName())
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	assert.Equal(t, []string{"rateBooks/c", "rateBooks/b", "rateBooks/a", "rateBooks/demo-2026.1"}, names)
}

// A check of a book says what it would make of every quote that may yet be issued or accepted.
func TestCheckRateBookPricesOpenQuotes(t *testing.T) {
	b := newBookshop(t)
	snails, hare := briefNamed(t, "gate-snails"), briefNamed(t, "one-off-hare")
	offer, lapsing := life.Issue("2027-03-31"), life.Issue("2027-03-01")
	draft := b.quote(t, "", snails)
	issued := b.quote(t, "", snails, deed{change: offer})
	both := b.quote(t, "", snails, deed{change: offer}, deed{life.Revise(""), hare})
	b.quote(t, "", snails, deed{change: offer}, deed{change: life.Accept()})
	b.quote(t, "", snails, deed{change: offer}, deed{life.Revise(""), hare}, deed{change: life.Accept()})
	b.quote(t, "", snails, deed{change: offer}, deed{change: life.Decline()})
	declined := b.quote(t, "", snails, deed{change: offer}, deed{life.Revise(""), hare}, deed{change: life.Decline()})
	b.quote(t, "", snails, deed{change: lapsing})
	lapsed := b.quote(t, "", snails, deed{change: lapsing}, deed{life.Revise(""), hare})
	last := b.quote(t, "", snails, deed{change: lapsing}, deed{life.Revise(""), hare}, deed{change: offer})
	b.at = b.at.Add(24 * time.Hour) // the offers that were to lapse have lapsed

	book := dearer(t, "demo-2027.1")
	got := b.check(t, book)
	assert.True(t, got.GetUsable())
	assert.False(t, got.GetMoreOpenQuotes())
	assert.EqualValues(t, 6, got.GetPricedQuoteCount())
	then := map[string]*mouldwrightv1.Money{"snails": netBy(t, b, book, snails), "hare": netBy(t, b, book, hare)}
	kept := map[string]*mouldwrightv1.Money{"snails": netBy(t, b, demoDocument(t), snails), "hare": netBy(t, b, demoDocument(t), hare)}
	for i, want := range []struct {
		quote    string
		revision int32
		brief    string
	}{{last, 2, "hare"}, {lapsed, 2, "hare"}, {declined, 2, "hare"}, {both, 2, "hare"}, {issued, 1, "snails"}, {draft, 1, "snails"}} {
		change := got.GetOpenQuotes()[i]
		assert.Equal(t, want.quote, change.GetQuote(), "the newest first")
		assert.Equal(t, want.revision, change.GetRevision(), want.quote)
		assert.True(t, proto.Equal(kept[want.brief], change.GetNetKept()), want.quote)
		assert.True(t, proto.Equal(then[want.brief], change.GetNetThen()), want.quote)
		assert.Equal(t, "GBP", change.GetDifference().GetCurrencyCode())
		assert.Zero(t, less(t, then[want.brief], kept[want.brief]).Cmp(rat(t, change.GetDifference())), want.quote)
		assert.Empty(t, change.GetFaults())
		assert.NotEmpty(t, change.GetTitle())
		assert.NotEmpty(t, change.GetClient())
	}

	same := b.check(t, demoDocument(t))
	for _, change := range same.GetOpenQuotes() {
		assert.Equal(t, "0.00", change.GetDifference().GetAmount(), "by the book that they were priced by")
	}
	list, err := b.ListRateBooks(b.ctx, &mouldwrightv1.ListRateBooksRequest{})
	require.NoError(t, err)
	assert.Len(t, list.GetRateBooks(), 1, "a check keeps nothing")
}

func netBy(t testing.TB, b *bookshop, book *mouldwrightv1.RateBook, pb *mouldwrightv1.Brief) *mouldwrightv1.Money {
	t.Helper()
	edition, faults := desk.CheckBook(book, nil, b.rules)
	require.Empty(t, faults)
	q, err := (&desk.Book{Edition: edition, Document: book}).Price(pb)
	require.NoError(t, err)
	return wire.Quote(q, false).GetNet()
}

func rat(t testing.TB, m *mouldwrightv1.Money) *big.Rat {
	t.Helper()
	r, ok := new(big.Rat).SetString(m.GetAmount())
	require.True(t, ok, "%v", m)
	return r
}

func less(t testing.TB, a, b *mouldwrightv1.Money) *big.Rat {
	t.Helper()
	return new(big.Rat).Sub(rat(t, a), rat(t, b))
}

// A brief that a book cannot price any more is told why, in the words of its own fields.
func TestCheckRateBookSaysWhatNoLongerFits(t *testing.T) {
	b := newBookshop(t)
	one := briefNamed(t, "gate-snails")
	many := proto.CloneOf(one)
	for i := range 12 {
		piece := proto.CloneOf(one.GetPieces()[0])
		piece.Code, piece.Laminate = fmt.Sprintf("more-%d", i), "gone"
		many.Pieces = append(many.Pieces, piece)
	}
	first := b.quote(t, "", one)

	with := demoDocument(t)
	with.Revision = "with"
	gone := proto.CloneOf(with.GetLaminates()[0])
	gone.Code = "gone"
	with.Laminates = append(with.Laminates, gone)
	_, err := b.CreateRateBook(b.ctx, creation(t, with, ""))
	require.NoError(t, err)
	second := b.quote(t, "", many)

	got := b.check(t, demoDocument(t))
	require.Len(t, got.GetOpenQuotes(), 2)
	bad, good := got.GetOpenQuotes()[0], got.GetOpenQuotes()[1]
	assert.Equal(t, []string{second, first}, []string{bad.GetQuote(), good.GetQuote()})
	assert.Len(t, bad.GetFaults(), 10, "of twelve")
	assert.Equal(t, "pieces["+fmt.Sprint(len(one.GetPieces()))+"].laminate", bad.GetFaults()[0].GetPath())
	assert.Contains(t, bad.GetFaults()[0].GetMessage(), "gone")
	assert.NotNil(t, bad.GetNetKept())
	assert.Nil(t, bad.GetNetThen())
	assert.Nil(t, bad.GetDifference())
	assert.NotNil(t, good.GetNetThen())
	assert.EqualValues(t, 1, got.GetPricedQuoteCount())
}

// The terms of a partner that count are those that the brief was priced on.
func TestCheckRateBookKeepsPartnersTerms(t *testing.T) {
	b := newBookshop(t)
	pb := briefNamed(t, "gate-snails")
	pb.PartnerTerms = &mouldwrightv1.PartnerTerms{DiscountPercent: "12.5", CurrencyCode: "EUR", ExchangeRate: "1.15"}
	require.NoError(t, b.store.Update(b.ctx, func(tx store.Tx) error {
		_, err := tx.AddPartner(store.Partner{ID: "tamsin-row", Title: "Tamsin Row Events", Terms: []byte(`{"discountPercent":"50"}`), At: b.at})
		return err
	}))
	b.quote(t, "tamsin-row", pb)
	book := dearer(t, "demo-2027.1")
	got := b.check(t, book).GetOpenQuotes()
	require.Len(t, got, 1)
	assert.Equal(t, "EUR", got[0].GetNetKept().GetCurrencyCode())
	assert.True(t, proto.Equal(netBy(t, b, book, pb), got[0].GetNetThen()))
	assert.Equal(t, "EUR", got[0].GetDifference().GetCurrencyCode())
}

// Amounts of two currencies have no difference.
func TestCheckRateBookOfAnotherCurrency(t *testing.T) {
	b := newBookshop(t)
	b.quote(t, "", briefNamed(t, "gate-snails"))
	book := dearer(t, "demo-2027.1")
	book.CurrencyCode = "EUR"
	got := b.check(t, book).GetOpenQuotes()
	require.Len(t, got, 1)
	assert.Equal(t, "GBP", got[0].GetNetKept().GetCurrencyCode())
	assert.Equal(t, "EUR", got[0].GetNetThen().GetCurrencyCode())
	assert.Nil(t, got[0].GetDifference())
}

// A quote is priced with the meshes that it was priced with, whatever became of their names.
func TestCheckRateBookWithMeshes(t *testing.T) {
	b := newBookshop(t)
	pb := briefNamed(t, "hare-from-maquette")
	shelved(t, b.room.meshes)
	name := b.quote(t, "", pb)
	require.NoError(t, b.room.meshes.Drop(b.ctx, "", "meshes/hare", store.Studio()))
	got := b.check(t, demoDocument(t)).GetOpenQuotes()
	require.Len(t, got, 1)
	assert.Equal(t, name, got[0].GetQuote())
	assert.Empty(t, got[0].GetFaults())
	assert.Equal(t, "0.00", got[0].GetDifference().GetAmount())
}

// Two hundred quotes are priced again, and one more is said to be there. Closed ones do not
// count, however many there are.
func TestCheckRateBookBoundsOpenQuotes(t *testing.T) {
	b := newBookshop(t)
	content := b.priced(t, briefNamed(t, "one-off-hare"))
	mark := life.Mark{By: life.Actor{Kind: "studio", Name: "The office"}, At: b.at, On: "2027-03-01"}
	keep := func(n int, deeds ...life.Change) {
		require.NoError(t, b.store.Update(b.ctx, func(tx store.Tx) error {
			for range n {
				q, err := tx.Create("", 2027, content, mark)
				if err != nil {
					return err
				}
				for _, d := range deeds {
					if _, err := tx.Change(q.Number, "", store.Studio(), d, store.Content{}, mark); err != nil {
						return err
					}
				}
			}
			return nil
		}))
	}
	keep(mostOpenQuotes)
	keep(401, life.Issue("2027-03-31"), life.Accept())
	got := b.check(t, demoDocument(t))
	assert.Len(t, got.GetOpenQuotes(), mostOpenQuotes)
	assert.False(t, got.GetMoreOpenQuotes())
	assert.Equal(t, "quotes/Q-2027-0200", got.GetOpenQuotes()[0].GetQuote())
	assert.Equal(t, "quotes/Q-2027-0001", got.GetOpenQuotes()[mostOpenQuotes-1].GetQuote())

	keep(1)
	got = b.check(t, demoDocument(t))
	assert.Len(t, got.GetOpenQuotes(), mostOpenQuotes)
	assert.EqualValues(t, mostOpenQuotes, got.GetPricedQuoteCount())
	assert.True(t, got.GetMoreOpenQuotes())
	assert.Equal(t, "quotes/Q-2027-0602", got.GetOpenQuotes()[0].GetQuote())
}

// Where the time for it ends, a check says how far it came; where the caller's does, nothing.
func TestCheckRateBookStopsInTime(t *testing.T) {
	b := newBookshop(t)
	b.quote(t, "", briefNamed(t, "gate-snails"))
	edition, faults := desk.CheckBook(demoDocument(t), nil, b.rules)
	require.Empty(t, faults)
	book := &desk.Book{Edition: edition, Document: demoDocument(t)}
	over, cancel := context.WithCancel(b.ctx)
	cancel()
	answer := &mouldwrightv1.CheckRateBookResponse{}
	require.NoError(t, b.reprice(b.ctx, over, book, answer))
	assert.Empty(t, answer.GetOpenQuotes())
	assert.True(t, answer.GetMoreOpenQuotes())
	require.ErrorIs(t, b.reprice(over, over, book, &mouldwrightv1.CheckRateBookResponse{}), context.Canceled)

	_, err := b.CheckRateBook(over, &mouldwrightv1.CheckRateBookRequest{RateBook: demoDocument(t)})
	require.ErrorIs(t, err, context.Canceled)

	until, cancel := context.WithTimeout(b.ctx, time.Hour)
	defer cancel()
	half, cancel := halfTheTime(until)
	defer cancel()
	end, _ := until.Deadline()
	middle, ok := half.Deadline()
	require.True(t, ok)
	assert.WithinDuration(t, end.Add(-30*time.Minute), middle, 15*time.Minute)
}

// A check takes the place of a call that reckons.
func TestRateBooksAreReckonedInTurn(t *testing.T) {
	assert.True(t, reckons(&mouldwrightv1.CheckRateBookRequest{}))
	assert.True(t, reckons(&mouldwrightv1.CreateRateBookRequest{}))
	assert.False(t, reckons(&mouldwrightv1.ListRateBooksRequest{}))
	assert.False(t, reckons(&mouldwrightv1.GetRateBookRequest{}))
}

// scarred is a store in which what is kept of one quote cannot be read.
type scarred struct {
	store.Store
	number string
	all    bool // and nothing else either
}

// View reads all but what is damaged.
func (u *scarred) View(ctx context.Context, do func(store.Reader) error) error {
	return u.Store.View(ctx, func(r store.Reader) error { return do(&scarredReader{r, u}) })
}

type scarredReader struct {
	store.Reader
	of *scarred
}

// Content does not come of the quote.
func (r *scarredReader) Content(number life.Number, revision int, eyes store.Eyes) (store.Content, error) {
	if number.String() == r.of.number {
		return store.Content{}, fmt.Errorf("%w: revision %d of quote %s is damaged", store.ErrUnavailable, revision, number)
	}
	return r.Reader.Content(number, revision, eyes)
}

// RateBooks is what a store is asked in order to see whether it answers.
func (r *scarredReader) RateBooks(after store.RateBook, limit int, eyes store.Eyes) ([]store.RateBook, error) {
	if r.of.all {
		return nil, store.ErrUnavailable
	}
	return r.Reader.RateBooks(after, limit, eyes)
}

// A quote that cannot be read is a fault of that quote: the others are priced all the same. A
// store that is away is an error.
func TestCheckRateBookWithAQuoteThatCannotBeRead(t *testing.T) {
	b := newBookshop(t)
	pb := briefNamed(t, "gate-snails")
	sound := b.quote(t, "", pb)
	content := b.priced(t, pb)
	content.Document = []byte("no document")
	require.NoError(t, b.store.Update(b.ctx, func(tx store.Tx) error {
		_, err := tx.Create("", 2027, content, life.Mark{By: life.Actor{Kind: "studio", Name: "The office"}, At: b.at, On: "2027-03-01"})
		return err
	}))
	lost := b.quote(t, "", pb)
	away := &scarred{Store: b.store, number: strings.TrimPrefix(lost, wire.QuotePrefix)}
	b.keep.store = away

	got := b.check(t, demoDocument(t))
	require.Len(t, got.GetOpenQuotes(), 3)
	assert.EqualValues(t, 1, got.GetPricedQuoteCount())
	for i, name := range []string{lost, "quotes/Q-2027-0002", sound} {
		change := got.GetOpenQuotes()[i]
		assert.Equal(t, name, change.GetQuote())
		assert.Equal(t, pb.GetTitle(), change.GetTitle(), name)
		if name == sound {
			assert.Empty(t, change.GetFaults())
			continue
		}
		require.Len(t, change.GetFaults(), 1, name)
		assert.Empty(t, change.GetFaults()[0].GetPath())
		assert.Contains(t, change.GetFaults()[0].GetMessage(), "cannot be read")
		assert.Nil(t, change.GetNetKept())
		assert.Nil(t, change.GetNetThen())
	}

	away.all = true
	_, err := b.CheckRateBook(b.ctx, &mouldwrightv1.CheckRateBookRequest{RateBook: demoDocument(t)})
	assert.ErrorIs(t, err, store.ErrUnavailable)
}

// What is wrong with a text that is kept is never told as the fault of whoever asks for it.
func TestFaultsOfKeptQuotesAndRateBooksAreNotTheCallers(t *testing.T) {
	b := newBookshop(t)
	content := b.priced(t, briefNamed(t, "gate-snails"))
	content.Brief = []byte(`{"titel":"Trail"}`)
	_, err := ledger.Read(content, ledger.Client)
	require.Error(t, err)
	assert.Equal(t, codes.Internal, problemOf(err).code)
	assert.NotContains(t, problemOf(err).message, "titel")

	require.NoError(t, b.store.Update(b.ctx, func(tx store.Tx) error {
		_, err := tx.AddRateBook(store.RateBook{Revision: "strange", Document: []byte(`{"studdio":"Ash & Ember Fabrication"}`), At: b.at})
		return err
	}))
	_, err = b.GetRateBook(b.ctx, &mouldwrightv1.GetRateBookRequest{Name: "rateBooks/strange"})
	require.ErrorContains(t, err, "studdio")
	assert.Equal(t, codes.Internal, problemOf(err).code)
	assert.NotContains(t, problemOf(err).message, "studdio")
}

// The heaviest brief that is taken makes a quote with more in it than a brief may have: it is
// shown, issued and priced again all the same.
func TestTheHeaviestQuoteIsReadAndRateBooksAreCheckedBesideIt(t *testing.T) {
	if testing.Short() {
		t.Skip("the whole run prices it, without the race detector")
	}
	b := newBookshop(t)
	quotes := &quoteService{intake: b.room.intake, keep: b.room.keep}
	made, err := quotes.CreateQuote(b.ctx, decoded(t, heaviest(200, 10), &mouldwrightv1.CreateQuoteRequest{}))
	require.NoError(t, err)
	name := made.GetQuote().GetName()
	read, err := quotes.GetQuote(b.ctx, &mouldwrightv1.GetQuoteRequest{Name: name})
	require.NoError(t, err)
	assert.True(t, proto.Equal(made.GetQuote(), read.GetQuote()))
	_, err = quotes.IssueQuote(b.ctx, &mouldwrightv1.IssueQuoteRequest{Name: name})
	require.NoError(t, err)
	got := b.check(t, dearer(t, "demo-2027.1"))
	assert.EqualValues(t, 1, got.GetPricedQuoteCount())
	assert.Empty(t, got.GetOpenQuotes()[0].GetFaults())
}

// oversized is a sound rate book with more items in its lists than a document that comes in may
// have, which a binary message has room for.
func oversized(t testing.TB) *mouldwrightv1.RateBook {
	t.Helper()
	book := dearer(t, "demo-2027.1")
	for i := range 1_100 {
		m := proto.CloneOf(book.GetMaterials()[0])
		m.Code, m.Packs = fmt.Sprintf("more-%d", i), nil
		for j := range 20 {
			m.Packs = append(m.Packs, &mouldwrightv1.Pack{Size: float64(1 + j), Price: "1"})
		}
		book.Materials = append(book.Materials, m)
	}
	return book
}

// What could not be opened again is neither kept nor called usable, also where no door has
// refused it.
func TestARateBookThatCouldNotBeOpenedAgain(t *testing.T) {
	b := newBookshop(t)
	book := oversized(t)
	_, faults := desk.CheckBook(book, nil, b.rules)
	require.Empty(t, faults, "it is sound in itself")
	checked := b.check(t, book)
	assert.False(t, checked.GetUsable())
	require.Len(t, checked.GetFaults(), 1)
	assert.Contains(t, checked.GetFaults()[0].GetMessage(), "more than 20000 items in lists")
	_, err := b.CreateRateBook(b.ctx, creation(t, book, ""))
	var bad *violations
	require.ErrorAs(t, err, &bad)
	require.Len(t, bad.faults, 1)
	assert.Equal(t, "rateBook", bad.faults[0].Path)
	assert.Contains(t, bad.faults[0].Message, "more than 20000 items in lists")
	now, err := b.GetRateBook(b.ctx, &mouldwrightv1.GetRateBookRequest{Name: bookcase.Current})
	require.NoError(t, err)
	assert.Equal(t, "demo-2026.1", now.GetRateBook().GetRevision())
}

// partner keeps a partner with its terms as they are written.
func (b *bookshop) partner(t testing.TB, id, terms string, closed bool) {
	t.Helper()
	require.NoError(t, b.store.Update(b.ctx, func(tx store.Tx) error {
		_, err := tx.AddPartner(store.Partner{ID: id, Title: "A partner", Terms: []byte(terms), Closed: closed, At: b.at})
		return err
	}))
}

// A book that lacks what partners' terms name is told, partner by partner, before it is in force.
func TestCheckRateBookNamesPartnersWhoseTermsDoNotFit(t *testing.T) {
	b := newBookshop(t)
	b.partner(t, "closed", `{"finishes":["gone"]}`, true)
	b.partner(t, "fits", `{"finishes":["gloss"],"discountPercent":"5"}`, false)
	b.partner(t, "none", ``, false)
	b.partner(t, "quillmere", `{"tax":"gone"}`, false)
	b.partner(t, "strange", `{"titel":1}`, false)
	b.partner(t, "tamsin-row", `{"finishes":["gloss","gone","lost"]}`, false)
	got := b.check(t, demoDocument(t))
	assert.True(t, got.GetUsable(), "the book itself is")
	assert.False(t, got.GetMorePartnerFaults())
	told := map[string][]string{}
	for _, p := range got.GetPartnerFaults() {
		for _, f := range p.GetFaults() {
			told[p.GetPartner()] = append(told[p.GetPartner()], f.GetPath())
		}
	}
	assert.Equal(t, map[string][]string{
		"partners/quillmere": {"terms.tax"}, "partners/strange": {"terms"}, "partners/tamsin-row": {"terms.finishes[1]", "terms.finishes[2]"},
	}, told)

	bad := demoDocument(t)
	bad.Policies.DefaultFinish = "no-such-finish"
	assert.Empty(t, b.check(t, bad).GetPartnerFaults(), "what cannot be used fits nobody")
}

// Two hundred partners are listed, and one more is said to be there; where time ends before the
// last was looked at, that is said too.
func TestCheckRateBookBoundsPartners(t *testing.T) {
	b := newBookshop(t)
	for i := range mostPartners {
		b.partner(t, fmt.Sprintf("p%03d", i), `{"tax":"gone"}`, false)
	}
	b.partner(t, "a", ``, false)
	b.partner(t, "z", ``, false)
	got := b.check(t, demoDocument(t))
	assert.Len(t, got.GetPartnerFaults(), mostPartners)
	assert.False(t, got.GetMorePartnerFaults())
	b.partner(t, "q", `{"tax":"gone"}`, false)
	got = b.check(t, demoDocument(t))
	assert.Len(t, got.GetPartnerFaults(), mostPartners)
	assert.True(t, got.GetMorePartnerFaults())

	over, cancel := context.WithCancel(b.ctx)
	cancel()
	answer := &mouldwrightv1.CheckRateBookResponse{}
	require.NoError(t, b.partnersOf(b.ctx, over, demoBook(t, b.rules), answer))
	assert.Empty(t, answer.GetPartnerFaults())
	assert.True(t, answer.GetMorePartnerFaults())
	require.ErrorIs(t, b.partnersOf(over, over, demoBook(t, b.rules), &mouldwrightv1.CheckRateBookResponse{}), context.Canceled)
}
