package natslog

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"

	"seamshare.example/eventstore"
)

// Status asks the leader, see [eventstore.Log]. An error that is none of package
// eventstore's is one of the way there, and worth another try.
func (l *Log) Status(ctx context.Context) (eventstore.LogStatus, error) {
	ctx, cancel := context.WithTimeout(ctx, answerTimeout)
	defer cancel()
	info, err := l.stream.Info(ctx)
	if err != nil {
		return eventstore.LogStatus{}, l.askError("couldn't ask for the state of the log of co-op %q: %w", err)
	}
	return eventstore.LogStatus{
		Created:  info.Created,
		First:    eventstore.Sequence(info.State.FirstSeq),
		Last:     eventstore.Sequence(info.State.LastSeq),
		Messages: info.State.Msgs,
		Bytes:    info.State.Bytes,
		Wrong:    differences(info.Config, l.coop, l.replicas),
	}, nil
}

// Read asks the leader for one message, see [eventstore.Log]. An error that is
// none of package eventstore's is one of the way there, and worth another try.
func (l *Log) Read(ctx context.Context, seq eventstore.Sequence) (eventstore.Message, error) {
	if seq == 0 {
		return eventstore.Message{}, fmt.Errorf("couldn't read commit 0: %w: they count from 1", eventstore.ErrNoMessage)
	}
	ctx, cancel := context.WithTimeout(ctx, answerTimeout)
	defer cancel()
	raw, err := l.stream.GetMsg(ctx, uint64(seq))
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return eventstore.Message{}, fmt.Errorf("couldn't read commit %d: %w", seq, eventstore.ErrNoMessage)
	}
	if err != nil {
		return eventstore.Message{}, l.askError(fmt.Sprintf("couldn't read commit %d of co-op %%q: %%w", seq), err)
	}
	if raw.Sequence != uint64(seq) {
		return eventstore.Message{}, fmt.Errorf("couldn't read commit %d: %w: the log gave %d", seq, eventstore.ErrCorrupt, raw.Sequence)
	}
	m, err := checkedMessage(seq, raw.Header, raw.Data)
	if err != nil {
		return eventstore.Message{}, fmt.Errorf("couldn't read commit %d: %w", seq, err)
	}
	return m, nil
}
