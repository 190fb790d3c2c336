package server

import (
	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/brief"
	"github.com/mouldwright/mouldwright/internal/desk"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// briefed is a request with a brief and the rate book to reckon it by.
type briefed interface {
	GetBrief() *mouldwrightv1.Brief
	GetRateBook() string
}

const (
	briefField    = "brief"
	rateBookField = "rateBook"
)

// asked translates the brief of a request and finds its rate book.
func (b *Books) asked(r briefed) (*brief.Brief, *desk.Book, error) {
	book, err := b.Find(r.GetRateBook())
	if err != nil {
		return nil, nil, err
	}
	asked, err := book.Brief(r.GetBrief())
	if err != nil {
		return nil, nil, ofBrief(r.GetBrief(), err)
	}
	return asked, book, nil
}

// meaning returns what is wrong with a request besides its form and the limits
// of its fields: what contradicts itself or is not in the rate book. A handler
// finds the same; this is for requests that no handler will see.
func (b *Books) meaning(request any) fault.List {
	switch r := request.(type) {
	case briefed:
		if r.GetBrief() == nil {
			return nil
		}
		book, err := b.Find(r.GetRateBook())
		if err != nil {
			return fault.List{{Path: rateBookField, Message: err.Error()}}
		}
		return book.Meaning(r.GetBrief()).Under(briefField)
	case *mouldwrightv1.ApplyMarginRequest:
		book, err := b.Find(r.GetRateBook())
		if err != nil {
			return fault.List{{Path: rateBookField, Message: err.Error()}}
		}
		_, _, faults := wire.MarginItems(r, book.Edition)
		return faults
	default:
		return nil
	}
}

// ofBrief puts the faults that the core found in a brief under the request's
// field.
func ofBrief(pb *mouldwrightv1.Brief, err error) error {
	switch e := err.(type) { //nolint:errorlint // the core returns these two as they are
	case fault.List:
		return &violations{faults: e.Under(briefField), reasons: laterReasons(pb)}
	case estimate.LaterError:
		return estimate.LaterError{Faults: e.Faults.Under(briefField)}
	default:
		return err
	}
}

// briefOf returns the brief of a request; nil where it has none.
func briefOf(request any) *mouldwrightv1.Brief {
	if r, ok := request.(briefed); ok {
		return r.GetBrief()
	}
	return nil
}

// laterReasons gives the paths of what a brief has that is not reckoned yet their
// reason.
func laterReasons(pb *mouldwrightv1.Brief) map[string]string {
	reasons := map[string]string{}
	of, _ := wire.Brief(pb) // its faults are told elsewhere
	for _, f := range of.Later().Under(briefField) {
		reasons[f.Path] = faultLater
	}
	return reasons
}
