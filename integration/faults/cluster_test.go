package faults_test

import (
	"context"
	"net"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"

	"seamshare.example/eventstore/natslog"
)

// startNATS starts a server that other processes reach.
func startNATS(t testing.TB, dir string) string {
	t.Helper()
	server := must(natslog.StartServer(natslog.Options{StoreDir: dir, Listen: "127.0.0.1:0"}))(t)
	t.Cleanup(server.Close)
	return server.ClientURL()
}

// Two nodes share one NATS. Eight cutters race for each parcel, four at either
// node: each parcel has one winner, and both nodes hold the same in the end.
func TestTwoNodesRace(t *testing.T) {
	binary, folder := must(binaries.plain())(t), newFolder(t)
	url := startNATS(t, filepath.Join(folder, "nats"))
	c := foundCoop(t, binary, filepath.Join(folder, "first"), "--nats", url, "--nats-syncs-always")
	joined := filepath.Join(folder, "second")
	runOK(t, nil, binary, "init", "--data", joined, "--id", coopID, "--join", "--nats", url, "--nats-syncs-always")
	first, second := serve(t, binary, c.dir, serveOptions{}), serve(t, binary, joined, serveOptions{})
	c.settle(t, first.GRPC, 1, 8)
	racers := make([]*person, len(c.cutters))
	for i, p := range c.cutters {
		if racers[i] = p; i%2 == 1 {
			racers[i] = p.at(t, second.GRPC)
		}
	}
	miner := minerv1.NewMinerServiceClient(c.miners[0].conn)
	var last uint64
	for n := range racedParcels {
		listed := must(miner.PublishParcel(soon(t), c.listing(0, 1)))(t)
		var mu sync.Mutex
		var won []*cutterv1.TakeParcelResponse
		together(len(racers), racers, func(p *person) {
			// min_position: the second node may not have heard of the parcel yet.
			got, err := cutterv1.NewCutterServiceClient(p.conn).TakeParcel(soon(t), &cutterv1.TakeParcelRequest{
				RequestId: newID(), MinPosition: listed.GetPosition(), ParcelId: listed.GetParcel().GetId(),
			})
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err == nil:
				won = append(won, got)
				last = max(last, got.GetPosition())
			case status.Code(err) != codes.FailedPrecondition:
				t.Errorf("parcel %d: %v", n, err)
			}
		})
		if len(won) != 1 {
			t.Fatalf("parcel %d has %d winners", n, len(won))
		}
	}
	for i, p := range racers { // both see every deal, wherever it was made
		if _, err := cutterv1.NewCutterServiceClient(p.conn).ListParcels(soon(t), &cutterv1.ListParcelsRequest{MinPosition: last}); err != nil {
			t.Fatalf("racer %d: %v", i, err)
		}
	}
	first.stop(t)
	second.stop(t)
	if a, b := verify(t, binary, c.dir), verify(t, binary, joined); a != b || a.Records < last {
		t.Fatalf("the nodes hold %+v and %+v", a, b)
	}
}

// A command at a node that lags is decided at the log's end, not at the node's: a
// request id that another node committed is known, and a parcel that went is gone.
func TestRequestIsKnownAtTheOtherNode(t *testing.T) {
	binary, folder := must(binaries.plain())(t), newFolder(t)
	url := startNATS(t, filepath.Join(folder, "nats"))
	c := foundCoop(t, binary, filepath.Join(folder, "first"), "--nats", url, "--nats-syncs-always")
	joined := filepath.Join(folder, "second")
	runOK(t, nil, binary, "init", "--data", joined, "--id", coopID, "--join", "--nats", url, "--nats-syncs-always")
	first, second := serve(t, binary, c.dir, serveOptions{}), serve(t, binary, joined, serveOptions{})
	c.settle(t, first.GRPC, 1, 2)
	here, there := c.cutters[0], c.cutters[0].at(t, second.GRPC)
	rival := c.cutters[1].at(t, second.GRPC)
	for range 20 {
		listed := must(minerv1.NewMinerServiceClient(c.miners[0].conn).PublishParcel(soon(t), c.listing(0, 1)))(t)
		req := &cutterv1.TakeParcelRequest{RequestId: newID(), ParcelId: listed.GetParcel().GetId()}
		one := must(cutterv1.NewCutterServiceClient(here.conn).TakeParcel(soon(t), req))(t)
		if _, err := cutterv1.NewCutterServiceClient(rival.conn).TakeParcel(soon(t), &cutterv1.TakeParcelRequest{RequestId: newID(), ParcelId: req.GetParcelId()}); status.Code(err) != codes.FailedPrecondition {
			t.Fatalf("a parcel that was taken at the other node: %v", err)
		}
		other := must(cutterv1.NewCutterServiceClient(there.conn).TakeParcel(soon(t), req))(t)
		if one.GetPosition() != other.GetPosition() {
			t.Fatalf("a repeat at the other node was done again: position %d, then %d", one.GetPosition(), other.GetPosition())
		}
	}
	first.stop(t)
	second.stop(t)
}

// While the log does not answer, reads go on, writes wait, and a caller whose time
// ends is told that the outcome is unknown. When the log is back, a repeat tells.
func TestOutcomeUnknown(t *testing.T) {
	binary, folder := must(binaries.plain())(t), newFolder(t)
	link := newLink(t, strings.TrimPrefix(startNATS(t, filepath.Join(folder, "nats")), "nats://"))
	c := foundCoop(t, binary, filepath.Join(folder, "node"), "--nats", "nats://"+link.addr, "--nats-syncs-always")
	node := serve(t, binary, c.dir, serveOptions{})
	c.settle(t, node.GRPC, 1, 1)
	c.supply(t, 3)
	before := must(c.answers(t))(t)

	link.freeze(true)
	w := c.bench[0]
	req := grind(w)
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Second)
	defer cancel()
	_, err := cutterv1.NewCutterServiceClient(w.owner.conn).WorkPart(ctx, req)
	if status.Code(err) != codes.DeadlineExceeded {
		t.Fatalf("a write without a log: %v", err)
	}
	for _, q := range c.questions() {
		if _, err := q.ask(soon(t)); err != nil {
			t.Fatalf("a read without a log: %s: %v", q.method, err)
		}
	}
	link.freeze(false)

	did := must(cutterv1.NewCutterServiceClient(w.owner.conn).WorkPart(soon(t), req))(t)
	w.massUg -= divisionUg
	again := must(cutterv1.NewCutterServiceClient(w.owner.conn).WorkPart(soon(t), req))(t)
	if did.GetPosition() != again.GetPosition() {
		t.Fatalf("done at position %d and again at %d", did.GetPosition(), again.GetPosition())
	}
	c.weigh(t)
	log := readLog(t, c.dir)
	if err := log.check([]command{{who: w.owner, method: cutterv1.CutterService_WorkPart_FullMethodName, req: req, answer: did}}, nil); err != nil {
		t.Fatal(err)
	}
	if after := must(c.answers(t))(t); len(after) != len(before) {
		t.Fatal("not all questions are answered")
	}
	node.stop(t)
	verify(t, binary, c.dir)
}

// link is a wire between two processes that can be held up.
type link struct {
	addr string

	mu     sync.Mutex
	thawed *sync.Cond
	frozen bool // under mu
}

func newLink(t testing.TB, to string) *link {
	t.Helper()
	l := &link{}
	l.thawed = sync.NewCond(&l.mu)
	listener := must(net.Listen("tcp", "127.0.0.1:0"))(t)
	l.addr = listener.Addr().String()
	var open sync.WaitGroup
	t.Cleanup(func() {
		l.freeze(false)
		_ = listener.Close()
		open.Wait()
	})
	open.Go(func() {
		for {
			near, err := listener.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", to)
			if err != nil {
				_ = near.Close()
				continue
			}
			open.Go(func() { l.carry(near, far) })
			open.Go(func() { l.carry(far, near) })
		}
	})
	return l
}

// carry moves bytes one way, until either end closes.
func (l *link) carry(from, to net.Conn) {
	defer to.Close()
	defer from.Close()
	buffer := make([]byte, 32<<10)
	for {
		n, err := from.Read(buffer)
		l.mu.Lock()
		for l.frozen {
			l.thawed.Wait()
		}
		l.mu.Unlock()
		if n > 0 {
			if _, err := to.Write(buffer[:n]); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}

func (l *link) freeze(frozen bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.frozen = frozen
	l.thawed.Broadcast()
}
