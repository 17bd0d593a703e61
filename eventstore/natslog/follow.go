package natslog

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"seamshare.example/eventstore"
)

const (
	// How much a follower asks for at once: enough to keep the server busy,
	// and at most about twice prefetchBytes in memory.
	prefetchMessages = 4096
	prefetchBytes    = 8 << 20
	// The server says every heartbeat that it is there. After two that are
	// missing, the follower begins again.
	pullHeartbeat = 2 * time.Second
	pullExpiry    = 30 * time.Second
	// A consumer that nobody reads goes after idleConsumer.
	idleConsumer = time.Minute
	// beginTimeout bounds one try to begin. It may be short: another follows.
	beginTimeout = 5 * time.Second
	// A follower that can't get through waits retryMin, doubled each time up to
	// retryMax.
	retryMin = 50 * time.Millisecond
	retryMax = 2 * time.Second
)

// follower reads the stream through short-lived pull consumers without
// acknowledgements. When one fails in any way it is dropped, and a new one begins
// after the last message delivered: healing is the way it starts.
type follower struct {
	log  *Log
	done chan struct{} // closed by Close

	// These belong to the goroutine that calls Next.
	last    eventstore.Sequence // the last one delivered, or the one to begin after
	retries int                 // since the last message
	broken  error               // what ended the follower for good

	mu     sync.Mutex
	closed bool  // under mu
	feed   *feed // under mu; nil between two consumers
}

// feed is one consumer and what was read from it.
type feed struct {
	consumer  string
	messages  jetstream.MessagesContext
	delivered uint64 // by the consumer's own count; only Next's goroutine
}

// Follow delivers every message after the given one, see [eventstore.Log]. It
// waits for the connection until ctx ends. Next returns, and goes on returning,
//
//   - [eventstore.ErrCorrupt] for a message that is not as it was published, for
//     a gap, and for a log that ends before the last message delivered or was
//     made anew;
//   - [eventstore.ErrNoLog] where the log is no more;
//   - ErrClosed after Close of the follower or the log.
func (l *Log) Follow(ctx context.Context, after eventstore.Sequence) (eventstore.Follower, error) {
	f := &follower{log: l, last: after, done: make(chan struct{})}
	l.mu.Lock()
	if l.closed {
		l.mu.Unlock()
		return nil, fmt.Errorf("couldn't follow the log of co-op %q: %w", l.coop, ErrClosed)
	}
	l.followers[f] = struct{}{}
	l.mu.Unlock()
	if _, err := f.current(ctx); err != nil {
		f.Close()
		return nil, f.wrap(err)
	}
	return f, nil
}

// Next waits for the next message until ctx ends.
func (f *follower) Next(ctx context.Context) (eventstore.Message, error) {
	if f.broken != nil {
		return eventstore.Message{}, f.wrap(f.broken)
	}
	m, err := f.next(ctx)
	if err != nil {
		if errors.Is(err, eventstore.ErrCorrupt) || errors.Is(err, eventstore.ErrNoLog) || errors.Is(err, ErrClosed) {
			f.broken = err
		}
		return eventstore.Message{}, f.wrap(err)
	}
	f.last = m.Sequence
	f.retries = 0
	return m, nil
}

func (f *follower) wrap(err error) error {
	return fmt.Errorf("couldn't follow the log of co-op %q after commit %d: %w", f.log.coop, f.last, err)
}

// next returns what follows f.last, over as many consumers as it takes.
func (f *follower) next(ctx context.Context) (eventstore.Message, error) {
	for {
		if err := ctx.Err(); err != nil {
			return eventstore.Message{}, err
		}
		feed, err := f.current(ctx)
		if err != nil {
			return eventstore.Message{}, err
		}
		msg, err := feed.messages.Next(jetstream.NextContext(ctx))
		if err != nil {
			// A failed consumer and an ended context may come together; the
			// loop's head tells them apart.
			if ctx.Err() == nil {
				f.drop(feed)
			}
			continue
		}
		at, err := msg.Metadata()
		if err != nil {
			return eventstore.Message{}, fmt.Errorf("%w: a message has no place in the log: %w", eventstore.ErrCorrupt, err)
		}
		if at.Sequence.Consumer != feed.delivered+1 {
			// Messages were lost on the way here: ask for them again.
			f.drop(feed)
			continue
		}
		feed.delivered++
		seq := eventstore.Sequence(at.Sequence.Stream)
		if seq != f.last+1 {
			return eventstore.Message{}, gapError(f.last, seq)
		}
		return checkedMessage(seq, msg.Headers(), msg.Data())
	}
}

func gapError(last, next eventstore.Sequence) error {
	return fmt.Errorf("%w: gap in the log: commit %d is followed by %d", eventstore.ErrCorrupt, last, next)
}

// current returns the feed that is there, or a new one when the connection and
// the server allow it.
func (f *follower) current(ctx context.Context) (*feed, error) {
	for {
		f.mu.Lock()
		feed, closed := f.feed, f.closed
		f.mu.Unlock()
		if closed {
			return nil, ErrClosed
		}
		if feed != nil {
			return feed, nil
		}
		if err := f.pause(ctx); err != nil {
			return nil, err
		}
		if err := f.log.link.wait(ctx, f.done); err != nil {
			return nil, err
		}
		feed, err := f.begin(ctx)
		switch {
		case err == nil:
			if f.adopt(feed) {
				return feed, nil
			}
		case errors.Is(err, eventstore.ErrCorrupt), errors.Is(err, eventstore.ErrNoLog):
			return nil, err
		case ctx.Err() != nil:
			return nil, ctx.Err()
		default:
			f.retries++
			f.log.logger.Warn("couldn't begin to follow the log, trying again", "coop", f.log.coop, "after", f.last, "error", err)
		}
	}
}

// pause waits before a retry, longer each time.
func (f *follower) pause(ctx context.Context) error {
	if f.retries == 0 {
		return nil
	}
	timer := time.NewTimer(min(retryMin<<min(f.retries-1, 10), retryMax))
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-f.done:
		return ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	}
}

// begin makes a consumer that starts after f.last, if the log still has what was
// delivered: a consumer asked for a place past the end would just wait, while
// other commits take the places of lost ones.
func (f *follower) begin(ctx context.Context) (*feed, error) {
	l := f.log
	ctx, cancel := context.WithTimeout(ctx, beginTimeout)
	defer cancel()
	info, err := l.stream.Info(ctx)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return nil, fmt.Errorf("%w: the server has no stream %q", eventstore.ErrNoLog, streamName(l.coop))
	}
	if err != nil {
		return nil, fmt.Errorf("couldn't ask for the state of the log: %w", err)
	}
	first, end := eventstore.Sequence(info.State.FirstSeq), eventstore.Sequence(info.State.LastSeq)
	switch {
	case !info.Created.Equal(l.created):
		return nil, fmt.Errorf("%w: the log opened was made at %s, this one at %s", eventstore.ErrCorrupt,
			l.created.UTC().Format(time.RFC3339Nano), info.Created.UTC().Format(time.RFC3339Nano))
	case end < f.last:
		return nil, fmt.Errorf("%w: the log ends at commit %d, but %d was there before", eventstore.ErrCorrupt, end, f.last)
	case first > f.last+1:
		return nil, gapError(f.last, first)
	}
	consumer, err := l.js.CreateConsumer(ctx, streamName(l.coop), jetstream.ConsumerConfig{
		DeliverPolicy:     jetstream.DeliverByStartSequencePolicy,
		OptStartSeq:       uint64(f.last) + 1,
		AckPolicy:         jetstream.AckNonePolicy,
		InactiveThreshold: idleConsumer,
		MemoryStorage:     true,
		Replicas:          1,
	})
	if err != nil {
		return nil, fmt.Errorf("couldn't make a consumer: %w", err)
	}
	messages, err := consumer.Messages(
		jetstream.PullMaxMessagesWithBytesLimit(prefetchMessages, prefetchBytes),
		jetstream.PullExpiry(pullExpiry),
		jetstream.PullHeartbeat(pullHeartbeat),
		jetstream.WithMessagesErrOnMissingHeartbeat(true))
	if err != nil {
		return nil, fmt.Errorf("couldn't read from a consumer: %w", err)
	}
	return &feed{consumer: consumer.CachedInfo().Name, messages: messages}, nil
}

// adopt makes a new feed the current one, unless Close came first.
func (f *follower) adopt(feed *feed) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.closed {
		feed.messages.Stop()
		return false
	}
	f.feed = feed
	return true
}

// drop ends a feed that failed. Its consumer may be out of reach: the server
// forgets it by itself.
func (f *follower) drop(feed *feed) {
	f.retries++
	f.mu.Lock()
	defer f.mu.Unlock()
	feed.messages.Stop()
	if f.feed == feed {
		f.feed = nil
	}
}

// interrupt makes Next begin anew. What it had asked for before the connection
// was lost may be gone with the server.
func (f *follower) interrupt() {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.feed != nil {
		f.feed.messages.Stop()
	}
}

func (l *Log) interruptFollowers() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for f := range l.followers {
		f.interrupt()
	}
}

// Close ends the follower, also from another goroutine: a waiting Next returns.
func (f *follower) Close() {
	f.mu.Lock()
	if f.closed {
		f.mu.Unlock()
		return
	}
	f.closed = true
	close(f.done)
	feed := f.feed
	f.feed = nil
	f.mu.Unlock()

	f.log.mu.Lock()
	delete(f.log.followers, f)
	f.log.mu.Unlock()

	if feed == nil {
		return
	}
	feed.messages.Stop()
	if f.log.link.isUp() {
		// A courtesy: the server would forget the consumer after idleConsumer.
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		_ = f.log.js.DeleteConsumer(ctx, streamName(f.log.coop), feed.consumer)
	}
}
