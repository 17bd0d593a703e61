package faults_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	minerv1 "seamshare.example/proto/gen/seamshare/miner/v1"
)

// command is one command as its caller knows it.
type command struct {
	who    *person
	method string
	req    request
	answer answer // nil where none came: it may have happened
	why    error  // why none came
}

type request interface {
	proto.Message
	GetRequestId() string
}

type answer interface {
	proto.Message
	GetPosition() uint64
}

// records is how many records the command leaves, whole.
func (c command) records() int {
	if p, ok := c.req.(*minerv1.PublishParcelRequest); ok {
		return 1 + len(p.GetPieces())
	}
	return 1
}

// load is what the callers of a node did, kept outside of it.
type load struct {
	coop     *coop
	inFlight atomic.Int64
	refused  atomic.Int64
	low      atomic.Int64 // refused for want of room

	mu       sync.Mutex
	acked    []command // under mu
	unknown  []command // under mu
	settled  []command // under mu; those that were unknown and turned out not to have happened
	strange  []error   // under mu: answers that nobody should get
	awaited  int       // under mu
	reached  chan struct{}
	callers  sync.WaitGroup // those that take what others list
	stopping chan struct{}  // closed by end
	makers   sync.WaitGroup // the callers that wait for nobody else
}

func newLoad(c *coop) *load { return &load{coop: c} }

// errUnknown: no answer came.
var errUnknown = errors.New("the outcome is not known")

// do sends a command once and notes what came of it.
func (l *load) do(ctx context.Context, c command, to answer) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	l.inFlight.Add(1)
	err := c.who.conn.Invoke(ctx, c.method, c.req, to)
	l.inFlight.Add(-1)
	l.mu.Lock()
	defer l.mu.Unlock()
	switch code := status.Code(err); code {
	case codes.OK:
		c.answer = to
		l.acked = append(l.acked, c)
		if l.reached != nil && len(l.acked) >= l.awaited {
			close(l.reached)
			l.reached = nil
		}
		return nil
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
		c.why = err
		l.unknown = append(l.unknown, c)
		return fmt.Errorf("%w: %w", errUnknown, err)
	case codes.FailedPrecondition:
		l.refused.Add(1)
		return err
	case codes.ResourceExhausted:
		if reasonOf(err) == "LOW_DISK" {
			l.low.Add(1)
		}
		return err
	default:
		l.strange = append(l.strange, fmt.Errorf("%s: %w", c.method, err))
		return err
	}
}

// begin sets 256 callers to work: at the bench, at the shaft, and racing for
// parcels. Each goes on until it meets an unknown outcome, or end is called.
func (l *load) begin() {
	ctx, stopping := context.Background(), make(chan struct{})
	l.stopping = stopping
	market := make(chan string, 1024)
	again := func(of *sync.WaitGroup, step func() error) {
		of.Go(func() {
			for {
				select {
				case <-stopping:
					return
				default:
				}
				if err := step(); errors.Is(err, errUnknown) {
					return
				}
			}
		})
	}
	for i := range 160 {
		again(&l.makers, func() error { return l.grind(ctx, l.coop.bench[i%len(l.coop.bench)]) })
	}
	for i := range 48 {
		again(&l.makers, func() error { return l.publish(ctx, i%len(l.coop.miners), market) })
	}
	for i := range 16 {
		again(&l.makers, func() error { return l.claim(ctx, i%len(l.coop.miners)) })
	}
	for i := range 32 {
		again(&l.callers, func() error {
			select {
			case parcel := <-market:
				return l.take(ctx, i, parcel)
			case <-stopping:
				return nil
			}
		})
	}
}

// end stops the callers and waits for the last answers.
func (l *load) end() {
	close(l.stopping)
	l.makers.Wait()
	l.callers.Wait()
}

// gone is closed when no caller is left that makes anything, as each has met an
// unknown outcome.
func (l *load) gone() <-chan struct{} {
	gone := make(chan struct{})
	go func() {
		l.makers.Wait()
		close(gone)
	}()
	return gone
}

// after is closed when n more commands were acknowledged.
func (l *load) after(n int) <-chan struct{} {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.reached, l.awaited = make(chan struct{}), len(l.acked)+n
	return l.reached
}

// busy waits until this many commands are in flight.
func (l *load) busy(t testing.TB, n int64) {
	t.Helper()
	limit := time.Now().Add(patience)
	for l.inFlight.Load() < n {
		if time.Now().After(limit) {
			t.Fatalf("only %d commands are in flight", l.inFlight.Load())
		}
		time.Sleep(200 * time.Microsecond) // the callers need the processors
	}
}

func (l *load) grind(ctx context.Context, w *workpiece) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	c := command{who: w.owner, method: cutterv1.CutterService_WorkPart_FullMethodName, req: grind(w)}
	if w.stuck {
		return errUnknown
	}
	err := l.do(ctx, c, &cutterv1.WorkPartResponse{})
	if err == nil {
		w.massUg -= divisionUg
	}
	w.stuck = errors.Is(err, errUnknown)
	return err
}

func (l *load) publish(ctx context.Context, miner int, market chan<- string) error {
	var made minerv1.PublishParcelResponse
	err := l.do(ctx, command{who: l.coop.miners[miner], method: minerv1.MinerService_PublishParcel_FullMethodName, req: l.coop.listing(miner, 3)}, &made)
	if err != nil {
		return err
	}
	select {
	case market <- made.GetParcel().GetId():
	default: // nobody is quick enough
	}
	return nil
}

func (l *load) claim(ctx context.Context, miner int) error {
	id := newID() // a miner has no two claims of one name on a field
	return l.do(ctx, command{
		who: l.coop.miners[miner], method: minerv1.MinerService_RecordClaim_FullMethodName,
		req: &minerv1.RecordClaimRequest{RequestId: id, FieldId: l.coop.fieldID, Name: "Claim " + id},
	}, &minerv1.RecordClaimResponse{})
}

// take lets two cutters race for a parcel.
func (l *load) take(ctx context.Context, i int, parcel string) error {
	var both sync.WaitGroup
	var errs [2]error
	for k := range errs {
		both.Go(func() {
			errs[k] = l.do(ctx, command{
				who: l.coop.cutters[(i+k)%len(l.coop.cutters)], method: cutterv1.CutterService_TakeParcel_FullMethodName,
				req: &cutterv1.TakeParcelRequest{RequestId: newID(), ParcelId: parcel},
			}, &cutterv1.TakeParcelResponse{})
		})
	}
	both.Wait()
	for _, err := range errs {
		if errors.Is(err, errUnknown) {
			return err
		}
	}
	return nil
}

// settle repeats, after a restart, what had no answer: by now it has happened, or
// it happens, or it is refused. From then on everything is known.
func (l *load) settle(t testing.TB) {
	t.Helper()
	l.mu.Lock()
	open := l.unknown
	l.unknown = nil
	l.mu.Unlock()
	together(64, open, func(c command) {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		err := l.do(ctx, c, newAnswer(c.method))
		if errors.Is(err, errUnknown) || status.Code(err) == codes.ResourceExhausted {
			t.Errorf("request %s has no answer from a node that runs: %v, %v", c.req.GetRequestId(), err, status.Convert(err).Details())
			return
		}
		if work, ok := c.req.(*cutterv1.WorkPartRequest); ok {
			for _, w := range l.coop.bench {
				if w.id == work.GetPieceId() && w.stuck {
					w.stuck = false
					if err == nil {
						w.massUg -= divisionUg
					}
				}
			}
		}
		if err != nil {
			l.mu.Lock()
			l.settled = append(l.settled, c)
			l.mu.Unlock()
		}
	})
	if t.Failed() {
		t.FailNow()
	}
}

func newAnswer(method string) answer {
	switch method {
	case cutterv1.CutterService_WorkPart_FullMethodName:
		return &cutterv1.WorkPartResponse{}
	case cutterv1.CutterService_TakeParcel_FullMethodName:
		return &cutterv1.TakeParcelResponse{}
	case minerv1.MinerService_PublishParcel_FullMethodName:
		return &minerv1.PublishParcelResponse{}
	case minerv1.MinerService_RecordClaim_FullMethodName:
		return &minerv1.RecordClaimResponse{}
	}
	panic("no answer for " + method)
}

// together runs fn for each, n at a time.
func together[T any](n int, all []T, fn func(T)) {
	next := make(chan T)
	var group sync.WaitGroup
	for range n {
		group.Go(func() {
			for one := range next {
				fn(one)
			}
		})
	}
	for _, one := range all {
		next <- one
	}
	close(next)
	group.Wait()
}
