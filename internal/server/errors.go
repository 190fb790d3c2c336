package server

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"github.com/mouldwright/mouldwright/internal/bookcase"
	"github.com/mouldwright/mouldwright/internal/estimate"
	"github.com/mouldwright/mouldwright/internal/fault"
)

// domain is whose reasons the reasons in ErrorInfo are.
const domain = "mouldwright"

// Reasons of errors, as callers may rely on them.
const (
	reasonBrief     = "BRIEF_INVALID"
	reasonRequest   = "REQUEST_INVALID"
	reasonLater     = "NOT_RECKONED_YET"
	reasonTooLarge  = "JOB_TOO_LARGE"
	reasonNoBook    = "RATE_BOOK_NOT_FOUND"
	reasonDeadline  = "DEADLINE_EXCEEDED"
	reasonCancelled = "CANCELLED"
	reasonInternal  = "INTERNAL"
	reasonBodySize  = "BODY_TOO_LARGE"
	reasonBody      = "BODY_UNREADABLE"
	reasonType      = "CONTENT_TYPE_UNSUPPORTED"
	reasonNoPath    = "PATH_NOT_FOUND"
	reasonVerb      = "VERB_NOT_ALLOWED"
	reasonNoMethod  = "RPC_NOT_FOUND"
	reasonTooBusy   = "TOO_BUSY"
	reasonHost      = "HOST_NOT_LOCAL"
	reasonMesh      = "MESH_UNREADABLE"
	reasonNoMesh    = "MESH_NOT_FOUND"
	reasonMeshTaken = "MESH_NAME_TAKEN"
	reasonMeshRoom  = "MESH_STORE_FULL"
	reasonNoKey     = "KEY_MISSING"
	reasonBadKey    = "KEY_REFUSED"
	reasonForbidden = "NOT_ALLOWED"
	reasonTooOften  = "TOO_OFTEN"
	reasonNoPartner = "PARTNER_NOT_FOUND"
	reasonTerms     = "PARTNER_TERMS_UNFIT"
	reasonAbsent    = "NOT_FOUND"
	reasonStale     = "ETAG_STALE"
	reasonTaken     = "NAME_TAKEN"
	reasonInFlight  = "REQUEST_IN_FLIGHT"
	reasonOtherBody = "REQUEST_ID_USED"
	reasonStore     = "STORE_UNAVAILABLE"
	reasonDamaged   = "DAMAGED"
	reasonState     = "QUOTE_STATE"
	reasonRecompute = "NOT_TO_BE_RECOMPUTED"
	reasonLapsed    = "QUOTE_LAPSED"
)

// Reasons of a single fault.
const (
	faultForm    = "MALFORMED"     // the contract has no such field or value
	faultLimit   = "OUT_OF_LIMITS" // the contract's limits
	faultMeaning = "UNFIT"         // does not fit the rest of the request, or the rate book
	faultLater   = reasonLater     // sound, but not reckoned yet
)

// violations is everything wrong with a request.
type violations struct {
	faults  fault.List
	reasons map[string]string // of each path's fault
}

func (v *violations) Error() string { return v.faults.Error() }

// mostViolations bounds what one answer lists: it travels in headers.
const mostViolations = 100

// problem is an error as a caller sees it.
type problem struct {
	code     codes.Code
	reason   string
	message  string
	http     int // where HTTP has a better answer than the code's own
	metadata map[string]string
	cause    error         // for the log only
	retry    time.Duration // after which it may go better; 0 for never
	faults   []*errdetails.BadRequest_FieldViolation
}

func (p *problem) Error() string { return p.message }

// problemOf turns any error of this service into what a caller sees of it. It is
// the only place that does.
func problemOf(err error) *problem {
	var (
		known   *problem
		bad     *violations
		faults  fault.List
		later   estimate.LaterError
		missing *bookcase.MissingError
	)
	switch {
	case errors.As(err, &known):
		return known
	case errors.Is(err, estimate.ErrTooLarge):
		return &problem{
			code: codes.InvalidArgument, reason: reasonTooLarge, message: err.Error(),
			faults: listed(fault.List{{Path: briefField + ".pieces", Message: err.Error()}}, nil),
		}
	case errors.As(err, &bad):
		return invalid(bad.faults, bad.reasons)
	case errors.As(err, &later):
		return &problem{code: codes.Unimplemented, reason: reasonLater, message: summary(later.Faults), faults: listed(later.Faults, allLater(later.Faults))}
	case errors.As(err, &faults):
		return invalid(faults, nil)
	case errors.As(err, &missing):
		return &problem{code: codes.NotFound, reason: reasonNoBook, message: missing.Error()}
	case errors.Is(err, context.DeadlineExceeded):
		return &problem{code: codes.DeadlineExceeded, reason: reasonDeadline, message: "the answer took longer than the time allowed"}
	case errors.Is(err, context.Canceled):
		return &problem{code: codes.Canceled, reason: reasonCancelled, message: "the caller went away"}
	}
	if p := keptProblem(err); p != nil {
		return p
	}
	if p := accessProblem(err); p != nil {
		return p
	}
	return foreign(err)
}

func allLater(faults fault.List) map[string]string {
	reasons := make(map[string]string, len(faults))
	for _, f := range faults {
		reasons[f.Path] = faultLater
	}
	return reasons
}

func invalid(faults fault.List, reasons map[string]string) *problem {
	p := &problem{code: codes.InvalidArgument, reason: reasonRequest, message: summary(faults), faults: listed(faults, reasons)}
	for _, f := range faults {
		if isUnder(f.Path, briefField) {
			p.reason = reasonBrief
		}
	}
	return p
}

// foreign is an error of the libraries: a status of a caller's making, or one
// that nobody foresaw, of which nothing is told.
func foreign(err error) *problem {
	st, ok := status.FromError(err)
	switch {
	case !ok, st.Code() == codes.Unknown, st.Code() == codes.Internal, st.Code() == codes.DataLoss:
		return &problem{code: codes.Internal, reason: reasonInternal, message: "internal error"}
	case st.Code() == codes.Unimplemented:
		return &problem{code: st.Code(), reason: reasonNoMethod, message: st.Message()}
	default:
		return &problem{code: st.Code(), reason: reasonRequest, message: st.Message()}
	}
}

// summary names the number of faults and the first.
func summary(faults fault.List) string {
	first := strings.TrimPrefix(faults[0].Path+": "+faults[0].Message, ": ")
	switch n := len(faults); {
	case n == 1:
		return first
	case n > mostViolations:
		return fmt.Sprintf("more than %d faults, of which the first %d are listed; the first: %s", mostViolations, mostViolations, first)
	default:
		return fmt.Sprintf("%d faults; the first: %s", n, first)
	}
}

func listed(faults fault.List, reasons map[string]string) []*errdetails.BadRequest_FieldViolation {
	out := make([]*errdetails.BadRequest_FieldViolation, 0, min(len(faults), mostViolations))
	for _, f := range faults[:min(len(faults), mostViolations)] {
		reason, ok := reasons[f.Path]
		if !ok {
			reason = faultMeaning
		}
		out = append(out, &errdetails.BadRequest_FieldViolation{Field: f.Path, Description: f.Message, Reason: reason})
	}
	return out
}

// status writes the problem as google.rpc.Status, with the request's id.
func (p *problem) status(id string) *status.Status {
	info := &errdetails.ErrorInfo{Reason: p.reason, Domain: domain, Metadata: map[string]string{"requestId": id}}
	maps.Copy(info.Metadata, p.metadata)
	details := []protoadapt.MessageV1{info}
	if len(p.faults) > 0 {
		details = append(details, &errdetails.BadRequest{FieldViolations: p.faults})
	}
	if p.retry > 0 {
		details = append(details, &errdetails.RetryInfo{RetryDelay: durationpb.New(p.retry)})
	}
	plain := status.New(p.code, p.message)
	if full, err := plain.WithDetails(details...); err == nil {
		return full
	}
	return plain // a detail that cannot be written: a string of ours that is not UTF-8
}

// httpStatus is the problem's status at the REST door.
func (p *problem) httpStatus() int {
	if p.http != 0 {
		return p.http
	}
	return runtime.HTTPStatusFromCode(p.code)
}

// answered is an error in the form that a caller gets it in; its cause is for
// the log only.
type answered struct {
	*problem
	full  *status.Status
	cause error
}

// answer gives an error the form that a caller gets it in.
func answer(err error, id string) *answered {
	var done *answered
	if errors.As(err, &done) {
		return done
	}
	p := problemOf(err)
	return &answered{problem: p, full: p.status(id), cause: err}
}

// GRPCStatus is how grpc asks an error for its status.
func (a *answered) GRPCStatus() *status.Status { return a.full }

// Unwrap gives the log the cause.
func (a *answered) Unwrap() error { return a.cause }

func bodyTooLarge(limit int64) *problem {
	return &problem{
		code: codes.InvalidArgument, http: http.StatusRequestEntityTooLarge, reason: reasonBodySize,
		message:  fmt.Sprintf("the body is larger than %d bytes (%.4g MiB)", limit, float64(limit)/(1<<20)),
		metadata: map[string]string{"limitBytes": strconv.FormatInt(limit, 10)},
	}
}
