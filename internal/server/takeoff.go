package server

import (
	"context"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/cabinet"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/quote"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// takeoffService measures what a brief describes, and keeps the meshes that
// briefs refer to.
type takeoffService struct {
	mouldwrightv1.UnimplementedTakeoffServiceServer
	intake *intake
	meshes *cabinet.Cabinet
}

func (s *takeoffService) MeasureBrief(ctx context.Context, r *mouldwrightv1.MeasureBriefRequest) (*mouldwrightv1.MeasureBriefResponse, error) {
	b, book, err := s.intake.asked(ctx, r)
	if err != nil {
		return nil, err
	}
	c, err := estimate.Work(b, book.Edition)
	if err != nil {
		return nil, ofBrief(r.GetBrief(), err)
	}
	assumptions, warnings := quote.Notes(c)
	return &mouldwrightv1.MeasureBriefResponse{
		RateBookRevision: book.Edition.Revision,
		Pieces:           wire.Takeoffs(c.Pieces, book.Edition),
		Assumptions:      assumptions,
		Warnings:         warnings,
	}, nil
}
