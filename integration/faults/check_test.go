package faults_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/stream"
)

// decision is one decision as the log has it.
type decision struct {
	sequence    uint64
	rpc, member string
	request     string
	first, last uint64 // positions
}

// decisions are a log's, in its order.
type decisions []decision

// readLog reads the log of a running node through the folder's socket.
func readLog(t testing.TB, dir string) decisions {
	t.Helper()
	conn := must(grpc.NewClient("unix:"+filepath.Join(dir, "node.sock"), grpc.WithTransportCredentials(insecure.NewCredentials())))(t)
	defer conn.Close()
	messages := must(coopv1.NewNodeServiceClient(conn).ReadLog(soon(t), &coopv1.ReadLogRequest{}))(t)
	codec := eventstore.NewCodec(stream.Events()...)
	var all decisions
	for {
		m, err := messages.Recv()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatalf("couldn't read the log: %v", err)
		}
		info, records, err := eventstore.ReadMessage(codec, coopID, eventstore.Message{Sequence: eventstore.Sequence(m.GetSequence()), Data: m.GetData()})
		if err != nil {
			t.Fatalf("commit %d: %v", m.GetSequence(), err)
		}
		for _, d := range info.Decisions {
			own := records[:d.Records]
			records = records[d.Records:]
			all = append(all, decision{
				sequence: m.GetSequence(), rpc: d.RPC, member: own[0].Member, request: d.RequestID,
				first: uint64(own[0].Position), last: uint64(own[len(own)-1].Position),
			})
		}
	}
}

// check holds a log against what callers know: no gap, nothing twice, everything
// that was acknowledged there as it was acknowledged and whole, and nothing that
// was refused.
func (log decisions) check(acked, refused []command) error {
	var sequence, position uint64
	by := map[string]decision{}
	for _, d := range log {
		if d.sequence != sequence && d.sequence != sequence+1 {
			return fmt.Errorf("after commit %d comes %d", sequence, d.sequence)
		}
		if d.first != position+1 {
			return fmt.Errorf("after position %d comes %d", position, d.first)
		}
		sequence, position = d.sequence, d.last
		if d.request == "" {
			continue // the founding
		}
		if other, ok := by[d.request]; ok {
			return fmt.Errorf("request %s was done twice, at positions %d and %d", d.request, other.last, d.last)
		}
		by[d.request] = d
	}
	for _, c := range acked {
		d, ok := by[c.req.GetRequestId()]
		switch {
		case !ok:
			return fmt.Errorf("request %s of %s was acknowledged at position %d and is not in the log", c.req.GetRequestId(), c.method, c.answer.GetPosition())
		case d.last != c.answer.GetPosition():
			return fmt.Errorf("request %s was acknowledged at position %d and stands at %d", d.request, c.answer.GetPosition(), d.last)
		case d.rpc != c.method || d.member != c.who.member:
			return fmt.Errorf("request %s is %s of %s, and was %s of %s", d.request, d.rpc, d.member, c.method, c.who.member)
		case d.last-d.first+1 != uint64(c.records()):
			return fmt.Errorf("request %s left positions %d to %d, must leave %d records", d.request, d.first, d.last, c.records())
		}
	}
	for _, c := range refused {
		if d, ok := by[c.req.GetRequestId()]; ok {
			return fmt.Errorf("request %s was refused and stands at position %d", d.request, d.last)
		}
	}
	return nil
}

// repeat sends commands again: each must be answered as it was.
func repeat(acked []command) error {
	var mu sync.Mutex
	var wrong []error
	together(64, acked, func(c command) {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		again := newAnswer(c.method)
		err := c.who.conn.Invoke(ctx, c.method, c.req, again)
		if err == nil && !proto.Equal(again, c.answer) {
			err = fmt.Errorf("the answer was\n%v\nand is\n%v", c.answer, again)
		}
		if err != nil {
			mu.Lock()
			defer mu.Unlock()
			wrong = append(wrong, fmt.Errorf("request %s again: %w", c.req.GetRequestId(), err))
		}
	})
	if len(wrong) > 0 {
		return fmt.Errorf("%d of %d commands have another outcome: %w", len(wrong), len(acked), wrong[0])
	}
	return nil
}

// weigh holds every piece on the benches against the steps that were done on it.
func (c *coop) weigh(t testing.TB) {
	t.Helper()
	ctx := soon(t)
	together(16, c.bench, func(w *workpiece) {
		got, err := cutterv1.NewCutterServiceClient(w.owner.conn).GetPiece(ctx, &cutterv1.GetPieceRequest{PieceId: w.id})
		if err != nil {
			t.Errorf("piece %s: %v", w.id, err)
			return
		}
		if mass := got.GetPiece().GetParts()[0].GetWeighing().GetMassUg(); mass != w.massUg {
			t.Errorf("piece %s weighs %d, must weigh %d", w.id, mass, w.massUg)
		}
	})
	if t.Failed() {
		t.FailNow()
	}
}

// oneWinner fails where a parcel was given to two.
func (l *load) oneWinner() error {
	won := map[string]command{}
	for _, c := range l.acked {
		take, ok := c.req.(*cutterv1.TakeParcelRequest)
		if !ok {
			continue
		}
		if first, twice := won[take.GetParcelId()]; twice {
			return fmt.Errorf("parcel %s was taken at positions %d and %d", take.GetParcelId(), first.answer.GetPosition(), c.answer.GetPosition())
		}
		won[take.GetParcelId()] = c
	}
	return nil
}

// sample chooses up to n of the acknowledged commands from one to another.
func (l *load) sample(choices *rand.Rand, from, to, n int) []command {
	all := slices.Clone(l.acked[from:to])
	choices.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	return all[:min(n, len(all))]
}

// inspect holds a node that runs again against all that is known. Of the
// acknowledged commands these are repeated.
func (l *load) inspect(t testing.TB, again []command) {
	t.Helper()
	if len(l.strange) > 0 {
		t.Fatalf("%d answers that nobody should get, such as: %v", len(l.strange), l.strange[0])
	}
	for _, err := range []error{readLog(t, l.coop.dir).check(l.acked, l.settled), l.oneWinner(), repeat(again)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	l.coop.weigh(t)
}

// reasonOf is the reason in a status, empty where there is none.
func reasonOf(err error) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return ""
}

// detail is what a status's ErrorInfo says under a key.
func detail(err error, key string) string {
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			return info.GetMetadata()[key]
		}
	}
	return ""
}
