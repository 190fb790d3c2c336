package memory

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// quote is a quote with what belongs to it. Its slices are never changed in place.
type quote struct {
	store.Quote
	contents []store.Content // by revision
	actuals  []store.Actual
}

func copyOfQuote(q store.Quote) store.Quote {
	q.Revisions, q.History = slices.Clone(q.Revisions), slices.Clone(q.History)
	return q
}

// Create keeps a new quote.
func (tx *transaction) Create(owner string, year int, content store.Content, mark life.Mark) (store.Quote, error) {
	q, err := tx.create(owner, year, content, mark)
	return q, tx.write(err)
}

func (tx *transaction) create(owner string, year int, content store.Content, mark life.Mark) (store.Quote, error) {
	if err := errors.Join(store.FitOrEmpty("the owner", owner), content.Fit(), store.FitMark(mark)); err != nil {
		return store.Quote{}, err
	}
	if year < 1 || year > life.LastYear {
		return store.Quote{}, fmt.Errorf("%w: there are no numbers of the year %d", store.ErrUnfit, year)
	}
	if err := tx.referred(content); err != nil {
		return store.Quote{}, err
	}
	made, err := life.Quote{Number: tx.next(year)}.Do(life.Create(content.Sum()), whenKept(mark))
	if err != nil {
		return store.Quote{}, err
	}
	q := quote{Quote: store.Quote{Quote: made, Owner: owner}}
	tx.quotes.put(made.Number, q.holding(content))
	return copyOfQuote(q.Quote), nil
}

// referred holds that what content refers to is kept.
func (s *state) referred(c store.Content) error {
	if !s.rateBooks.has(c.RateBook) {
		return unbooked(c.RateBook)
	}
	for _, m := range c.Meshes {
		if !s.files.has(m.Sum) {
			return unmeshed(m.Sum)
		}
	}
	return nil
}

// next is the next number of a year. Quotes are kept for good, so the last one tells it.
func (s *state) next(year int) life.Number {
	before := s.quotes.below(life.Number{Year: year + 1})
	if len(before) == 0 || before[len(before)-1].key.Year != year {
		return life.Number{Year: year, Serial: 1}
	}
	return life.Number{Year: year, Serial: before[len(before)-1].key.Serial + 1}
}

// whenKept is a mark as it is kept.
func whenKept(m life.Mark) life.Mark {
	m.At = store.Moment(m.At)
	return m
}

// holding is the quote with what the revision holds that was written last.
func (q quote) holding(c store.Content) quote {
	c = copyOfContent(c)
	slices.SortFunc(c.Meshes, func(a, b store.MeshRef) int { return cmp.Compare(a.Name, b.Name) })
	q.contents = append(slices.Clip(q.contents[:len(q.Revisions)-1]), c)
	return q
}

func copyOfContent(c store.Content) store.Content {
	c.Brief, c.Document = blob(c.Brief), blob(c.Document)
	c.Meshes = append([]store.MeshRef(nil), c.Meshes...) // none are nil
	return c
}

// Change makes a change of a quote's life.
func (tx *transaction) Change(number life.Number, etag string, eyes store.Eyes, change life.Change, content store.Content, mark life.Mark) (store.Quote, error) {
	q, err := tx.change(number, etag, eyes, change, content, mark)
	return q, tx.write(err)
}

func (tx *transaction) change(number life.Number, etag string, eyes store.Eyes, change life.Change, content store.Content, mark life.Mark) (store.Quote, error) {
	before, err := tx.seen(number, eyes)
	if err != nil {
		return store.Quote{}, err
	}
	if etag != "" && etag != before.Etag() {
		return store.Quote{}, fmt.Errorf("quote %s: %w", number, store.ErrStale)
	}
	if err := tx.fitChange(&change, content, mark); err != nil {
		return store.Quote{}, err
	}
	after := before
	if after.Quote.Quote, err = before.Do(change, whenKept(mark)); err != nil {
		return store.Quote{}, err
	}
	if change.Act == life.Revising {
		after = after.holding(content)
	}
	tx.quotes.put(number, after)
	for _, m := range before.contents[len(before.contents)-1].Meshes { // the draft's, if there was one and it was written over
		tx.sweep(m.Sum)
	}
	return copyOfQuote(after.Quote), nil
}

// fitChange checks what a change brings, and names the content that it writes.
func (s *state) fitChange(change *life.Change, content store.Content, mark life.Mark) error {
	if err := store.FitMark(mark); err != nil || change.Act != life.Revising {
		return err
	}
	if err := content.Fit(); err != nil {
		return err
	}
	change.Sum = content.Sum()
	return s.referred(content)
}

// Quote returns a quote with its whole history.
func (s *state) Quote(number life.Number, eyes store.Eyes) (store.Quote, error) {
	q, err := s.seen(number, eyes)
	return copyOfQuote(q.Quote), err
}

// seen returns a quote that there is and that the eyes may see.
func (s *state) seen(number life.Number, eyes store.Eyes) (quote, error) {
	q, found := s.quotes.get(number)
	if !found || !eyes.Sees(q.Owner) {
		return quote{}, noQuote(number)
	}
	return q, nil
}

func noQuote(number life.Number) error { return fmt.Errorf("quote %s: %w", number, store.ErrNotFound) }

// Content returns what a revision holds.
func (s *state) Content(number life.Number, revision int, eyes store.Eyes) (store.Content, error) {
	q, err := s.seen(number, eyes)
	if err != nil {
		return store.Content{}, err
	}
	if revision < 1 || revision > len(q.contents) {
		return store.Content{}, fmt.Errorf("revision %d of quote %s: %w", revision, number, store.ErrNotFound)
	}
	c := copyOfContent(q.contents[revision-1])
	c.Summary = store.Summary{}
	return c, nil
}

// Quotes lists quotes.
func (s *state) Quotes(by store.Filter, after life.Number, limit int, eyes store.Eyes) ([]store.Head, error) {
	rows := s.quotes.rows
	if after != (life.Number{}) {
		rows = s.quotes.below(after)
	}
	if !store.Readable(string(by.LapsedBy)) || after != (life.Number{}) && !after.Valid() {
		return nil, nil
	}
	var heads []store.Head
	for _, r := range slices.Backward(rows) {
		if len(heads) >= limit {
			break
		}
		if eyes.Sees(r.value.Owner) && r.value.matches(by) {
			heads = append(heads, r.value.head())
		}
	}
	return heads, nil
}

// stateOn is the state on a day; for no day, the one that is recorded.
func (q *quote) stateOn(day life.Day) life.State {
	if day == "" {
		return q.State()
	}
	return q.StateOn(day)
}

func (q *quote) matches(by store.Filter) bool {
	offer, _ := q.Offer()
	return (by.State == "" || by.State == q.stateOn(by.On)) &&
		(by.Owner == nil || *by.Owner == q.Owner) &&
		(by.Year == 0 || by.Year == q.Number.Year) &&
		(by.Reference == nil || *by.Reference == q.summary().Reference) &&
		(by.LapsedBy == "" || q.State() == life.Issued && offer.ValidUntil < by.LapsedBy)
}

// summary is what lists show: of the offer, or of the draft where there is none.
func (q *quote) summary() store.Summary {
	shown, offered := q.Offer()
	if !offered {
		shown, _ = q.Drafting()
	}
	return q.contents[shown.Number-1].Summary
}

func (q *quote) head() store.Head {
	offer, _ := q.Offer()
	return store.Head{
		Number: q.Number, Owner: q.Owner, State: q.State(), ValidUntil: offer.ValidUntil, Etag: q.Etag(),
		At: asKept(q.History[0].At), Revisions: len(q.Revisions), Summary: q.summary(),
	}
}
