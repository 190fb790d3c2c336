package rows

import (
	"fmt"
	"math"

	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// AddActual notes what a quote's work took.
func (tx *Tx) AddActual(number life.Number, document []byte, mark life.Mark, eyes store.Eyes) (store.Actual, error) {
	a, err := tx.addActual(number, document, mark, eyes)
	return a, tx.write(err)
}

func (tx *Tx) addActual(number life.Number, document []byte, mark life.Mark, eyes store.Eyes) (store.Actual, error) {
	if err := store.FitMark(mark); err != nil {
		return store.Actual{}, err
	}
	if err := tx.studios(number, eyes, tx.locks.Change); err != nil { // so that no other takes the same step
		return store.Actual{}, err
	}
	a := store.Actual{By: mark.By, At: asKept(mark.At), Document: blob(document)}
	_, err := tx.one(`SELECT COALESCE(MAX(step), 0) + 1 FROM actuals WHERE year = $1 AND serial = $2`, []any{number.Year, number.Serial}, []any{&a.Step})
	if err != nil {
		return store.Actual{}, err
	}
	tx.exec(statement(`INSERT INTO actuals (year, serial, step, actor_kind, actor_name, at, document) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
		number.Year, number.Serial, a.Step, a.By.Kind, a.By.Name, micros(a.At), a.Document))
	return a, nil
}

// studios holds that there is a quote, and that the eyes are the studio's: what its work took
// is nobody else's to know, whoever owns it.
func (tx *Tx) studios(number life.Number, eyes store.Eyes, locked string) error {
	if !eyes.Sees("") {
		return noQuote(number)
	}
	_, _, err := tx.seen(number, eyes, locked)
	return err
}

// Actuals lists notes of what a quote's work took.
func (tx *Tx) Actuals(number life.Number, after, limit int, eyes store.Eyes) ([]store.Actual, error) {
	if err := tx.studios(number, eyes, ""); err != nil {
		return nil, err
	}
	if limit < 1 || after >= math.MaxInt32 {
		return nil, nil
	}
	var actuals []store.Actual
	err := tx.each(func(scan func(...any) error) error {
		var a store.Actual
		var at int64
		err := scan(&a.Step, &a.By.Kind, &a.By.Name, &at, &a.Document)
		a.At = fromMicros(at)
		actuals = append(actuals, a)
		return err
	}, fmt.Sprintf(`SELECT step, actor_kind, actor_name, at, document FROM actuals
		WHERE year = $1 AND serial = $2 AND step > $3 ORDER BY step LIMIT %d`, limit), number.Year, number.Serial, max(after, 0))
	return actuals, err
}
