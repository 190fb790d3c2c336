package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	mouldwrightv1 "github.com/mouldwright/mouldwright/api/mouldwright/v1"
	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
	"github.com/mouldwright/mouldwright/internal/wire"
)

// The form of a reason is google.rpc.ErrorInfo's: UPPER_SNAKE_CASE, at most 63 characters, [A-Z][A-Z0-9_]+[A-Z0-9].
func TestEveryErrorHasItsCodeAndReason(t *testing.T) {
	form := regexp.MustCompile(`^[A-Z][A-Z0-9_]{0,61}[A-Z0-9]$`)
	faults := fault.List{{Path: "pieces[0].finish", Message: "m"}}
	for name, c := range map[string]struct {
		err    error
		code   codes.Code
		http   int
		reason string
		fields []string
	}{
		"faults of a brief":      {ofBrief(nil, faults), codes.InvalidArgument, 400, reasonBrief, []string{"brief.pieces[0].finish"}},
		"faults of a request":    {fault.List{{Path: "costs[1].tax", Message: "m"}}, codes.InvalidArgument, 400, reasonRequest, []string{"costs[1].tax"}},
		"a path like the brief":  {fault.List{{Path: "briefs", Message: "m"}}, codes.InvalidArgument, 400, reasonRequest, []string{"briefs"}},
		"a form to come":         {ofBrief(nil, estimate.LaterError{Faults: faults}), codes.Unimplemented, 501, reasonLater, []string{"brief.pieces[0].finish"}},
		"too large":              {ofBrief(nil, fmt.Errorf("%w: 7 h", estimate.ErrTooLarge)), codes.InvalidArgument, 400, reasonTooLarge, []string{"brief.pieces"}},
		"too large, with a list": {fmt.Errorf("%w: %w", estimate.ErrTooLarge, faults), codes.InvalidArgument, 400, reasonTooLarge, []string{"brief.pieces"}},
		"no place":               {tooBusy(), codes.ResourceExhausted, 429, reasonTooBusy, nil},
		"no such book":           {&bookcase.MissingError{Name: "rateBooks/x"}, codes.NotFound, 404, reasonNoBook, nil},
		"out of time":            {fmt.Errorf("x: %w", context.DeadlineExceeded), codes.DeadlineExceeded, 504, reasonDeadline, nil},
		"caller gone":            {context.Canceled, codes.Canceled, 499, reasonCancelled, nil},
		"body too large":         {bodyTooLarge(1), codes.InvalidArgument, 413, reasonBodySize, nil},
		"anything":               {errors.New("secret"), codes.Internal, 500, reasonInternal, nil},
		"grpc's own internal":    {status.Error(codes.Internal, "secret"), codes.Internal, 500, reasonInternal, nil},
		"grpc's own unknown":     {status.Error(codes.Unknown, "secret"), codes.Internal, 500, reasonInternal, nil},
		"a method not written":   {status.Error(codes.Unimplemented, "m"), codes.Unimplemented, 501, reasonNoMethod, nil},
		"the gateway's own":      {status.Error(codes.InvalidArgument, "m"), codes.InvalidArgument, 400, reasonRequest, nil},
	} {
		t.Run(name, func(t *testing.T) {
			got := answer(c.err, "id-1")
			r := refusalOf(got.GRPCStatus())
			assert.Equal(t, c.code, r.Code())
			assert.Equal(t, c.http, got.httpStatus())
			assert.Equal(t, c.reason, r.info.GetReason())
			assert.Regexp(t, form, r.info.GetReason())
			assert.Equal(t, domain, r.info.GetDomain())
			assert.Equal(t, "id-1", r.info.GetMetadata()["requestId"])
			assert.NotContains(t, r.Message(), "secret")
			assert.Len(t, r.fields, len(c.fields))
			for _, path := range c.fields {
				assert.Contains(t, r.fields, path)
			}
			assert.Same(t, got, answer(fmt.Errorf("again: %w", got), "id-2"), "an error is answered once")
		})
	}
}

func TestAnAnswerListsOnlySoMany(t *testing.T) {
	var faults fault.List
	for i := range 500 {
		faults = append(faults, fault.Fault{Path: fmt.Sprintf("brief.pieces[%d].code", i), Message: "m"})
	}
	got := problemOf(faults)
	assert.Len(t, got.faults, mostViolations)
	assert.Equal(t, "more than 100 faults, of which the first 100 are listed; the first: brief.pieces[0].code: m", got.message)
}

// Many callers at once get what one alone gets: nothing is shared that changes.
func TestCallersDoNotDisturbEachOther(t *testing.T) {
	s := start(t, Config{Patience: time.Minute})
	quotes := mouldwrightv1.NewQuoteServiceClient(s.conn)
	alone := map[string]string{}
	for name, text := range briefs(t) {
		alone[name] = string(s.post(t, preview, request(text)).body)
	}
	var callers sync.WaitGroup
	for range 4 {
		for name, text := range briefs(t) {
			r := decoded(t, request(text), &mouldwrightv1.PreviewQuoteRequest{})
			callers.Go(func() {
				got, err := quotes.PreviewQuote(t.Context(), r)
				if !assert.NoError(t, err) {
					return
				}
				written, err := wire.Encode(got)
				assert.NoError(t, err)
				assert.True(t, alone[name] == string(written), "%s by gRPC", name)
			})
			callers.Go(func() {
				got := s.post(t, preview, request(text))
				assert.Equal(t, http.StatusOK, got.status)
				assert.True(t, alone[name] == string(got.body), "%s by REST", name)
			})
		}
	}
	callers.Wait()
	require.NotContains(t, s.log.String(), `"ERROR"`)
}
