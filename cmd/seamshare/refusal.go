package main

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"seamshare.example/services/fault"
)

// fromStatus turns a server's answer into words; nil where err is no gRPC status.
func fromStatus(err error) *failure {
	st, ok := status.FromError(err)
	if !ok || st.Code() == codes.OK {
		return nil
	}
	f := &failure{Message: st.Message(), Err: err}
	f.Exit, f.Reason, f.Hint = meaning(st.Code())
	for _, detail := range st.Details() {
		switch d := detail.(type) {
		case *errdetails.ErrorInfo:
			f.Reason = d.GetReason()
			if hint := d.GetMetadata()["hint"]; hint != "" {
				f.Hint = hint
			}
			if field := d.GetMetadata()["field"]; field != "" {
				f.Field = field
			}
		case *errdetails.BadRequest:
			for _, v := range d.GetFieldViolations() {
				f.Problems = append(f.Problems, fieldProblem{v.GetField(), v.GetDescription()})
			}
		case *errdetails.RetryInfo:
			f.Hint = fmt.Sprintf("try again in %v", d.GetRetryDelay().AsDuration())
		}
	}
	if st.Code() == codes.PermissionDenied && f.Reason != string(fault.RoleMissing) {
		f.Hint = "" // no role would help: the rule says itself what would
	}
	if f.Reason == string(fault.OutcomeUnknown) {
		f.Exit = exitUnknown
	}
	if len(f.Problems) == 1 {
		only := f.Problems[0]
		if f.Field == "" {
			f.Field = only.Field
		}
		f.Message, f.Problems = only.Message, nil
	}
	return f
}

// meaning gives what a status code means to the caller of a query. A command that was sent is another matter: see
// maybeDone.
func meaning(code codes.Code) (exitCode, string, string) {
	switch code {
	case codes.InvalidArgument, codes.OutOfRange:
		return exitUsage, "WRONG_INPUT", "correct the value and try again"
	case codes.NotFound:
		return exitRefused, "NOT_FOUND", "check the id; what isn't yours can't be told from what doesn't exist"
	case codes.FailedPrecondition, codes.AlreadyExists, codes.Aborted:
		return exitRefused, "REFUSED", ""
	case codes.Unauthenticated:
		return exitNoRight, "NOT_SIGNED_IN", "sign in again: seamshare sign-in --help"
	case codes.PermissionDenied:
		return exitNoRight, "NO_RIGHT", "ask your co-op's registrar for the role"
	case codes.Unavailable:
		return exitUnreachable, "UNAVAILABLE", "check that the node runs and that --server names it"
	case codes.ResourceExhausted:
		return exitUnreachable, "BUSY", "try again a little later"
	case codes.DeadlineExceeded:
		return exitUnreachable, "TOO_SLOW", "try again, or give it more time with --timeout"
	case codes.Canceled:
		return exitUnreachable, "INTERRUPTED", "try again"
	case codes.DataLoss:
		return exitStorage, "STORAGE", "have the node checked: seamshare verify"
	case codes.Unimplemented:
		return exitUsage, "NOT_OFFERED", "the server is of another version than this program"
	}
	return exitUnreachable, "SERVER_FAILED", "try again; if it stays so, tell whoever runs the node"
}

// maybeDone corrects the failure of a command that was sent: where the connection or the time ended first, nobody here
// knows whether it was committed. The same request id makes a repeat safe.
func maybeDone(err error, requestID string) error {
	if _, ours := errors.AsType[*failure](err); ours {
		return err // found out here, before anything was sent
	}
	f := fromStatus(err)
	if f == nil {
		return err
	}
	switch code := status.Code(err); {
	case f.Exit == exitUnknown:
	case code == codes.DeadlineExceeded, code == codes.Canceled, errors.Is(err, context.Canceled):
	case code == codes.Unavailable && f.Reason == "UNAVAILABLE": // not the node's own word: that has a reason of its own
	case f.Reason == string(fault.StorageFailed): // it may have failed after the commit
	case code == codes.Unknown, code == codes.Internal:
	default:
		return f
	}
	f.Exit, f.Reason = exitUnknown, string(fault.OutcomeUnknown)
	f.Message = "it is not known whether this was done: " + f.Message
	f.Hint = "repeat the same command with --request-id " + requestID + "; it is done once, never twice"
	return f
}
