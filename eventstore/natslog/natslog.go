// Package natslog keeps the log of a co-operative in one JetStream stream: one
// message is one commit, and the stream's sequence is the log's. It implements
// [eventstore.Log] and [eventstore.Follower] over a server inside this process
// ([StartServer]) or one somewhere else ([Config.URL]), and is the only package
// that knows of NATS.
//
// The stream is made once, by [Create]. [Open] never makes one: a stream that
// can't be found may be one whose files are damaged, and a new one in its place
// would count from 1 again.
package natslog

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"regexp"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"seamshare.example/eventstore"
)

// Errors of this package, beside those of package eventstore.
var (
	// ErrExists: Create found a log of that co-operative.
	ErrExists = errors.New("the log exists already")
	// ErrClosed: the log or the follower was closed by its owner.
	ErrClosed = errors.New("closed")
)

const (
	// answerTimeout bounds each question to the server, also where the caller
	// would wait longer: a cluster without a leader doesn't answer at all, and
	// the next try may find one. Disks stall for seconds while they still work,
	// so it must not be short.
	answerTimeout = 15 * time.Second
	// creationKey is the metadata key that makes each created stream unlike
	// any other, see Create.
	creationKey = "seamshare-creation"
)

// coopID is what a co-op id may be before it reaches a subject or a file name.
var coopID = regexp.MustCompile(`^[a-z0-9_-]{1,64}$`)

// streamName and subject are where the log of a co-op lives.
func streamName(coop string) string { return "seamshare-" + coop }
func subject(coop string) string    { return "seamshare." + coop + ".log" }

// Log is the log of one co-op. It implements [eventstore.Log].
type Log struct {
	coop     string
	replicas int
	server   *Server // nil where the server is another process
	logger   *slog.Logger

	conn *nats.Conn
	js   jetstream.JetStream
	link *link
	// stream is bound to the stream's name; it asks the leader anew each time.
	stream jetstream.Stream
	// created tells this stream from one that was made later under its name.
	created time.Time

	// failed is closed after failure was set, by fail: the server's storage
	// failed.
	failed   chan struct{}
	failure  error
	failOnce sync.Once
	// done is closed by Close and ends watchServer.
	done     chan struct{}
	watching sync.WaitGroup

	mu        sync.Mutex
	closed    bool                   // under mu
	followers map[*follower]struct{} // under mu
}

var _ eventstore.Log = (*Log)(nil)

// Create makes the log of cfg.Coop: a stream that keeps all and forgets nothing.
// It returns ErrExists where there is one, whatever its settings, also when
// another Create runs at the same time. A crash leaves the stream or none.
func Create(ctx context.Context, cfg Config) error {
	cfg, err := cfg.checked()
	if err != nil {
		return err
	}
	conn, err := connect(cfg, newLink())
	if err != nil {
		return err
	}
	defer conn.Close()
	js, err := newJetStream(conn)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, answerTimeout)
	defer cancel()

	_, err = js.Stream(ctx, streamName(cfg.Coop))
	if err == nil {
		return fmt.Errorf("couldn't create the log of co-op %q: %w; open it instead", cfg.Coop, ErrExists)
	}
	if !errors.Is(err, jetstream.ErrStreamNotFound) {
		return fmt.Errorf("couldn't ask for the log of co-op %q: %w", cfg.Coop, err)
	}

	// The server answers OK to a repeated create with the same settings. With
	// something random among them, the loser of two creates hears of it.
	want := wantedConfig(cfg.Coop, cfg.Replicas)
	var nonce [16]byte
	if _, err := rand.Read(nonce[:]); err != nil {
		return fmt.Errorf("couldn't draw the mark of a new log: %w", err)
	}
	want.Metadata = map[string]string{creationKey: hex.EncodeToString(nonce[:])}
	_, err = js.CreateStream(ctx, want)
	if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) {
		return fmt.Errorf("couldn't create the log of co-op %q: %w; open it instead", cfg.Coop, ErrExists)
	}
	if err != nil {
		return fmt.Errorf("couldn't create the log of co-op %q: %w", cfg.Coop, err)
	}
	return nil
}

// Open opens the log of cfg.Coop. It returns an error that is
// [eventstore.ErrNoLog] where there is none, and another where the server does
// not answer. It opens a log with wrong settings too: ask Status for them.
func Open(ctx context.Context, cfg Config) (*Log, error) {
	cfg, err := cfg.checked()
	if err != nil {
		return nil, err
	}
	l := &Log{
		coop:      cfg.Coop,
		replicas:  cfg.Replicas,
		server:    cfg.Server,
		logger:    cfg.Logger,
		link:      newLink(),
		failed:    make(chan struct{}),
		done:      make(chan struct{}),
		followers: make(map[*follower]struct{}),
	}
	l.link.onReturn = l.interruptFollowers
	if l.conn, err = connect(cfg, l.link); err != nil {
		return nil, err
	}
	if err := l.find(ctx); err != nil {
		l.conn.Close()
		return nil, err
	}
	if l.server != nil {
		l.server.logs.Add(1)
		l.watching.Add(1)
		go l.watchServer()
	}
	return l, nil
}

// find binds the log to its stream.
func (l *Log) find(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, answerTimeout)
	defer cancel()
	var err error
	if l.js, err = newJetStream(l.conn); err != nil {
		return err
	}
	if l.stream, err = l.js.Stream(ctx, streamName(l.coop)); err != nil {
		return l.askError("couldn't open the log of co-op %q: %w", err)
	}
	l.created = l.stream.CachedInfo().Created
	return nil
}

// Exclusive reports that the server is in this process, listens to nobody else,
// and that no other Log is open on it.
func (l *Log) Exclusive() bool {
	return l.server != nil && l.server.ClientURL() == "" && l.server.logs.Load() == 1
}

// Close ends all followers and the connection. It does not stop the server. Only
// the first call does anything.
func (l *Log) Close() error {
	l.mu.Lock()
	if l.closed {
		l.mu.Unlock()
		return nil
	}
	l.closed = true
	followers := make([]*follower, 0, len(l.followers))
	for f := range l.followers {
		followers = append(followers, f)
	}
	l.mu.Unlock()

	for _, f := range followers {
		f.Close()
	}
	close(l.done)
	l.watching.Wait()
	l.conn.Close()
	if l.server != nil {
		l.server.logs.Add(-1)
	}
	return nil
}

// watchServer looks at the health of the embedded server's stream whenever the
// server logs an error. A server whose disk failed does not answer the publish
// it failed on, so without this a publish would only time out.
func (l *Log) watchServer() {
	defer l.watching.Done()
	for {
		alarm := l.server.logger.alarm()
		if l.checkStorage() {
			return
		}
		select {
		case <-alarm:
		case <-l.done:
			return
		}
	}
}

// checkStorage asks the embedded server, if that is what the log is on, whether
// its storage failed.
func (l *Log) checkStorage() (failed bool) {
	if l.server == nil {
		return false
	}
	reason := l.server.streamFailure(streamName(l.coop))
	if reason == "" {
		return false
	}
	l.failOnce.Do(func() {
		l.failure = fmt.Errorf("%w: %s", eventstore.ErrIO, reason)
		close(l.failed)
	})
	return true
}

// askError wraps the error of a question to the server. format takes the co-op
// and the error.
func (l *Log) askError(format string, err error) error {
	switch {
	case errors.Is(err, jetstream.ErrStreamNotFound):
		err = fmt.Errorf("%w: the server has no stream %q", eventstore.ErrNoLog, streamName(l.coop))
	case l.hasFailed() || l.checkStorage():
		err = l.failure
	}
	return fmt.Errorf(format, l.coop, err)
}

func (l *Log) hasFailed() bool {
	select {
	case <-l.failed:
		return true
	default:
		return false
	}
}

func newJetStream(conn *nats.Conn) (jetstream.JetStream, error) {
	js, err := jetstream.New(conn, jetstream.WithDefaultTimeout(answerTimeout))
	if err != nil {
		return nil, fmt.Errorf("couldn't set up JetStream: %w", err)
	}
	return js, nil
}
