package server

import (
	"context"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/margin"
	"github.com/mouldwright/mouldwright/internal/unit"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// marginService turns cost into price.
type marginService struct {
	mouldwrightv1.UnimplementedMarginServiceServer
	intake *intake
}

func (s *marginService) ApplyMargin(ctx context.Context, r *mouldwrightv1.ApplyMarginRequest) (*mouldwrightv1.ApplyMarginResponse, error) {
	book, err := s.intake.book(ctx, r.GetRateBook(), "")
	if err != nil {
		return nil, err
	}
	items, terms, faults := wire.MarginItems(r, book.Edition)
	if err := faults.Err(); err != nil {
		return nil, err
	}
	price, err := margin.Apply(items, unit.Decimal{}, terms, book.Edition.Currency)
	if err != nil {
		return nil, err
	}
	return wire.Price(&price, book.Edition), nil
}
