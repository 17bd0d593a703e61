// Package fault is the one place where errors become answers: each error that
// leaves a service gets a gRPC code, a reason from the catalogue in reasons.go
// and, where fields are wrong, all of them at once (AIP-193).
//
// Handlers return errors of the domain and of the event store as they are; the
// server's interceptor calls Status. A handler that has to refuse by itself
// returns New.
package fault

import (
	"fmt"
	"maps"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"
)

// Domain is the ErrorInfo domain of all reasons.
const Domain = "seamshare"

// Field is one thing wrong in a request: the path of the field as the caller
// wrote it ("lines[2].weighing.mass_ug") and what is wrong and how to mend it.
type Field struct {
	Path    string
	Problem string
	Rule    string // short name of the rule, where it has one
}

// Error is a refusal in words that a caller may read. It is a gRPC status.
type Error struct {
	Reason   Reason
	Message  string
	Fields   []Field
	Metadata map[string]string // stands in ErrorInfo, for programs
	Retry    time.Duration     // when a repeat makes sense; 0: not said
	cause    error
}

// New refuses with the reason's code. The message names the value, the rule and
// what to do; no internals, and nothing of what the caller may not know.
func New(reason Reason, format string, args ...any) *Error {
	return &Error{Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// Invalid refuses for the fields that are wrong.
func Invalid(fields ...Field) *Error {
	e := New(InvalidRequest, "%s", "the request has a field that is wrong")
	if len(fields) == 1 {
		e.Message = fields[0].Path + ": " + fields[0].Problem
	} else if len(fields) > 1 {
		e.Message = fmt.Sprintf("the request has %d fields that are wrong; first %s: %s", len(fields), fields[0].Path, fields[0].Problem)
	}
	e.Fields = fields
	return e
}

// With adds one value for programs.
func (e *Error) With(key, value string) *Error {
	c := *e
	c.Metadata = maps.Clone(e.Metadata)
	if c.Metadata == nil {
		c.Metadata = map[string]string{}
	}
	c.Metadata[key] = value
	return &c
}

// RetryIn says when a repeat makes sense.
func (e *Error) RetryIn(d time.Duration) *Error {
	c := *e
	c.Retry = d
	return &c
}

// Because keeps the cause for the server's own log; callers never see it.
func (e *Error) Because(cause error) *Error {
	c := *e
	c.cause = cause
	return &c
}

func (e *Error) Error() string { return e.Message }

func (e *Error) Unwrap() error { return e.cause }

// Code is the reason's gRPC code.
func (e *Error) Code() codes.Code { return e.Reason.Code() }

// GRPCStatus is the whole answer.
func (e *Error) GRPCStatus() *status.Status {
	st := status.New(e.Code(), e.Message)
	details := []protoadapt.MessageV1{protoadapt.MessageV1Of(&errdetails.ErrorInfo{Reason: string(e.Reason), Domain: Domain, Metadata: e.Metadata})}
	if len(e.Fields) > 0 {
		bad := &errdetails.BadRequest{}
		for _, f := range e.Fields {
			bad.FieldViolations = append(bad.FieldViolations, &errdetails.BadRequest_FieldViolation{
				Field: f.Path, Description: f.Problem, Reason: f.Rule,
			})
		}
		details = append(details, protoadapt.MessageV1Of(bad))
	}
	if e.Retry > 0 {
		details = append(details, protoadapt.MessageV1Of(&errdetails.RetryInfo{RetryDelay: durationpb.New(e.Retry)}))
	}
	full, err := st.WithDetails(details...)
	if err != nil { // details that don't marshal: invalid UTF-8 from a caller
		return st
	}
	return full
}
