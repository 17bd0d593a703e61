package natslog

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"seamshare.example/eventstore"
)

// What one server in process can't be made to answer is tested here.

func TestClassify(t *testing.T) {
	api := func(code jetstream.ErrorCode) error {
		return fmt.Errorf("nats: %w", &jetstream.APIError{Code: 500, ErrorCode: code})
	}
	for _, c := range []struct {
		name string
		err  error
		want error
	}{
		{"wrong last sequence, one replica", api(10071), eventstore.ErrConflict},
		{"wrong last sequence, several replicas", api(10164), eventstore.ErrConflict},
		{"stream not found", api(10059), eventstore.ErrNoLog},
		{"account's storage limit", api(10002), eventstore.ErrNoSpace},
		{"server's storage limit", api(10023), eventstore.ErrNoSpace},
		{"storage resources", api(10047), eventstore.ErrNoSpace},
		{"stream's bytes over the account's", api(10122), eventstore.ErrNoSpace},
		{"message too large", api(10054), eventstore.ErrRefused},
		{"message too large for the connection", nats.ErrMaxPayload, eventstore.ErrRefused},
		{"headers too large", api(10097), eventstore.ErrRefused},
		{"subject of another stream", api(10060), eventstore.ErrRefused},
		{"stream sealed", api(10109), eventstore.ErrRefused},
		{"store failed", api(10077), eventstore.ErrIO},
		{"cluster not available", api(10008), eventstore.ErrUnknown},
		{"not the leader", api(10009), eventstore.ErrUnknown},
		{"JetStream not enabled", api(10076), eventstore.ErrUnknown},
		{"the same id in flight", api(10158), eventstore.ErrUnknown},
		{"too many requests", api(10167), eventstore.ErrUnknown},
		{"stream offline", api(10118), eventstore.ErrUnknown},
		{"a code nobody knows", api(19999), eventstore.ErrUnknown},
		{"timeout", nats.ErrTimeout, eventstore.ErrUnknown},
		{"deadline", context.DeadlineExceeded, eventstore.ErrUnknown},
		{"nobody listens", jetstream.ErrNoStreamResponse, eventstore.ErrUnknown},
		{"connection closed", nats.ErrConnectionClosed, eventstore.ErrUnknown},
		{"an answer that can't be read", jetstream.ErrInvalidJSAck, eventstore.ErrUnknown},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := classify(c.err)
			for _, meaning := range []error{
				eventstore.ErrConflict, eventstore.ErrUnknown, eventstore.ErrIO, eventstore.ErrNoLog, eventstore.ErrNoSpace, eventstore.ErrRefused,
			} {
				if is := errors.Is(got, meaning); is != errors.Is(c.want, meaning) {
					t.Errorf("is %q: %t; got %v", meaning, is, got)
				}
			}
		})
	}
}

func TestCheckAck(t *testing.T) {
	for _, c := range []struct {
		name string
		ack  jetstream.PubAck
		want error
	}{
		{"stored there", jetstream.PubAck{Sequence: 5}, nil},
		{"duplicate there: an earlier try stored it", jetstream.PubAck{Sequence: 5, Duplicate: true}, nil},
		{"duplicate elsewhere: nothing stored", jetstream.PubAck{Sequence: 4, Duplicate: true}, eventstore.ErrConflict},
		{"stored elsewhere", jetstream.PubAck{Sequence: 6}, eventstore.ErrCorrupt},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := checkAck(&c.ack, 5); !errors.Is(got, c.want) {
				t.Fatalf("got %v, want %v", got, c.want)
			}
		})
	}
}

// A server that doesn't sync always is refused, by what the running one says.
func TestServerMustSync(t *testing.T) {
	for _, c := range []struct {
		name    string
		opts    server.Options
		refused bool
	}{
		{"syncs always", server.Options{JetStream: true, SyncAlways: true}, false},
		{"refused: syncs every two minutes, the default", server.Options{JetStream: true}, true},
		{"refused: syncs each second", server.Options{JetStream: true, SyncInterval: time.Second}, true},
		{"refused: no JetStream", server.Options{}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.opts.StoreDir, c.opts.DontListen, c.opts.NoSigs, c.opts.NoLog = t.TempDir(), true, true, true
			ns, err := server.NewServer(&c.opts)
			if err != nil {
				t.Fatal(err)
			}
			defer ns.WaitForShutdown()
			defer ns.Shutdown()
			s := &Server{ns: ns, logger: newServerLogger(slog.New(slog.DiscardHandler))}
			if err := s.start(false); (err != nil) != c.refused {
				t.Fatalf("got %v", err)
			}
		})
	}
}
