package server

import (
	"context"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/labour"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// labourService reckons the work that a brief takes.
type labourService struct {
	mouldwrightv1.UnimplementedLabourServiceServer
	intake *intake
}

func (s *labourService) EstimateLabour(ctx context.Context, r *mouldwrightv1.EstimateLabourRequest) (*mouldwrightv1.EstimateLabourResponse, error) {
	b, book, err := s.intake.asked(ctx, r)
	if err != nil {
		return nil, err
	}
	c, err := estimate.Work(b, book.Edition)
	if err != nil {
		return nil, ofBrief(r.GetBrief(), err)
	}
	skills, err := labour.BySkill(c.Labour, c.Edition.Skills)
	if err != nil {
		return nil, err
	}
	hours, err := labour.Total(c.Labour, func(*labour.Line) bool { return true })
	if err != nil {
		return nil, err
	}
	return &mouldwrightv1.EstimateLabourResponse{
		RateBookRevision: book.Edition.Revision,
		Lines:            wire.LabourLines(c.Labour),
		SkillHours:       wire.SkillHours(skills),
		Hours:            wire.Quantity(hours),
	}, nil
}
