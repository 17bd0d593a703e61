package eventstore

import (
	"errors"
	"fmt"
)

// What Decide and Query may answer besides a decision's own refusal.
var (
	// ErrOutcomeUnknown: the caller's time ended while the command was being
	// written. It may have happened; the same request id again tells.
	ErrOutcomeUnknown = errors.New("the outcome is not known yet: repeat with the same request id")
	// ErrRequestReused: the request id was used before for something else.
	ErrRequestReused = errors.New("this request id was used before for another request")
	// ErrRequest: the request's envelope can't be stored.
	ErrRequest = errors.New("the request is not well formed")
	// ErrTooBig: the decision records more than one decision may.
	ErrTooBig = errors.New("the command records more than one command may")
	// ErrBusy: too many commands wait.
	ErrBusy = errors.New("too many commands are waiting")
	// ErrLowDisk: free space is below the minimum, so nothing is written.
	ErrLowDisk = errors.New("disk space is low, so nothing is written")
	// ErrClosed: the node is stopping.
	ErrClosed = errors.New("the node is stopping")
	// ErrNoSigner: another node of the co-op signs, not this one.
	ErrNoSigner = errors.New("this node does not sign; ask the one that does")
	// ErrAhead: the wanted position lies beyond what this node has, and did not
	// come in time.
	ErrAhead = errors.New("this node has not reached the wanted position")
)

// TroubleError: the node found something that is not as it must be, and neither
// reads nor writes until somebody has looked.
type TroubleError struct {
	Reason   string // what is wrong, in one sentence that any caller may read
	Sequence Sequence
	Position Position // where, as far as it is known
	Err      error
}

// Error says all that is known, for those who run the node.
func (e *TroubleError) Error() string {
	s := fmt.Sprintf("%s (at sequence %d, position %d)", e.Reason, e.Sequence, e.Position)
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s
}

func (e *TroubleError) Unwrap() error { return e.Err }
