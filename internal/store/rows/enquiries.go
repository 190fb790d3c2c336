package rows

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// AddEnquiry keeps an enquiry.
func (tx *Tx) AddEnquiry(e store.Enquiry) error { return tx.write(tx.addEnquiry(e)) }

func (tx *Tx) addEnquiry(e store.Enquiry) error {
	if err := e.Fit(); err != nil {
		return err
	}
	added, err := tx.try(`INSERT INTO enquiries (id, at, until, document) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`,
		e.ID, micros(e.At), string(e.Until), blob(e.Document))
	if err == nil && !added {
		err = fmt.Errorf("enquiry %s: %w", e.ID, store.ErrTaken)
	}
	return err
}

// ForgetEnquiry forgets an enquiry.
func (tx *Tx) ForgetEnquiry(id string, eyes store.Eyes) error {
	return tx.write(tx.forgetEnquiry(id, eyes))
}

func (tx *Tx) forgetEnquiry(id string, eyes store.Eyes) error {
	if !eyes.Sees("") || !store.Readable(id) {
		return noEnquiry(id)
	}
	gone, err := tx.try(`DELETE FROM enquiries WHERE id = $1`, id)
	if err == nil && !gone {
		err = noEnquiry(id)
	}
	return err
}

func noEnquiry(id string) error { return fmt.Errorf("enquiry %s: %w", id, store.ErrNotFound) }

// ForgetEnquiries forgets those whose last day is past.
func (tx *Tx) ForgetEnquiries(before life.Day) (int, error) {
	if err := store.FitDay(before); err != nil {
		return 0, tx.write(err)
	}
	count, err := tx.count(`DELETE FROM enquiries WHERE until < $1`, string(before))
	return count, tx.write(err)
}

// Enquiry returns an enquiry.
func (tx *Tx) Enquiry(id string, eyes store.Eyes) (store.Enquiry, error) {
	if !eyes.Sees("") || !store.Readable(id) {
		return store.Enquiry{}, noEnquiry(id)
	}
	found, err := tx.enquiries(" WHERE id = $1", id)
	if err == nil && len(found) == 0 {
		err = noEnquiry(id)
	}
	if err != nil {
		return store.Enquiry{}, err
	}
	return found[0], nil
}

// Enquiries lists enquiries.
func (tx *Tx) Enquiries(after store.Enquiry, limit int, eyes store.Eyes) ([]store.Enquiry, error) {
	if !eyes.Sees("") || limit < 1 || !store.Readable(after.ID) {
		return nil, nil
	}
	var w where
	if after.ID != "" {
		w.and("(at, id) < (?, ?)", micros(after.At), after.ID)
	}
	return tx.enquiries(fmt.Sprintf("%s ORDER BY at DESC, id DESC LIMIT %d", &w, limit), w.args...)
}

// enquiries reads what the rest of a query picks.
func (tx *Tx) enquiries(rest string, args ...any) ([]store.Enquiry, error) {
	var enquiries []store.Enquiry
	err := tx.each(func(scan func(...any) error) error {
		var e store.Enquiry
		var until string
		var at int64
		err := scan(&e.ID, &at, &until, &e.Document)
		e.At, e.Until = fromMicros(at), life.Day(until)
		enquiries = append(enquiries, e)
		return err
	}, `SELECT id, at, until, document FROM enquiries`+rest, args...)
	return enquiries, err
}
