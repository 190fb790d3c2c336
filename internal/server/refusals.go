package server

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"google.golang.org/grpc/codes"

	"github.com/mouldwright/mouldwright/internal/access"
	"github.com/mouldwright/mouldwright/internal/life"
	"github.com/mouldwright/mouldwright/internal/store"
)

// keptProblem is what a caller sees of an error of what is kept; nil for another error.
func keptProblem(err error) *problem {
	var refused life.Refused
	switch {
	case errors.As(err, &refused):
		return stateProblem(refused)
	case errors.Is(err, life.ErrTooOften):
		return &problem{code: codes.FailedPrecondition, reason: reasonState, message: err.Error()}
	case errors.Is(err, life.ErrPastDay), errors.Is(err, life.ErrNoDay):
		return &problem{code: codes.FailedPrecondition, reason: reasonLapsed, message: "the draft's last valid day is past; revise it, which prices it on today's day"}
	case errors.Is(err, life.ErrNumber):
		return &problem{code: codes.NotFound, reason: reasonAbsent, message: err.Error()}
	case errors.Is(err, store.ErrDamaged):
		return &problem{code: codes.DataLoss, reason: reasonDamaged, cause: err, message: "what is kept of this is damaged, and is not shown; a backup may have it whole"}
	case errors.Is(err, store.ErrUnavailable):
		return &problem{
			code: codes.Unavailable, reason: reasonStore, retry: time.Second, cause: err,
			message: "what is kept cannot be reached or written at the moment; a write that is sent again with the same requestId is kept once",
		}
	case errors.Is(err, store.ErrNotFound):
		return &problem{code: codes.NotFound, reason: reasonAbsent, message: err.Error()}
	case errors.Is(err, store.ErrStale):
		return &problem{code: codes.Aborted, reason: reasonStale, message: err.Error() + "; read it again, and send the etag that it has then"}
	case errors.Is(err, store.ErrTaken):
		return &problem{code: codes.AlreadyExists, reason: reasonTaken, message: err.Error()}
	case errors.Is(err, store.ErrInFlight):
		return &problem{code: codes.Aborted, reason: reasonInFlight, retry: time.Second, message: "the request of this requestId is being worked on; send it again a little later"}
	case errors.Is(err, store.ErrOtherBody):
		return &problem{code: codes.AlreadyExists, reason: reasonOtherBody, message: "the requestId came before with another request; allowed: one for each request"}
	case errors.Is(err, store.ErrUnfit):
		return &problem{code: codes.InvalidArgument, reason: reasonRequest, message: err.Error()}
	default:
		return nil
	}
}

// stateProblem says what may be done instead.
func stateProblem(r life.Refused) *problem {
	var may []string
	for _, act := range r.Allowed {
		if act != life.Expiring { // nobody's to do
			may = append(may, string(act))
		}
	}
	allowed := strings.Join(may, ", ")
	if allowed == "" {
		allowed = "nothing"
	}
	return &problem{
		code: codes.FailedPrecondition, reason: reasonState,
		message:  fmt.Sprintf("cannot %s a quote that is %s; allowed: %s", r.Wanted, r.State, allowed),
		metadata: map[string]string{"state": string(r.State), "allowed": allowed},
	}
}

// accessProblem is what a caller sees of being shut out; nil for another error. It does not
// say what is wrong with a key.
func accessProblem(err error) *problem {
	var forbidden access.Forbidden
	switch {
	case errors.Is(err, access.ErrNoKey):
		return &problem{code: codes.Unauthenticated, http: http.StatusUnauthorized, reason: reasonNoKey, message: "this needs a key, sent as Authorization: Bearer and the key"}
	case errors.Is(err, access.ErrBadKey):
		return &problem{code: codes.Unauthenticated, http: http.StatusUnauthorized, reason: reasonBadKey, message: "the key opens nothing here", cause: fmt.Errorf("%w: %s", err, access.Reason(err))}
	case errors.As(err, &forbidden):
		return &problem{code: codes.PermissionDenied, reason: reasonForbidden, message: forbidden.Error()}
	default:
		return nil
	}
}
