package rows

import (
	"errors"
	"fmt"
	"slices"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// page is how many names are looked up in one go. What they name is read one at a time, so that
// there is room for it.
const page = 100

// errEnough says that as many damages were found as were asked for.
var errEnough = errors.New("enough")

// Damages reads all that has a sum or a history as it is read for anybody, and compares what is
// kept twice. It says what is damaged, each with store.ErrDamaged, up to most of them.
func (tx *Tx) Damages(most int) ([]error, error) {
	s := survey{tx: tx, most: most}
	for _, look := range []func() error{s.rateBooks, s.files, s.quotes} {
		if err := look(); errors.Is(err, errEnough) {
			return s.found, nil
		} else if err != nil {
			return nil, err
		}
	}
	return s.found, nil
}

// survey goes through what is kept, and notes what is damaged.
type survey struct {
	tx    *Tx
	most  int
	found []error
}

// note takes down what a reading said, unless that has nothing to do with what was read. What
// was listed and is not found is damaged as well.
func (s *survey) note(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, store.ErrNotFound):
		err = fmt.Errorf("%w: %w", store.ErrDamaged, err)
	case !errors.Is(err, store.ErrDamaged):
		return err
	}
	if s.found = append(s.found, err); len(s.found) >= s.most {
		return errEnough
	}
	return nil
}

// each lists names page by page, from beyond the last one on, and looks at each.
func each[V any](s *survey, list func(after V) ([]V, error), look func(V) error) error {
	var after V
	for {
		names, err := list(after)
		if err != nil {
			return s.note(err)
		}
		for _, name := range names {
			if err := look(name); err != nil {
				return err
			}
			after = name
		}
		if len(names) < page {
			return nil
		}
	}
}

func (s *survey) rateBooks() error {
	return each(s, func(after store.RateBook) ([]store.RateBook, error) {
		return s.tx.RateBooks(after, page, store.Studio())
	}, func(b store.RateBook) error {
		_, err := s.tx.RateBook(b.Revision, store.Studio())
		return s.note(err)
	})
}

func (s *survey) files() error {
	return each(s, s.sums, func(sum string) error {
		m, err := s.tx.MeshOf(sum)
		if err == nil && m.Size != len(m.File) {
			err = fmt.Errorf("%w: the mesh of sum %s has another size", store.ErrDamaged, sum)
		}
		return s.note(err)
	})
}

// sums lists the files of meshes.
func (s *survey) sums(after string) ([]string, error) {
	var sums []string
	err := s.tx.each(func(scan func(...any) error) error {
		var sum string
		err := scan(&sum)
		sums = append(sums, sum)
		return err
	}, fmt.Sprintf(`SELECT sum FROM mesh_files WHERE sum > $1 ORDER BY sum LIMIT %d`, page), after)
	return sums, err
}

func (s *survey) quotes() error {
	return each(s, func(after store.Head) ([]store.Head, error) {
		return s.tx.Quotes(store.Filter{}, after.Number, page, store.Studio())
	}, s.quote)
}

// quote looks at a quote with all of its revisions, and at what lists show of it.
func (s *survey) quote(h store.Head) error {
	q, damaged := s.tx.Quote(h.Number, store.Studio())
	if err := s.note(damaged); err != nil {
		return err
	}
	shown, err := s.tx.shown(h.Number)
	if err != nil {
		return s.note(err)
	}
	if damaged == nil {
		if err := s.note(listed(h, q, shown)); err != nil {
			return err
		}
	}
	for _, r := range shown {
		c, err := s.tx.Content(h.Number, r.revision, store.Studio())
		at := slices.IndexFunc(q.Revisions, func(kept life.Revision) bool { return kept.Number == r.revision })
		if err == nil && damaged == nil && (at < 0 || q.Revisions[at].Sum != c.Sum()) {
			err = fmt.Errorf("%w: revision %d of quote %s is not as its history says", store.ErrDamaged, r.revision, h.Number)
		}
		if err := s.note(err); err != nil {
			return err
		}
	}
	return nil
}

// summed is a revision with its summary.
type summed struct {
	revision int
	summary  store.Summary
}

// shown reads the summaries of a quote's revisions.
func (tx *Tx) shown(n life.Number) ([]summed, error) {
	var all []summed
	err := tx.each(func(scan func(...any) error) error {
		var r summed
		err := scan(&r.revision, &r.summary.Title, &r.summary.Client, &r.summary.Reference, &r.summary.Currency, &r.summary.Net)
		all = append(all, r)
		return err
	}, `SELECT revision, title, client, reference, currency, net FROM revisions WHERE year = $1 AND serial = $2 ORDER BY revision`, n.Year, n.Serial)
	return all, err
}

// listed holds that lists show what a quote is, and that its revisions are all there.
func listed(h store.Head, q store.Quote, shown []summed) error {
	if len(shown) != len(q.Revisions) {
		return fmt.Errorf("%w: quote %s has %d revisions, and its history tells of %d", store.ErrDamaged, h.Number, len(shown), len(q.Revisions))
	}
	of, offered := q.Offer()
	until := of.ValidUntil
	if !offered {
		of, _ = q.Drafting()
	}
	want := store.Head{
		Number: q.Number, Owner: q.Owner, State: q.State(), ValidUntil: until, Etag: q.Etag(),
		At: asKept(q.History[0].At), Revisions: len(q.Revisions), Summary: shown[of.Number-1].summary,
	}
	if h != want {
		return fmt.Errorf("%w: lists show quote %s otherwise than it is", store.ErrDamaged, h.Number)
	}
	return nil
}
