package memory

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// AddEnquiry keeps an enquiry.
func (tx *transaction) AddEnquiry(e store.Enquiry) error { return tx.write(tx.addEnquiry(e)) }

func (tx *transaction) addEnquiry(e store.Enquiry) error {
	if err := e.Fit(); err != nil {
		return err
	}
	if tx.enquiries.has(e.ID) {
		return fmt.Errorf("enquiry %s: %w", e.ID, store.ErrTaken)
	}
	e = copyOfEnquiry(e)
	e.At = asKept(e.At)
	tx.enquiries.put(e.ID, e)
	return nil
}

func copyOfEnquiry(e store.Enquiry) store.Enquiry {
	e.Document = blob(e.Document)
	return e
}

// ForgetEnquiry forgets an enquiry.
func (tx *transaction) ForgetEnquiry(id string, eyes store.Eyes) error {
	return tx.write(tx.forgetEnquiry(id, eyes))
}

func (tx *transaction) forgetEnquiry(id string, eyes store.Eyes) error {
	if !eyes.Sees("") || !tx.enquiries.has(id) {
		return noEnquiry(id)
	}
	tx.enquiries.drop(id)
	return nil
}

func noEnquiry(id string) error { return fmt.Errorf("enquiry %s: %w", id, store.ErrNotFound) }

// ForgetEnquiries forgets those whose last day is past.
func (tx *transaction) ForgetEnquiries(before life.Day) (int, error) {
	if err := store.FitDay(before); err != nil {
		return 0, tx.write(err)
	}
	return tx.enquiries.dropAll(func(e store.Enquiry) bool { return e.Until < before }), nil
}

// Enquiry returns an enquiry.
func (s *state) Enquiry(id string, eyes store.Eyes) (store.Enquiry, error) {
	e, found := s.enquiries.get(id)
	if !found || !eyes.Sees("") {
		return store.Enquiry{}, noEnquiry(id)
	}
	return copyOfEnquiry(e), nil
}

// Enquiries lists enquiries.
func (s *state) Enquiries(after store.Enquiry, limit int, eyes store.Eyes) ([]store.Enquiry, error) {
	if !eyes.Sees("") || !store.Readable(after.ID) {
		return nil, nil
	}
	when := func(e store.Enquiry) moment { return moment{micros(e.At), e.ID} }
	enquiries := newest(s.enquiries, when(after), limit, when)
	for i, e := range enquiries {
		enquiries[i] = copyOfEnquiry(e)
	}
	return enquiries, nil
}
