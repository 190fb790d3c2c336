package server

import (
	"context"
	"strings"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// rateBookService shows and checks the studio's rate books.
type rateBookService struct {
	mouldwrightv1.UnimplementedRateBookServiceServer
	books *bookcase.Case
	keep  *keeping
	rules *wire.Validator
}

func (s *rateBookService) GetRateBook(ctx context.Context, r *mouldwrightv1.GetRateBookRequest) (*mouldwrightv1.GetRateBookResponse, error) {
	book, err := s.books.Find(ctx, r.GetName())
	if err != nil {
		return nil, err
	}
	return &mouldwrightv1.GetRateBookResponse{RateBook: book.Document}, nil
}

// CheckRateBook answers with a book's faults; that they are many or bad is no
// error. What was wrong with the book's form, at the door, is among them.
func (s *rateBookService) CheckRateBook(ctx context.Context, r *mouldwrightv1.CheckRateBookRequest) (*mouldwrightv1.CheckRateBookResponse, error) {
	faults := ofTheBook(callFrom(ctx).form)
	if r.GetRateBook() != nil {
		_, faults = desk.CheckBook(r.GetRateBook(), faults, s.rules)
	} else if len(faults) == 0 {
		faults = fault.List{{Path: checkedBook, Message: "missing: there is no rate book to check"}}
	}
	answer := &mouldwrightv1.CheckRateBookResponse{Usable: len(faults) == 0}
	for _, f := range faults {
		answer.Faults = append(answer.Faults, &mouldwrightv1.RateBookFault{Path: f.Path, Message: f.Message})
	}
	return answer, nil
}

// checkedBook is the field of CheckRateBookRequest whose faults are the answer.
const checkedBook = "rateBook"

// ofTheBook returns the faults in the book to check, by their paths in the book.
func ofTheBook(form fault.List) fault.List {
	var own fault.List
	for _, f := range form {
		if isUnder(f.Path, checkedBook) {
			own = append(own, fault.Fault{Path: strings.TrimPrefix(strings.TrimPrefix(f.Path, checkedBook), "."), Message: f.Message})
		}
	}
	return own
}

// besideTheBook returns the faults that are not in the book to check.
func besideTheBook(form fault.List) fault.List {
	var rest fault.List
	for _, f := range form {
		if !isUnder(f.Path, checkedBook) {
			rest = append(rest, f)
		}
	}
	return rest
}
