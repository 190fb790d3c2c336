package server

import (
	"context"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// quoteService prices briefs.
type quoteService struct {
	mouldwrightv1.UnimplementedQuoteServiceServer
	books *Books
}

func (s *quoteService) PreviewQuote(_ context.Context, r *mouldwrightv1.PreviewQuoteRequest) (*mouldwrightv1.PreviewQuoteResponse, error) {
	book, err := s.books.Find(r.GetRateBook())
	if err != nil {
		return nil, err
	}
	q, err := book.Price(r.GetBrief())
	if err != nil {
		return nil, ofBrief(r.GetBrief(), err)
	}
	return &mouldwrightv1.PreviewQuoteResponse{Quote: wire.Quote(q, r.GetView() == mouldwrightv1.QuoteView_QUOTE_VIEW_WORKINGS)}, nil
}
