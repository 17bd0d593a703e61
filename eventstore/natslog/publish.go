package natslog

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"seamshare.example/eventstore"
)

// Why a publish was given up before an answer came.
var (
	errNoAnswer = fmt.Errorf("no answer within %s", answerTimeout)
	errLinkLost = errors.New("the connection was lost before the answer came")
)

// Publish stores data as message expected+1, see [eventstore.Log]. Besides the
// errors named there it returns ErrNoSpace and ErrRefused, where nothing was
// stored, and [eventstore.ErrCorrupt] where the log acknowledged another
// sequence than it was asked for.
//
// While the connection is down the message waits for it. A publish that returned
// ErrUnknown may still be on its way then, and land later.
func (l *Log) Publish(ctx context.Context, expected eventstore.Sequence, id eventstore.CommitID, data []byte) error {
	ack, err := l.publish(ctx, expected, id, data)
	if err == nil {
		err = checkAck(ack, expected+1)
	}
	if err != nil {
		return fmt.Errorf("couldn't publish commit %d: %w", expected+1, err)
	}
	return nil
}

func (l *Log) publish(ctx context.Context, expected eventstore.Sequence, id eventstore.CommitID, data []byte) (*jetstream.PubAck, error) {
	if l.hasFailed() {
		return nil, l.failure
	}
	ctx, cancel := context.WithTimeoutCause(ctx, answerTimeout, errNoAnswer)
	defer cancel()
	ctx, giveUp := context.WithCancelCause(ctx)
	defer giveUp(nil)
	lost, answered := l.link.lost(), make(chan struct{})
	go func() {
		select {
		case <-lost:
			giveUp(errLinkLost)
		case <-l.failed:
			giveUp(l.failure)
		case <-answered:
		}
	}()

	ack, err := l.js.PublishMsg(ctx, newMessage(l.coop, data),
		jetstream.WithMsgID(hex.EncodeToString(id[:])),
		jetstream.WithExpectStream(streamName(l.coop)),
		jetstream.WithExpectLastSequence(uint64(expected)))
	close(answered)
	if err == nil {
		return ack, nil
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		err = context.Cause(ctx)
	}
	err = classify(err)
	if errors.Is(err, eventstore.ErrUnknown) && l.checkStorage() {
		return nil, l.failure
	}
	// Nobody listens on the subject: is the stream away, or only its leader?
	if errors.Is(err, jetstream.ErrNoStreamResponse) {
		if _, asked := l.js.Stream(ctx, streamName(l.coop)); errors.Is(asked, jetstream.ErrStreamNotFound) {
			err = fmt.Errorf("%w: the server has no stream %q", eventstore.ErrNoLog, streamName(l.coop))
		}
	}
	return nil, err
}

// checkAck reads an acknowledgement. A duplicate at the wanted place is an
// earlier try of the same commit, and stored. One elsewhere is a commit that
// stands there already, so this call stored nothing.
func checkAck(ack *jetstream.PubAck, want eventstore.Sequence) error {
	got := eventstore.Sequence(ack.Sequence)
	switch {
	case got == want:
		return nil
	case ack.Duplicate:
		return fmt.Errorf("%w: the same commit stands at %d", eventstore.ErrConflict, got)
	default:
		return fmt.Errorf("%w: the log put it at %d", eventstore.ErrCorrupt, got)
	}
}

// The server's error codes that a publish can meet and that tell what became of
// the message, from errors.json of nats-server 2.15.2.
const (
	codeWrongLastSequence         = jetstream.JSErrCodeStreamWrongLastSequence         // 10071
	codeWrongLastSequenceConstant = jetstream.JSErrCodeStreamWrongLastSequenceConstant // 10164

	codeStreamNotFound = jetstream.JSErrCodeStreamNotFound // 10059

	codeAccountResourcesExceeded jetstream.ErrorCode = 10002 // the account's storage limit
	codeInsufficientResources    jetstream.ErrorCode = 10023 // the server's storage limit
	codeStorageResources         jetstream.ErrorCode = 10047
	codeMaxStreamBytes           jetstream.ErrorCode = 10122

	codeMessageTooLarge                     = jetstream.JSErrCodeStreamMessageExceedsMaximum // 10054
	codeStreamNotMatch  jetstream.ErrorCode = 10060                                          // the subject belongs to another stream
	codeHeaderTooLarge  jetstream.ErrorCode = 10097
	codeStreamSealed    jetstream.ErrorCode = 10109

	codeStoreFailed jetstream.ErrorCode = 10077
)

// classify gives the error of a publish its meaning. What isn't known to mean
// "not stored" is unknown, and that includes
//
//   - 10008, 10009, 10118, 10194 (cluster not available, not the leader, stream
//     offline), 10063 (replicas disagree), 10158 (the same id is in flight), 10167
//     (too many requests): a repeat will tell;
//   - 10039, 10076 (JetStream not enabled): a server that starts or ends;
//   - timeouts, a lost or closed connection, nobody listening;
//   - refused permissions, which the server doesn't answer at all.
func classify(err error) error {
	if errors.Is(err, eventstore.ErrIO) {
		return err
	}
	if errors.Is(err, nats.ErrMaxPayload) {
		return fmt.Errorf("%w: %w", eventstore.ErrRefused, err)
	}
	var api *jetstream.APIError
	if !errors.As(err, &api) {
		return fmt.Errorf("%w: %w", eventstore.ErrUnknown, err)
	}
	meaning := eventstore.ErrUnknown
	switch api.ErrorCode {
	case codeWrongLastSequence, codeWrongLastSequenceConstant:
		meaning = eventstore.ErrConflict
	case codeStreamNotFound:
		meaning = eventstore.ErrNoLog
	case codeAccountResourcesExceeded, codeInsufficientResources, codeStorageResources, codeMaxStreamBytes:
		meaning = eventstore.ErrNoSpace
	case codeMessageTooLarge, codeStreamNotMatch, codeHeaderTooLarge, codeStreamSealed:
		meaning = eventstore.ErrRefused
	case codeStoreFailed:
		// The server answers so where its store is closed or has a limit that
		// it must not have. A failed write it doesn't answer: see watchServer.
		meaning = eventstore.ErrIO
	}
	return fmt.Errorf("%w: %w", meaning, api)
}
