package memory

import (
	"slices"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// AddActual notes what a quote's work took.
func (tx *transaction) AddActual(number life.Number, document []byte, mark life.Mark, eyes store.Eyes) (store.Actual, error) {
	a, err := tx.addActual(number, document, mark, eyes)
	return a, tx.write(err)
}

func (tx *transaction) addActual(number life.Number, document []byte, mark life.Mark, eyes store.Eyes) (store.Actual, error) {
	if err := store.FitMark(mark); err != nil {
		return store.Actual{}, err
	}
	q, err := tx.studios(number, eyes)
	if err != nil {
		return store.Actual{}, err
	}
	a := store.Actual{Step: len(q.actuals) + 1, By: mark.By, At: asKept(mark.At), Document: blob(document)}
	q.actuals = append(slices.Clip(q.actuals), a)
	tx.quotes.put(number, q)
	return copyOfActual(a), nil
}

func copyOfActual(a store.Actual) store.Actual {
	a.Document = blob(a.Document)
	return a
}

// studios returns a quote for the studio's eyes: what its work took is nobody else's to know,
// whoever owns it.
func (s *state) studios(number life.Number, eyes store.Eyes) (quote, error) {
	if !eyes.Sees("") {
		return quote{}, noQuote(number)
	}
	return s.seen(number, eyes)
}

// Actuals lists notes of what a quote's work took.
func (s *state) Actuals(number life.Number, after, limit int, eyes store.Eyes) ([]store.Actual, error) {
	q, err := s.studios(number, eyes)
	if err != nil {
		return nil, err
	}
	rest := q.actuals[min(max(after, 0), len(q.actuals)):] // the steps count from 1
	var actuals []store.Actual
	for _, a := range rest[:min(max(limit, 0), len(rest))] {
		actuals = append(actuals, copyOfActual(a))
	}
	return actuals, nil
}
