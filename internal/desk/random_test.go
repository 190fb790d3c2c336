package desk_test

import (
	"testing"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/ratebook/demo"
	"github.com/mouldwright/mouldwright/internal/wire"
)

func demoBook(t testing.TB) (*desk.Book, *wire.Validator) {
	t.Helper()
	rules, err := wire.NewValidator()
	if err != nil {
		t.Fatal(err)
	}
	book, faults := desk.OpenBook(demo.Document(), rules)
	if err := faults.Err(); err != nil {
		t.Fatal(err)
	}
	return book, rules
}

func price(t testing.TB, book *desk.Book, b *mouldwrightv1.Brief) *mouldwrightv1.Quote {
	t.Helper()
	q, err := book.Price(b)
	if err != nil {
		t.Fatalf("%v\nbrief: %v", err, b)
	}
	return wire.Quote(q, true)
}
