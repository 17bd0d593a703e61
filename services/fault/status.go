package fault

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/rule"
)

// Status turns any error into the one that a caller gets: a gRPC status. Errors
// that are a status already stay as they are; errors that nobody foresaw become
// INTERNAL_ERROR and say nothing. The original stays within reach of errors.As
// for the server's log.
func Status(err error) error {
	if err == nil {
		return nil
	}
	var known *Error
	if errors.As(err, &known) {
		return known
	}
	if e := fromStore(err); e != nil {
		return e.Because(err)
	}
	if e := fromValidation(err); e != nil {
		return e
	}
	if broken, ok := rule.Of(err); ok {
		return fromRules(broken)
	}
	// A status of gRPC's own, such as a broken stream. Its text is gRPC's, not ours.
	if st, ok := status.FromError(err); ok && st.Code() != codes.OK && st.Code() != codes.Unknown {
		return st.Err()
	}
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return New(DeadlineEnded, "%s", DeadlineEnded.About()).Because(err)
	case errors.Is(err, context.Canceled):
		return New(CallerLeft, "%s", CallerLeft.About()).Because(err)
	}
	return Internal().Because(err)
}

// Internal is the answer to a mistake in this program. It says nothing of it.
func Internal() *Error {
	return New(InternalError, "something went wrong inside the server; repeat the call with the same request id, and tell the co-op if it stays")
}

// fromStore knows the event store's errors. The order matters where one wraps
// another: trouble first, then the sentinels, contexts last of all (in Status).
func fromStore(err error) *Error {
	var trouble *eventstore.TroubleError
	switch {
	case errors.As(err, &trouble):
		return New(NodeInTrouble, "the node doesn't answer until somebody has looked: %s (at sequence %d, position %d)", trouble.Reason, trouble.Sequence, trouble.Position).
			With("position", strconv.FormatUint(uint64(trouble.Position), 10)).
			With("sequence", strconv.FormatUint(uint64(trouble.Sequence), 10))
	case errors.Is(err, eventstore.ErrOutcomeUnknown):
		return New(OutcomeUnknown, "%v", eventstore.ErrOutcomeUnknown)
	case errors.Is(err, eventstore.ErrRequestReused):
		e := New(RequestIDReused, "%v; take a new request id", eventstore.ErrRequestReused)
		e.Fields = []Field{{Path: "request_id", Problem: "was used before for another request; take a new one"}}
		return e
	case errors.Is(err, eventstore.ErrTooBig):
		return New(CommandTooBig, "%v; split it into several", eventstore.ErrTooBig)
	case errors.Is(err, eventstore.ErrBusy):
		return New(NodeBusy, "%v; try again in a moment", eventstore.ErrBusy).RetryIn(time.Second)
	case errors.Is(err, eventstore.ErrLowDisk):
		return New(LowDisk, "%v; reads go on, and the co-op's desk has to make room", eventstore.ErrLowDisk).RetryIn(30 * time.Second)
	case errors.Is(err, eventstore.ErrClosed):
		return New(NodeStopping, "%v; try again or on another node", eventstore.ErrClosed).RetryIn(time.Second)
	case errors.Is(err, eventstore.ErrAhead):
		return New(PositionNotThere, "%v in time; try again, or leave min_position out", eventstore.ErrAhead).RetryIn(time.Second)
	case errors.Is(err, eventstore.ErrIO):
		return New(StorageFailed, "%s", StorageFailed.About()).RetryIn(5 * time.Second)
	case errors.Is(err, eventstore.ErrNoSigner):
		return New(NodeNotSigning, "%v", eventstore.ErrNoSigner)
	}
	return nil
}

// fromValidation lists every field that breaks a rule of the protos.
func fromValidation(err error) *Error {
	var broken *protovalidate.ValidationError
	if !errors.As(err, &broken) {
		return nil
	}
	fields := make([]Field, 0, len(broken.Violations))
	for _, v := range broken.Violations {
		f := Field{Path: protovalidate.FieldPathString(v.Proto.GetField()), Problem: v.Proto.GetMessage(), Rule: v.Proto.GetRuleId()}
		f.Problem = problemWords(v, f.Problem)
		if f.Problem == "" {
			f.Problem = fmt.Sprintf("breaks the rule %s", v.Proto.GetRuleId())
		}
		if f.Path == "" { // a rule of the whole message
			f.Path = "request"
		}
		fields = append(fields, f)
	}
	return Invalid(fields...)
}

// fromRules answers with every rule that is broken. The kind that decides gives
// the code, and its first rule the reason.
func fromRules(broken rule.All) *Error {
	first := broken.First()
	e := New(Reason(first.Reason), "%s", broken.Error())
	for _, b := range broken {
		path := b.Field
		if path == "" {
			continue // the message has it; no field is to blame
		}
		b.Field = "" // it stands beside the problem
		e.Fields = append(e.Fields, Field{Path: path, Problem: b.Error(), Rule: string(b.Reason)})
	}
	return e
}

// ruleCode is what the caller of a broken rule can do, in gRPC's terms (AIP-193).
func ruleCode(k rule.Kind) codes.Code {
	switch k {
	case rule.Denied:
		return codes.PermissionDenied
	case rule.Missing:
		return codes.NotFound
	case rule.Changed:
		return codes.Aborted
	case rule.Invalid:
		return codes.InvalidArgument
	case rule.State:
		return codes.FailedPrecondition
	case rule.Taken:
		return codes.AlreadyExists
	}
	return codes.Internal
}
