package rows

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/store"
)

// AddPartner keeps a new partner.
func (tx *Tx) AddPartner(p store.Partner) (store.Partner, error) {
	p, err := tx.addPartner(p)
	return p, tx.write(err)
}

func (tx *Tx) addPartner(p store.Partner) (store.Partner, error) {
	if err := p.Fit(); err != nil {
		return store.Partner{}, err
	}
	p.Version, p.Terms, p.At = 1, blob(p.Terms), asKept(p.At)
	added, err := tx.try(`INSERT INTO partners (id, title, terms, closed, version, at) VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING`,
		p.ID, p.Title, p.Terms, flag(p.Closed), p.Version, micros(p.At))
	if err == nil && !added {
		err = fmt.Errorf("partner %s: %w", p.ID, store.ErrTaken)
	}
	if err != nil {
		return store.Partner{}, err
	}
	return p, nil
}

// ChangePartner replaces what is kept of a partner.
func (tx *Tx) ChangePartner(p store.Partner, version int) (store.Partner, error) {
	p, err := tx.changePartner(p, version)
	return p, tx.write(err)
}

func (tx *Tx) changePartner(p store.Partner, version int) (store.Partner, error) {
	if err := p.Fit(); err != nil {
		return store.Partner{}, err
	}
	kept, err := tx.partner(p.ID, store.Studio(), tx.locks.Change)
	switch {
	case err != nil:
		return store.Partner{}, err
	case version != 0 && version != kept.Version:
		return store.Partner{}, fmt.Errorf("partner %s: %w", p.ID, store.ErrStale)
	case kept.Version == math.MaxInt32:
		return store.Partner{}, fmt.Errorf("%w: the versions of partner %s are used up", store.ErrUnfit, p.ID)
	}
	p.Version, p.Terms, p.At = kept.Version+1, blob(p.Terms), kept.At
	tx.exec(statement(`UPDATE partners SET title = $2, terms = $3, closed = $4, version = $5 WHERE id = $1`,
		p.ID, p.Title, p.Terms, flag(p.Closed), p.Version))
	return p, nil
}

// Partner returns a partner.
func (tx *Tx) Partner(id string, eyes store.Eyes) (store.Partner, error) {
	return tx.partner(id, eyes, "")
}

func (tx *Tx) partner(id string, eyes store.Eyes, locked string) (store.Partner, error) {
	if !eyes.Sees(id) || !store.Readable(id) {
		return store.Partner{}, noPartner(id)
	}
	found, err := tx.partners("id = $1"+locked, id)
	if err == nil && len(found) == 0 {
		err = noPartner(id)
	}
	if err != nil {
		return store.Partner{}, err
	}
	return found[0], nil
}

func noPartner(id string) error { return fmt.Errorf("partner %s: %w", id, store.ErrNotFound) }

// Partners lists partners.
func (tx *Tx) Partners(after string, limit int, eyes store.Eyes) ([]store.Partner, error) {
	owner, all := eyes.Owner()
	if limit < 1 || !store.Readable(after, owner) {
		return nil, nil
	}
	if all {
		return tx.partners(fmt.Sprintf("id > $1 ORDER BY id LIMIT %d", limit), after)
	}
	return tx.partners("id > $1 AND id = $2", after, owner)
}

// partners reads those for which a condition holds.
func (tx *Tx) partners(condition string, args ...any) ([]store.Partner, error) {
	var partners []store.Partner
	err := tx.each(func(scan func(...any) error) error {
		var p store.Partner
		var closed int
		var at int64
		err := scan(&p.ID, &p.Title, &p.Terms, &closed, &p.Version, &at)
		p.Closed, p.At = closed == 1, fromMicros(at)
		partners = append(partners, p)
		return err
	}, `SELECT id, title, terms, closed, version, at FROM partners WHERE `+condition, args...)
	return partners, err
}
