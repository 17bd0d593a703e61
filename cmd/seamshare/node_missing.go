package main

import (
	"context"
	"errors"
	"fmt"

	"seamshare.example/eventstore"
	"seamshare.example/eventstore/natslog"
)

// openLog opens the log. Where there is none, it gives one that says so to
// everybody: the node then comes up in trouble, tells what is wrong and shows
// what its store holds, until somebody has looked.
func openLog(ctx context.Context, cfg natslog.Config) (eventstore.Log, error) {
	log, err := natslog.Open(ctx, cfg)
	switch {
	case errors.Is(err, eventstore.ErrNoLog):
		return missingLog{err}, nil
	case err != nil:
		return nil, fmt.Errorf("couldn't open the log: %w", err)
	}
	return log, nil
}

// missingLog stands where a log should: err is the answer to all questions.
type missingLog struct{ err error }

func (m missingLog) Publish(context.Context, eventstore.Sequence, eventstore.CommitID, []byte) error {
	return m.err
}

func (m missingLog) Status(context.Context) (eventstore.LogStatus, error) {
	return eventstore.LogStatus{}, m.err
}

func (m missingLog) Read(context.Context, eventstore.Sequence) (eventstore.Message, error) {
	return eventstore.Message{}, m.err
}

func (m missingLog) Follow(context.Context, eventstore.Sequence) (eventstore.Follower, error) {
	return nil, m.err
}

func (m missingLog) Exclusive() bool { return true }
func (m missingLog) Close() error    { return nil }
