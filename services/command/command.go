// Package command runs one command of a service: it re-checks the caller at the tip of
// the log, lets the decision record what happens to things, and answers with the
// thing as it stood right after, also where the command is a repeat.
package command

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	"github.com/oklog/ulid/v2"
	"google.golang.org/protobuf/proto"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
)

// newer makes ids of one millisecond count upwards, so that lists sorted by id are in
// the order in which one node made them.
var newer = ulid.LockedMonotonicReader{MonotonicReader: ulid.Monotonic(rand.Reader, 0)}

// NewID makes an id: a lower-case ULID. Ids are made outside the decision, which may
// run more than once.
func NewID() string {
	return strings.ToLower(ulid.MustNew(ulid.Now(), &newer).String())
}

// Request is what every mutation's request has.
type Request interface {
	proto.Message
	GetRequestId() string
	GetMinPosition() uint64
}

// Thing is one thing inside a decision: its state follows what is recorded.
type Thing[S any] struct {
	ID      string
	State   S
	Version uint64

	tx   *eventstore.Tx
	kind eventstore.Kind[S]
}

// Open loads a thing at the tip. Within one decision each thing is opened once: what is recorded through one Thing, another
// doesn't show.
func Open[S any](tx *eventstore.Tx, kind eventstore.Kind[S], id string) (*Thing[S], error) {
	state, version, err := eventstore.Load(tx, kind, id)
	if err != nil {
		return nil, fmt.Errorf("couldn't load %s %s: %w", kind.Name, id, err)
	}
	return &Thing[S]{ID: id, State: state, Version: version, tx: tx, kind: kind}, nil
}

// Record makes an event the thing's next record.
func (t *Thing[S]) Record(event proto.Message, options ...eventstore.RecordOption) {
	t.tx.Record(t.kind.Stream(t.ID), event, options...)
	t.State, t.Version, _ = eventstore.Load(t.tx, t.kind, t.ID) // it was loaded before, so that nothing needs to be read
}

// Did is what a command left.
type Did[S any] struct {
	ID       string
	State    S // right after the command, whatever happened since
	Version  uint64
	At       time.Time // the moment of the decision
	Position eventstore.Position
	// Made are the other ids that the decision gave to Tx.Made.
	Made []string
	// Repeated: the command was done before, and what the decision came upon this time
	// says nothing of it.
	Repeated bool
}

// Run decides and answers with the thing that decide returns. decide may run more
// than once; it must be quick and take nothing from outside but its own request. A
// repeat of a request answers from the first outcome.
func Run[S any](ctx context.Context, node *eventstore.Node, req Request, kind eventstore.Kind[S], decide func(*eventstore.Tx) (*Thing[S], error)) (Did[S], error) {
	who := access.Caller(ctx)
	var thing *Thing[S]
	var at time.Time
	outcome, err := node.Decide(ctx, access.Request(ctx, req), func(tx *eventstore.Tx) (err error) {
		if err := access.Recheck(tx, who); err != nil {
			return err
		}
		if thing, err = decide(tx); err != nil {
			return err
		}
		// Last, so that a decision's own ids keep their order.
		tx.Made(thing.ID)
		at = tx.Now()
		return nil
	})
	if err != nil {
		return Did[S]{}, err
	}
	var did Did[S]
	if outcome.Repeated {
		if did, err = again(ctx, node, kind, outcome); err != nil {
			return Did[S]{}, err
		}
	} else {
		did = Did[S]{ID: thing.ID, State: thing.State, Version: thing.Version, At: at}
	}
	did.Position, did.Repeated = outcome.Last, outcome.Repeated
	did.Made = outcome.IDs[:len(outcome.IDs)-1]
	return did, nil
}

// again is what the first run of the command left.
func again[S any](ctx context.Context, node *eventstore.Node, kind eventstore.Kind[S], outcome eventstore.Outcome) (did Did[S], err error) {
	q, err := node.Query(ctx, outcome.Last)
	if err != nil {
		return did, err
	}
	defer q.Close()
	did.ID = outcome.IDs[len(outcome.IDs)-1]
	if did.State, did.Version, err = eventstore.LoadAt(q, kind, did.ID, outcome.Last); err != nil {
		return did, fmt.Errorf("couldn't load %s %s as it was at position %d: %w", kind.Name, did.ID, outcome.Last, err)
	}
	r, err := q.RecordAt(outcome.Last)
	if err != nil {
		return did, fmt.Errorf("couldn't read the record at position %d: %w", outcome.Last, err)
	}
	did.At = r.DecidedAt
	return did, nil
}
