package rows

import (
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// Create keeps a new quote.
func (tx *Tx) Create(owner string, year int, content store.Content, mark life.Mark) (store.Quote, error) {
	q, err := tx.create(owner, year, content, mark)
	return q, tx.write(err)
}

func (tx *Tx) create(owner string, year int, content store.Content, mark life.Mark) (store.Quote, error) {
	if err := errors.Join(store.FitOrEmpty("the owner", owner), content.Fit(), store.FitMark(mark)); err != nil {
		return store.Quote{}, err
	}
	if year < 1 || year > life.LastYear {
		return store.Quote{}, fmt.Errorf("%w: there are no numbers of the year %d", store.ErrUnfit, year)
	}
	if err := tx.meshed(content.Meshes); err != nil {
		return store.Quote{}, err
	}
	number, err := tx.next(year, content.RateBook)
	if err != nil {
		return store.Quote{}, err
	}
	made, err := life.Quote{Number: number}.Do(life.Create(content.Sum()), moment(mark))
	if err != nil {
		return store.Quote{}, err
	}
	q := store.Quote{Quote: made, Owner: owner}
	tx.exec(opened(q, content.Summary))
	tx.exec(step(life.Quote{}, made, content)...)
	return q, nil
}

func opened(q store.Quote, s store.Summary) Statement {
	return statement(`INSERT INTO quotes (year, serial, owner, created, state, valid_until, etag, revisions, title, client, reference, currency, net)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)`,
		q.Number.Year, q.Number.Serial, q.Owner, micros(q.History[0].At), string(q.State()), "", q.Etag(), len(q.Revisions),
		s.Title, s.Client, s.Reference, s.Currency, s.Net)
}

// next takes the next number of a year, where the rate book revision is kept. The row stays
// locked until the transaction ends, and goes back with it where it fails: so numbers have
// neither gaps nor repeats.
func (tx *Tx) next(year int, book string) (life.Number, error) {
	number := life.Number{Year: year}
	tx.awaited = true
	found, err := tx.one(`INSERT INTO serials (year, last)
		SELECT CAST($1 AS INTEGER), 1 WHERE EXISTS (SELECT 1 FROM rate_books WHERE revision = $2)
		ON CONFLICT (year) DO UPDATE SET last = serials.last + 1 RETURNING last`, []any{year, book}, []any{&number.Serial})
	switch {
	case err != nil:
		return life.Number{}, err
	case !found:
		return life.Number{}, unbooked(book)
	case !number.Valid():
		return life.Number{}, fmt.Errorf("%w: the numbers of %d are used up", store.ErrUnfit, year)
	}
	return number, nil
}

// moment is a mark as it is kept.
func moment(m life.Mark) life.Mark {
	m.At = store.Moment(m.At)
	return m
}

// Change makes a change of a quote's life.
func (tx *Tx) Change(number life.Number, etag string, eyes store.Eyes, change life.Change, content store.Content, mark life.Mark) (store.Quote, error) {
	q, err := tx.change(number, etag, eyes, change, content, mark)
	return q, tx.write(err)
}

func (tx *Tx) change(number life.Number, etag string, eyes store.Eyes, change life.Change, content store.Content, mark life.Mark) (store.Quote, error) {
	q, err := tx.quote(number, eyes, tx.locks.Change)
	if err != nil {
		return store.Quote{}, err
	}
	if etag != "" && etag != q.Etag() {
		return store.Quote{}, fmt.Errorf("quote %s: %w", number, store.ErrStale)
	}
	if err := tx.fitChange(&change, content, mark); err != nil {
		return store.Quote{}, err
	}
	before := q.Quote
	if q.Quote, err = before.Do(change, moment(mark)); err != nil {
		return store.Quote{}, err
	}
	if change.Act != life.Revising {
		tx.exec(moved(q, change.Act))
		tx.exec(step(before, q.Quote, content)...)
		return q, nil
	}
	return q, tx.revise(before, q, content)
}

// revise writes content, and lets go of meshes that only the draft before it referred to.
func (tx *Tx) revise(before life.Quote, q store.Quote, content store.Content) error {
	var let []string
	if r, drafting := before.Drafting(); drafting && r.Sum != q.Revisions[r.Number-1].Sum {
		var err error
		if let, err = tx.let(q.Number, r); err != nil {
			return err
		}
	}
	tx.exec(revised(q, content.Summary))
	tx.exec(step(before, q.Quote, content)...)
	return tx.sweep(let...)
}

// moved writes what became of the offer. What is issued shows in lists from then on.
func moved(q store.Quote, act life.Act) Statement {
	offer, _ := q.Offer()
	shown, args := "", []any{q.Number.Year, q.Number.Serial, string(q.State()), string(offer.ValidUntil), q.Etag()}
	if act == life.Issuing {
		shown = `, (title, client, reference, currency, net) = (
			SELECT title, client, reference, currency, net FROM revisions WHERE year = $1 AND serial = $2 AND revision = $6)`
		args = append(args, offer.Number)
	}
	return statement(`UPDATE quotes SET state = $3, valid_until = $4, etag = $5`+shown+` WHERE year = $1 AND serial = $2`, args...)
}

// revised writes that there is a draft. Lists show it where there is no offer.
func revised(q store.Quote, s store.Summary) Statement {
	shown, args := "", []any{q.Number.Year, q.Number.Serial, q.Etag(), len(q.Revisions)}
	if _, offered := q.Offer(); !offered {
		shown = `, title = $5, client = $6, reference = $7, currency = $8, net = $9`
		args = append(args, s.Title, s.Client, s.Reference, s.Currency, s.Net)
	}
	return statement(`UPDATE quotes SET etag = $3, revisions = $4`+shown+` WHERE year = $1 AND serial = $2`, args...)
}

// fitChange checks what a change brings, and names the content that it writes.
func (tx *Tx) fitChange(change *life.Change, content store.Content, mark life.Mark) error {
	if err := store.FitMark(mark); err != nil || change.Act != life.Revising {
		return err
	}
	if err := content.Fit(); err != nil {
		return err
	}
	change.Sum = content.Sum()
	if err := tx.booked(content.RateBook); err != nil {
		return err
	}
	return tx.meshed(content.Meshes)
}

// step writes what a change did: the last entry of the history, and what the draft holds where
// it was written. What became of revisions is in the history.
func step(before, after life.Quote, content store.Content) []Statement {
	last := after.History[len(after.History)-1]
	done := []Statement{note(after.Number, len(after.History), last)}
	if last.Act != life.Creating && last.Act != life.Revising {
		return done
	}
	r := after.Revisions[last.Revision-1]
	if last.Revision > len(before.Revisions) {
		done = append(done, begin(after.Number, r, content))
		return append(done, refer(after.Number, r, content.Meshes)...)
	}
	done = append(done, rewrite(after.Number, r, content)) // also where only its summary is another
	if r.Sum != before.Revisions[last.Revision-1].Sum {
		done = append(done, refer(after.Number, r, content.Meshes)...)
	}
	return done
}

func begin(n life.Number, r life.Revision, c store.Content) Statement {
	return statement(`INSERT INTO revisions (year, serial, revision, brief, rate_book, engine, fingerprint, document, sum, title, client, reference, currency, net)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`,
		written(n, r, c)...)
}

func rewrite(n life.Number, r life.Revision, c store.Content) Statement {
	return statement(`UPDATE revisions SET brief = $4, rate_book = $5, engine = $6, fingerprint = $7, document = $8, sum = $9,
		title = $10, client = $11, reference = $12, currency = $13, net = $14
		WHERE year = $1 AND serial = $2 AND revision = $3`,
		written(n, r, c)...)
}

// written is a row of revisions.
func written(n life.Number, r life.Revision, c store.Content) []any {
	s := c.Summary
	return []any{
		n.Year, n.Serial, r.Number, blob(c.Brief), c.RateBook, c.Engine, c.Fingerprint, blob(c.Document), r.Sum,
		s.Title, s.Client, s.Reference, s.Currency, s.Net,
	}
}

func note(n life.Number, step int, e life.Entry) Statement {
	return statement(`INSERT INTO history (year, serial, step, act, revision, sum, valid_until, actor_kind, actor_name, at, on_day)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)`,
		n.Year, n.Serial, step, string(e.Act), e.Revision, e.Sum, string(e.ValidUntil),
		e.By.Kind, e.By.Name, e.At.UnixMicro(), string(e.On))
}

// Quote returns a quote with its whole history.
func (tx *Tx) Quote(number life.Number, eyes store.Eyes) (store.Quote, error) {
	return tx.quote(number, eyes, "")
}

// quote reads the history and lives it again, so that what is answered and what is in the
// history cannot differ.
func (tx *Tx) quote(number life.Number, eyes store.Eyes, locked string) (store.Quote, error) {
	var history []life.Entry
	owner, etag, err := tx.seen(number, eyes, locked, lived(number, &history))
	if err != nil {
		return store.Quote{}, err
	}
	q, err := life.Replay(number, history)
	if err == nil && q.Etag() != etag {
		err = fmt.Errorf("quote %s and its history differ", number)
	}
	if err != nil {
		return store.Quote{}, fmt.Errorf("%w: %w", store.ErrDamaged, err)
	}
	return store.Quote{Quote: q, Owner: owner}, nil
}

// seen holds that there is a quote and that the eyes may see it, and runs further queries. They
// see what those did that a lock was waited for.
func (tx *Tx) seen(number life.Number, eyes store.Eyes, locked string, further ...Query) (owner, etag string, err error) {
	if !number.Valid() {
		return "", "", noQuote(number)
	}
	found := false
	head := one(&found, []any{&owner, &etag}, `SELECT owner, etag FROM quotes WHERE year = $1 AND serial = $2`+locked, number.Year, number.Serial)
	err = tx.ask(append([]Query{head}, further...)...)
	if err == nil && (!found || !eyes.Sees(owner)) {
		err = noQuote(number)
	}
	return owner, etag, err
}

func noQuote(number life.Number) error { return fmt.Errorf("quote %s: %w", number, store.ErrNotFound) }

// lived reads a quote's history.
func lived(n life.Number, history *[]life.Entry) Query {
	return Query{
		Statement: statement(`SELECT act, revision, sum, valid_until, actor_kind, actor_name, at, on_day FROM history
			WHERE year = $1 AND serial = $2 ORDER BY step`, n.Year, n.Serial),
		Row: func(scan func(...any) error) error {
			var act, sum, until, kind, name, on string
			var revision int
			var at int64
			err := scan(&act, &revision, &sum, &until, &kind, &name, &at, &on)
			*history = append(*history, life.Entry{
				Change:   life.Change{Act: life.Act(act), Sum: sum, ValidUntil: life.Day(until)},
				Revision: revision,
				Mark:     life.Mark{By: life.Actor{Kind: kind, Name: name}, At: time.UnixMicro(at).UTC(), On: life.Day(on)},
			})
			return err
		},
	}
}

// Content returns what a revision holds.
func (tx *Tx) Content(number life.Number, revision int, eyes store.Eyes) (store.Content, error) {
	if revision < 1 || revision > math.MaxInt32 {
		revision = 0 // which none has, and every engine takes
	}
	var c store.Content
	var sum string
	found := false
	held := one(&found, []any{&c.Brief, &c.RateBook, &c.Engine, &c.Fingerprint, &c.Document, &sum},
		`SELECT brief, rate_book, engine, fingerprint, document, sum FROM revisions WHERE year = $1 AND serial = $2 AND revision = $3`,
		number.Year, number.Serial, revision)
	_, _, err := tx.seen(number, eyes, "", held, refs(number, revision, &c.Meshes))
	switch {
	case err != nil:
		return store.Content{}, err
	case !found:
		return store.Content{}, fmt.Errorf("revision %d of quote %s: %w", revision, number, store.ErrNotFound)
	case c.Sum() != sum:
		return store.Content{}, fmt.Errorf("%w: revision %d of quote %s is not as its sum says", store.ErrDamaged, revision, number)
	}
	return c, nil
}

// Quotes lists quotes.
func (tx *Tx) Quotes(by store.Filter, after life.Number, limit int, eyes store.Eyes) ([]store.Head, error) {
	w, none := conditions(by, after, eyes)
	if none || limit < 1 {
		return nil, nil
	}
	var heads []store.Head
	err := tx.each(func(scan func(...any) error) error {
		var h store.Head
		var state, until string
		var created int64
		err := scan(&h.Number.Year, &h.Number.Serial, &h.Owner, &created, &state, &until, &h.Etag, &h.Revisions,
			&h.Summary.Title, &h.Summary.Client, &h.Summary.Reference, &h.Summary.Currency, &h.Summary.Net)
		h.At, h.State, h.ValidUntil = fromMicros(created), life.State(state), life.Day(until)
		heads = append(heads, h)
		return err
	}, fmt.Sprintf(`SELECT year, serial, owner, created, state, valid_until, etag, revisions, title, client, reference, currency, net FROM quotes%s ORDER BY year DESC, serial DESC LIMIT %d`, &w, limit), w.args...)
	return heads, err
}

// conditions writes a filter out; none says that nothing can match it.
func conditions(by store.Filter, after life.Number, eyes store.Eyes) (w where, none bool) {
	owner, all := eyes.Owner()
	if !all {
		w.and("owner = ?", owner)
	}
	if by.Owner != nil {
		w.and("owner = ?", *by.Owner)
		none = none || !store.Readable(*by.Owner)
	}
	w.state(by)
	if by.Year != 0 {
		w.and("year = ?", by.Year)
		none = none || by.Year < 1 || by.Year > life.LastYear
	}
	if by.Reference != nil {
		w.and("reference = ?", *by.Reference)
		none = none || store.FitWords("", *by.Reference) != nil
	}
	if by.Reference != nil && *by.Reference != "" {
		w.terms = append(w.terms, "reference <> ''") // says that the index holds them
	}
	if by.LapsedBy != "" {
		w.and("state = 'issued' AND valid_until < ?", string(by.LapsedBy))
	}
	if after != (life.Number{}) {
		w.and("(year, serial) < (?, ?)", after.Year, after.Serial)
		none = none || !after.Valid()
	}
	none = none || !all && owner == "" || !store.Readable(owner, string(by.State), string(by.On), string(by.LapsedBy))
	return w, none
}

// state picks the quotes in a state: on a day, an offer whose last valid day is past is expired
// whether or not that has been recorded.
func (w *where) state(by store.Filter) {
	switch {
	case by.State == "":
	case by.On != "" && by.State == life.Issued:
		w.and("state = 'issued' AND valid_until >= ?", string(by.On))
	case by.On != "" && by.State == life.Expired:
		w.and("(state = 'expired' OR state = 'issued' AND valid_until < ?)", string(by.On))
	default:
		w.and("state = ?", string(by.State))
	}
}
