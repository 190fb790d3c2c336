package bookcase_test

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/store"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// clock is a clock that a test moves.
type clock struct{ at time.Time }

func (c *clock) now() time.Time { return c.at }

func (c *clock) pass(d time.Duration) { c.at = c.at.Add(d) }

// watched is a store that counts what is read of it, and lets something happen while the
// newest revision is being looked up.
type watched struct {
	store.Store
	lists, reads int
	meanwhile    func()
}

// View counts.
func (w *watched) View(ctx context.Context, do func(store.Reader) error) error {
	err := w.Store.View(ctx, func(r store.Reader) error { return do(&watching{r, w}) })
	if do := w.meanwhile; do != nil {
		w.meanwhile = nil
		do()
	}
	return err
}

type watching struct {
	store.Reader
	of *watched
}

// RateBook counts.
func (r *watching) RateBook(revision string, eyes store.Eyes) (store.RateBook, error) {
	r.of.reads++
	return r.Reader.RateBook(revision, eyes)
}

// RateBooks counts.
func (r *watching) RateBooks(after store.RateBook, limit int, eyes store.Eyes) ([]store.RateBook, error) {
	r.of.lists++
	return r.Reader.RateBooks(after, limit, eyes)
}

// studio is a store with cases on it.
type studio struct {
	path  string
	store *watched
	rules *wire.Validator
	clock *clock
}

func newStudio(t *testing.T) *studio {
	t.Helper()
	dir := t.TempDir()
	s := &studio{path: filepath.Join(dir, "studio.db"), clock: &clock{time.Date(2027, 3, 1, 9, 0, 0, 0, time.UTC)}}
	kept := onDisk(t, dir)
	t.Cleanup(func() { require.NoError(t, kept.Close()) })
	s.store = &watched{Store: kept}
	var err error
	s.rules, err = wire.NewValidator()
	require.NoError(t, err)
	return s
}

// books is a case of its own, as another server has one.
func (s *studio) books(t *testing.T) *bookcase.Case {
	t.Helper()
	c, err := bookcase.New(s.store, s.rules, s.clock.now)
	require.NoError(t, err)
	return c
}

// book is the demo book under another revision; studio is what it says of the studio.
func (s *studio) book(t *testing.T, revision, studio string) *desk.Book {
	t.Helper()
	pb := &mouldwrightv1.RateBook{}
	require.Empty(t, wire.Decode(demo.Document(), pb))
	pb.Revision, pb.Studio = revision, studio
	doc, err := wire.Encode(pb)
	require.NoError(t, err)
	book, faults := desk.OpenBook(doc, s.rules)
	require.NoError(t, faults.Err())
	return book
}

func (s *studio) keep(t *testing.T, c *bookcase.Case, book *desk.Book) store.RateBook {
	t.Helper()
	var kept store.RateBook
	require.NoError(t, s.store.Update(t.Context(), func(tx store.Tx) (err error) {
		kept, err = c.Keep(tx, book)
		return err
	}))
	return kept
}

func current(t *testing.T, c *bookcase.Case) string {
	t.Helper()
	book, err := c.Find(t.Context(), bookcase.Current)
	require.NoError(t, err)
	return book.Edition.Revision
}

func TestCaseFindsWhatIsKept(t *testing.T) {
	s := newStudio(t)
	c := s.books(t)
	_, err := c.Find(t.Context(), "")
	require.ErrorIs(t, err, bookcase.ErrNone)

	one, two := s.book(t, "one", "Ash & Ember Fabrication"), s.book(t, "two", "Ash & Ember Fabrication")
	require.NoError(t, c.Begin(t.Context(), one))
	require.NoError(t, c.Begin(t.Context(), two))
	for name, want := range map[string]*desk.Book{"": two, bookcase.Current: two, "rateBooks/one": one, "rateBooks/two": two} {
		got, err := c.Find(t.Context(), name)
		require.NoError(t, err)
		assert.Equal(t, want.Sum, got.Sum, name)
		assert.True(t, proto.Equal(want.Document, got.Document), name)
	}
}

func TestCaseNamesWhatThereIs(t *testing.T) {
	s := newStudio(t)
	c := s.books(t)
	require.NoError(t, c.Begin(t.Context(), s.book(t, "demo-1", "Ash & Ember Fabrication")))
	_, err := c.Find(t.Context(), "rateBooks/demo-2")
	var missing *bookcase.MissingError
	require.ErrorAs(t, err, &missing)
	assert.Equal(t, "rateBooks/demo-2", missing.Name)
	assert.Equal(t, []string{bookcase.Current, "rateBooks/demo-1"}, missing.Known)
	assert.Contains(t, err.Error(), `did you mean "rateBooks/demo-1"?`)
}

// A server believes for half a second what is in force, and then sees what another one kept.
func TestCaseSeesTheRevisionsOfOthers(t *testing.T) {
	s := newStudio(t)
	here, there := s.books(t), s.books(t)
	require.NoError(t, here.Begin(t.Context(), s.book(t, "one", "Ash & Ember Fabrication")))
	require.Equal(t, "one", current(t, here))
	require.Equal(t, "one", current(t, there))

	s.keep(t, there, s.book(t, "two", "Ash & Ember Fabrication"))
	there.Forget()
	assert.Equal(t, "two", current(t, there), "at once where it was kept")

	lists := s.store.lists
	s.clock.pass(500*time.Millisecond - 1)
	assert.Equal(t, "one", current(t, here), "what was looked up is believed")
	assert.Equal(t, lists, s.store.lists, "and not looked up again")
	s.clock.pass(1)
	assert.Equal(t, "two", current(t, here))
	assert.Equal(t, lists+1, s.store.lists)
}

// A clock that was put back does not make what is believed last longer.
func TestCaseWithAClockThatIsPutBack(t *testing.T) {
	s := newStudio(t)
	here, there := s.books(t), s.books(t)
	require.NoError(t, here.Begin(t.Context(), s.book(t, "one", "Ash & Ember Fabrication")))
	require.Equal(t, "one", current(t, here))
	s.clock.pass(-time.Hour)
	kept := s.keep(t, there, s.book(t, "two", "Ash & Ember Fabrication"))
	assert.Equal(t, "two", current(t, here))
	assert.Equal(t, time.Date(2027, 3, 1, 9, 0, 0, 1000, time.UTC), kept.At, "the newest is in force, whoever's clock was ahead")
	list := listed(t, s)
	assert.Equal(t, []string{"two", "one"}, list)
}

func listed(t *testing.T, s *studio) (names []string) {
	t.Helper()
	require.NoError(t, s.store.View(t.Context(), func(r store.Reader) error {
		books, err := r.RateBooks(store.RateBook{}, 100, store.Studio())
		for _, b := range books {
			names = append(names, b.Revision)
		}
		return err
	}))
	return names
}

// What was looked up before a revision was kept does not come in after it.
func TestCaseForgetsWhatIsBeingLookedUp(t *testing.T) {
	s := newStudio(t)
	c := s.books(t)
	require.NoError(t, c.Begin(t.Context(), s.book(t, "one", "Ash & Ember Fabrication")))
	two := s.book(t, "two", "Ash & Ember Fabrication")
	s.store.meanwhile = func() {
		s.keep(t, c, two)
		c.Forget()
	}
	assert.Equal(t, "one", current(t, c), "asked before")
	assert.Equal(t, "two", current(t, c), "asked after")
}

// Opened books are held, but not without end: the sixteen that were used last.
func TestCaseHoldsSixteenOpen(t *testing.T) {
	const held = 16
	s := newStudio(t)
	c := s.books(t)
	name := func(i int) string { return fmt.Sprintf("demo-%02d", i) }
	for i := range held + 1 {
		require.NoError(t, c.Begin(t.Context(), s.book(t, name(i), "Ash & Ember Fabrication")))
	}
	find := func(i int) (read bool) {
		before := s.store.reads
		_, err := c.Find(t.Context(), bookcase.Prefix+name(i))
		require.NoError(t, err)
		return s.store.reads > before
	}
	for i := range held + 1 {
		assert.True(t, find(i), "%d is opened", i)
	}
	for i := range held {
		assert.False(t, find(i+1), "%d is held", i+1)
	}
	assert.True(t, find(0), "the one that was used longest ago is not")
	assert.True(t, find(1), "and makes room by the next")
	assert.False(t, find(held))
}

// A book that was edited behind the store's back is not reckoned by.
func TestCaseWithADamagedRevision(t *testing.T) {
	if diskless {
		t.Skip("there is no file to damage where the store is in memory")
	}
	s := newStudio(t)
	require.NoError(t, s.books(t).Begin(t.Context(), s.book(t, "one", "Ash & Ember Fabrication")))
	db, err := sql.Open("sqlite", s.path)
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	var triggers []string
	rows, err := db.QueryContext(t.Context(), `SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'rate_books'`)
	require.NoError(t, err)
	for rows.Next() {
		var name string
		require.NoError(t, rows.Scan(&name))
		triggers = append(triggers, name)
	}
	require.NoError(t, rows.Err())
	require.NoError(t, rows.Close())
	for _, name := range triggers {
		_, err := db.ExecContext(t.Context(), `DROP TRIGGER `+name)
		require.NoError(t, err)
	}
	_, err = db.ExecContext(t.Context(), `UPDATE rate_books SET document = CAST(replace(CAST(document AS TEXT), 'Ash', 'Ask') AS BLOB)`)
	require.NoError(t, err)

	_, err = s.books(t).Find(t.Context(), "rateBooks/one")
	require.ErrorIs(t, err, store.ErrDamaged)
	assert.ErrorContains(t, err, "rate book revision one is not as its sum says")
}

// A book that this program cannot use is no fault in what its caller asks.
func TestCaseWithARevisionThatIsNoBook(t *testing.T) {
	s := newStudio(t)
	for name, doc := range map[string]string{"none": "not a book", "bare": `{"revision":"bare"}`} {
		require.NoError(t, s.store.Update(t.Context(), func(tx store.Tx) error {
			_, err := tx.AddRateBook(store.RateBook{Revision: name, Document: []byte(doc), At: s.clock.now()})
			return err
		}))
		_, err := s.books(t).Find(t.Context(), bookcase.Prefix+name)
		require.ErrorContains(t, err, "rate book "+name+" was usable when it was kept, and is not now: ")
		var faults fault.List
		assert.NotErrorAs(t, err, &faults)
	}
}

// A book that was kept with more in its lists than a document that comes in may have is opened
// all the same; but none such is kept any more.
func TestCaseOpensABookLongerThanIsTakenIn(t *testing.T) {
	s := newStudio(t)
	c := s.books(t)
	pb := proto.CloneOf(s.book(t, "long", "Ash & Ember Fabrication").Document)
	for i := range 1_100 {
		m := proto.CloneOf(pb.GetMaterials()[0])
		m.Code, m.Packs = fmt.Sprintf("more-%d", i), nil
		for j := range 20 {
			m.Packs = append(m.Packs, &mouldwrightv1.Pack{Size: float64(1 + j), Price: "1"})
		}
		pb.Materials = append(pb.Materials, m)
	}
	_, faults := c.Rehearse(pb)
	require.Len(t, faults, 1)
	assert.Contains(t, faults[0].Message, "more than 20000 items in lists")
	err := c.Begin(t.Context(), &desk.Book{Document: pb})
	require.ErrorAs(t, err, &faults)
	assert.Empty(t, listed(t, s))

	doc, err := wire.Encode(pb)
	require.NoError(t, err)
	var kept store.RateBook
	require.NoError(t, s.store.Update(t.Context(), func(tx store.Tx) error {
		kept, err = tx.AddRateBook(store.RateBook{Revision: "long", Document: doc, At: s.clock.now()})
		return err
	}))
	book, err := c.Find(t.Context(), bookcase.Current)
	require.NoError(t, err)
	assert.True(t, proto.Equal(pb, book.Document))
	assert.Equal(t, kept.Sum, book.Sum)
}

// A book that is rehearsed comes back as it went in, with the sum that it is kept under.
func TestCaseRehearses(t *testing.T) {
	s := newStudio(t)
	c := s.books(t)
	book, faults := c.Rehearse(s.book(t, "one", "Ash & Ember Fabrication").Document)
	require.Empty(t, faults)
	assert.Empty(t, listed(t, s), "nothing is kept")
	assert.Equal(t, s.keep(t, c, book).Sum, book.Sum)
}

// A revision is never edited: it begins with what it is kept as, or not at all.
func TestCaseBeginsOnce(t *testing.T) {
	s := newStudio(t)
	c := s.books(t)
	require.NoError(t, c.Begin(t.Context(), s.book(t, "one", "Ash & Ember Fabrication")))
	require.NoError(t, c.Begin(t.Context(), s.book(t, "two", "Ash & Ember Fabrication")))
	require.NoError(t, c.Begin(t.Context(), s.book(t, "one", "Ash & Ember Fabrication")), "again")
	assert.Equal(t, []string{"two", "one"}, listed(t, s), "what is kept stays where it was")

	err := c.Begin(t.Context(), s.book(t, "one", "Another studio"))
	require.ErrorIs(t, err, store.ErrTaken)
	assert.ErrorContains(t, err, "rate book one")
	book, err := c.Find(t.Context(), "rateBooks/one")
	require.NoError(t, err)
	assert.Equal(t, "Ash & Ember Fabrication", book.Document.GetStudio())
}

// Servers that begin at once with the same book all begin.
func TestCasesBeginTogether(t *testing.T) {
	s := newStudio(t)
	const servers = 4
	books, failed := s.book(t, "one", "Ash & Ember Fabrication"), make([]error, servers)
	var all sync.WaitGroup
	for i := range servers {
		c := s.books(t)
		all.Go(func() { failed[i] = c.Begin(context.Background(), books) })
	}
	all.Wait()
	for _, err := range failed {
		assert.NoError(t, err)
	}
	assert.Equal(t, []string{"one"}, listed(t, s))
}

// What is wrong with the store is told, and nothing made of it.
func TestCaseWithoutAStore(t *testing.T) {
	s := newStudio(t)
	c := s.books(t)
	require.NoError(t, c.Begin(t.Context(), s.book(t, "one", "Ash & Ember Fabrication")))
	require.Equal(t, "one", current(t, c))
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	s.clock.pass(time.Second)
	for _, name := range []string{"", bookcase.Current, "rateBooks/none"} {
		_, err := c.Find(gone, name)
		require.ErrorIs(t, err, context.Canceled, name)
	}
	_, err := c.Find(gone, "rateBooks/one")
	assert.NoError(t, err, "it is open")
}
