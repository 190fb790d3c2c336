package memory

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/store"
)

// AddPartner keeps a new partner.
func (tx *transaction) AddPartner(p store.Partner) (store.Partner, error) {
	p, err := tx.addPartner(p)
	return p, tx.write(err)
}

func (tx *transaction) addPartner(p store.Partner) (store.Partner, error) {
	if err := p.Fit(); err != nil {
		return store.Partner{}, err
	}
	if tx.partners.has(p.ID) {
		return store.Partner{}, fmt.Errorf("partner %s: %w", p.ID, store.ErrTaken)
	}
	p.Version, p.At = 1, asKept(p.At)
	return tx.putPartner(p), nil
}

func (tx *transaction) putPartner(p store.Partner) store.Partner {
	p.Terms = blob(p.Terms)
	tx.partners.put(p.ID, p)
	return copyOfPartner(p)
}

func copyOfPartner(p store.Partner) store.Partner {
	p.Terms = blob(p.Terms)
	return p
}

// ChangePartner replaces what is kept of a partner.
func (tx *transaction) ChangePartner(p store.Partner, version int) (store.Partner, error) {
	p, err := tx.changePartner(p, version)
	return p, tx.write(err)
}

func (tx *transaction) changePartner(p store.Partner, version int) (store.Partner, error) {
	if err := p.Fit(); err != nil {
		return store.Partner{}, err
	}
	kept, found := tx.partners.get(p.ID)
	switch {
	case !found:
		return store.Partner{}, noPartner(p.ID)
	case version != 0 && version != kept.Version:
		return store.Partner{}, fmt.Errorf("partner %s: %w", p.ID, store.ErrStale)
	case kept.Version == math.MaxInt32:
		return store.Partner{}, fmt.Errorf("%w: the versions of partner %s are used up", store.ErrUnfit, p.ID)
	}
	p.Version, p.At = kept.Version+1, kept.At
	return tx.putPartner(p), nil
}

// Partner returns a partner.
func (s *state) Partner(id string, eyes store.Eyes) (store.Partner, error) {
	p, found := s.partners.get(id)
	if !found || !eyes.Sees(id) {
		return store.Partner{}, noPartner(id)
	}
	return copyOfPartner(p), nil
}

func noPartner(id string) error { return fmt.Errorf("partner %s: %w", id, store.ErrNotFound) }

// Partners lists partners.
func (s *state) Partners(after string, limit int, eyes store.Eyes) ([]store.Partner, error) {
	if !store.Readable(after) {
		return nil, nil
	}
	partners := pick(s.partners.beyond(after), limit, func(p store.Partner) bool { return eyes.Sees(p.ID) })
	for i, p := range partners {
		partners[i] = copyOfPartner(p)
	}
	return partners, nil
}
