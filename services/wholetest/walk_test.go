package wholetest_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tablestest"
)

var seed = flag.Uint64("walk.seed", 1, "where the walk begins")

// walk is one walk through the whole trade: valid and invalid commands of everybody, drawn
// from a seed. What must always hold is checked
//
//   - after each command, of the parcels and stones that its records name: the masses of
//     each parcel close, as its yield has them, its money is given out and the books say
//     what its records come to, all accounts are what all parcels brought, and each stone's
//     chain reaches a field. A refusal has left no record, so there is nothing to check.
//   - ten times on the way and at the end, of everything there is: only then of the stones
//     of pieces that were opened from a touched one, listed anew or mixed up with it.
//   - after each fourth command or so, of any parcel: what members are told of it by gRPC.
//   - at the end: what was said of parcels on the way is what their streams say of then,
//     payouts come out again, and all views equal a replay of the log.
type walk struct {
	*tablestest.World
	t       *testing.T
	random  *rand.Rand
	trials  []tablestest.Trial
	methods []rpc
	people  []cooptest.Person
	nobody  *grpc.ClientConn // who isn't signed in
	swapped *tablestest.World
	may     map[string][]*grpc.ClientConn // who has the role for a method
	known   known

	mu        sync.Mutex
	templates map[string][]template       // guarded by mu: good requests by method, as they were heard
	parcels   []string                    // guarded by mu
	checked   eventstore.Position         // guarded by mu: each holds up to here
	accounts  accounts                    // guarded by mu: what all parcels brought, up to there
	sent      int                         // guarded by mu: commands
	byMethod  map[string]*tally           // guarded by mu
	byWho     map[*grpc.ClientConn]*tally // guarded by mu
	ways      ways                        // guarded by mu: of the chains that were walked last by everything
	refusals  map[codes.Code]int          // guarded by mu

	past    []past
	recipes int
	cuts    int // parts that bench named
}

// tally is how many commands were accepted and refused.
type tally struct{ accepted, refused int }

func (t *tally) count(err error) {
	if err == nil {
		t.accepted++
	} else {
		t.refused++
	}
}

// tallyOf is the tally of a method or a connection; the first time a new one.
func tallyOf[K comparable](all map[K]*tally, of K) *tally {
	if all[of] == nil {
		all[of] = &tally{}
	}
	return all[of]
}

// template is a request that was good once, and who made it.
type template struct {
	conn *grpc.ClientConn // nil: of somebody who came and went
	req  proto.Message
}

// maxTemplates is how many good requests are kept of a method; a new one takes the place
// of any.
const maxTemplates = 40

func TestWalk(t *testing.T) {
	w := &walk{
		t: t, random: rand.New(rand.NewPCG(*seed, 2)), trials: tablestest.All(), methods: commandsOf(),
		known: newKnown(), templates: map[string][]template{}, accounts: newAccounts(),
		byMethod: map[string]*tally{}, byWho: map[*grpc.ClientConn]*tally{}, refusals: map[codes.Code]int{},
	}
	t.Logf("seed %d; another with -walk.seed", *seed)
	traffic := &tablestest.Traffic{Hear: w.hear}
	w.World = tablestest.NewWorld(t, traffic.Dial())
	w.people, w.nobody, w.swapped = w.People(), w.Nobody(t), w.Swapped()
	w.may = mayCall(t, w.World, w.methods)
	for _, p := range w.people {
		w.known.protect(p.Person, p.Member)
	}
	w.begin()
	for tenths := 0; w.many() < commands && !t.Failed(); {
		switch w.random.IntN(24) {
		case 0, 1:
			w.recipe()
		case 2:
			w.softly(w.pay)
		case 3:
			w.softly(w.bench)
		case 4:
			if w.random.IntN(12) == 0 {
				w.softly(w.roundabout)
			}
		default:
			w.command()
		}
		if w.random.IntN(4) == 0 {
			w.asked()
		}
		if now := w.many() * 10 / commands; now > tenths {
			tenths = now
			w.everything()
			t.Logf("%d commands, %d records so far", w.many(), w.Node.Checkpoint().Position)
		}
	}
	w.end()
	w.report()
}

// many is how many commands there were.
func (w *walk) many() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.sent
}

// report tells what the walk did. Every command must have been accepted and refused, and
// of everybody some were.
func (w *walk) report() {
	w.mu.Lock()
	defer w.mu.Unlock()
	var accepted int
	var b strings.Builder
	for _, m := range w.methods {
		n := tallyOf(w.byMethod, m.full())
		accepted += n.accepted
		fmt.Fprintf(&b, "\n%6d %6d  %s", n.accepted, n.refused, m.name())
		if n.accepted == 0 || n.refused == 0 {
			w.t.Errorf("the walk got %s accepted %d times and refused %d times: it is to be both", m.name(), n.accepted, n.refused)
		}
	}
	w.t.Logf("%d commands, %d of them accepted; %d recipes; calls refused, queries too, by code: %v; accepted and refused by command:%s", w.sent, accepted, w.recipes, w.refusals, b.String())
	w.t.Logf("stones' chains: %+v", w.ways)
	if min(w.ways.straight, w.ways.group, w.ways.older, w.ways.mixUp, w.ways.hidden) == 0 {
		w.t.Error("stones are to have come to their fields by each way, and some from a field that isn't shown")
	}
	for _, who := range cast(w.World) {
		n := tallyOf(w.byWho, who.Conn)
		w.t.Logf("%6d %6d  by %s", n.accepted, n.refused, who.name)
		// The auditor does little more than read.
		if n.accepted == 0 || n.refused == 0 {
			w.t.Errorf("of %s %d commands were accepted and %d refused", who.name, n.accepted, n.refused)
		}
	}
}

// mayCall tells who of the cast has the role for each method.
func mayCall(t *testing.T, w *tablestest.World, methods []rpc) map[string][]*grpc.ClientConn {
	t.Helper()
	may := map[string][]*grpc.ClientConn{}
	for _, m := range methods {
		rule, err := access.RuleOf(m)
		if err != nil {
			t.Fatal(err)
		}
		for _, who := range cast(w) {
			if rule.SignedIn || slices.Contains(rule.Roles, who.roles[0]) {
				may[m.full()] = append(may[m.full()], who.Conn)
			}
		}
	}
	return may
}

// hear holds what must hold after every call that anybody makes, and learns from it.
func (w *walk) hear(h tablestest.Heard) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.each()
	if h.Req.ProtoReflect().Descriptor().Fields().ByName("request_id") != nil {
		w.sent++
		tallyOf(w.byMethod, h.Method).count(h.Err)
		tallyOf(w.byWho, h.Conn).count(h.Err)
	}
	if h.Err != nil {
		w.refusedWell(h)
		return
	}
	w.known.learn(h.Answer, w.random)
	for _, m := range w.known.found {
		if m.kind == "parcel_id" && m.fresh {
			w.parcels = append(w.parcels, m.id)
		}
	}
	t := template{req: h.Req}
	if slices.ContainsFunc(w.people, func(p cooptest.Person) bool { return p.Conn == h.Conn }) {
		t.conn = h.Conn // of somebody who stays
	}
	kept := append(w.templates[h.Method], t)
	if len(kept) > maxTemplates {
		kept[w.random.IntN(maxTemplates)] = kept[maxTemplates]
		kept = kept[:maxTemplates]
	}
	w.templates[h.Method] = kept
}

// refusedWell: whatever anybody sends is answered, or refused for a reason of theirs.
func (w *walk) refusedWell(h tablestest.Heard) {
	code := status.Code(h.Err)
	w.refusals[code]++
	switch code {
	case codes.InvalidArgument, codes.NotFound, codes.PermissionDenied, codes.FailedPrecondition, codes.Aborted, codes.AlreadyExists, codes.Unauthenticated, codes.Canceled:
	default:
		w.t.Errorf("%s answered %v\nto %s", h.Method, h.Err, prototext.MarshalOptions{}.Format(h.Req))
	}
}

// begin plays every command of every table once, and every fixture, so that there is a good
// request of each to begin with, and lets each be refused to somebody.
func (w *walk) begin() {
	w.roundabout()
	for _, m := range w.methods {
		if make, ok := fixtures[m.name()]; ok {
			w.softly(func() {
				x := make(w.World)
				requestID(x.req)
				w.Must(x.own.Invoke(w.Ctx(), m.full(), x.req, m.answer()))
			})
		}
		for _, trial := range w.trials {
			w.softly(func() {
				if call := trial.Ready(w.World, m.name()); call != nil {
					w.Must(call())
				}
			})
		}
		for _, p := range w.people {
			req := m.request()
			requestID(req)
			if status.Code(p.Conn.Invoke(w.Ctx(), m.full(), req, m.answer())) != codes.OK {
				break
			}
		}
	}
}

// softly does what may fail: that ends its goroutine, not the walk, as the walk itself may
// have taken what it counts on.
func (w *walk) softly(do func()) {
	soft := &softly{TB: w.t}
	done := make(chan struct{})
	w.T = soft
	go func() {
		defer close(done)
		defer soft.clean()
		do()
	}()
	<-done
	w.T = w.t
}

// recipe lets a recipe of a state table bring a fresh thing into a state, lets any command
// be done on a thing that is ready for it, or plays a small trade: many good commands, some
// of them deep in a thing's life.
func (w *walk) recipe() {
	w.recipes++
	w.softly(func() {
		in := w.World
		if w.random.IntN(3) == 0 {
			in, w.swapped.T = w.swapped, w.T
		}
		switch w.random.IntN(12) {
		case 0:
			w.trade()
		case 1, 2, 3:
			w.ready(in, w.methods[w.random.IntN(len(w.methods))])
		default:
			trial := w.trials[w.random.IntN(len(w.trials))]
			states := trial.About().States
			trial.Bring(in, states[w.random.IntN(len(states))], w.random.IntN)
		}
	})
}

// ready does a command on a fresh thing of each table that has it.
func (w *walk) ready(in *tablestest.World, m rpc) {
	for _, trial := range w.trials {
		if call := trial.Ready(in, m.name()); call != nil {
			w.Must(call())
		}
	}
}

// trade is a parcel that is cut, stones of it that are ordered, and some of the money.
func (w *walk) trade() {
	either := func(a, b cooptest.Person) cooptest.Person {
		if w.random.IntN(2) == 0 {
			return a
		}
		return b
	}
	prices := make([]int64, 1+w.random.IntN(3))
	for i := range prices {
		prices[i] = int64(1_000 + w.random.IntN(200_000))
	}
	p := w.Cut(w.T, either(w.Miner, w.OtherMiner), either(w.Cutter, w.OtherCutter), prices...)
	money := func(err error) {
		if err != nil {
			w.T.FailNow()
		}
	}
	if w.random.IntN(2) == 0 {
		_, err := w.Books.Coop().RecordCost(w.Ctx(), &coopv1.RecordCostRequest{
			RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(int64(1 + w.random.IntN(9_000))), Reference: "carrier", Kind: "freight",
		})
		money(err)
	}
	if w.random.IntN(2) == 0 {
		_, err := w.Books.Coop().RecordParcelPayment(w.Ctx(), &coopv1.RecordParcelPaymentRequest{
			RequestId: command.NewID(), ParcelId: p.ID, Amount: cooptest.AUD(int64(1 + w.random.IntN(160_000))), Reference: "transfer",
		})
		money(err)
	}
	order := w.Order(w.T, either(w.Jeweller, w.OtherJeweller), p.Stones[:1+w.random.IntN(len(p.Stones))]...)
	for range w.random.IntN(3) {
		_, err := w.Books.Coop().RecordOrderPayment(w.Ctx(), &coopv1.RecordOrderPaymentRequest{
			RequestId: command.NewID(), OrderId: order.GetId(), Amount: cooptest.AUD(int64(1 + w.random.IntN(100_000))), Reference: "transfer",
		})
		money(err)
	}
}

// pay pays a little of any order; the books follow every cent.
func (w *walk) pay() {
	w.mu.Lock()
	id := w.known.draw("order_id", w.random)
	w.mu.Unlock()
	_, err := w.Books.Coop().RecordOrderPayment(w.Ctx(), &coopv1.RecordOrderPaymentRequest{
		RequestId: command.NewID(), OrderId: id, Amount: cooptest.AUD(int64(1 + w.random.IntN(40))), Reference: "transfer",
	})
	w.Must(err)
}

// bench works any part of any piece, weighed a little differently going in, or weighs it
// at a count of the stock.
func (w *walk) bench() {
	w.mu.Lock()
	id := w.known.draw("piece_id", w.random)
	w.mu.Unlock()
	who := w.Cutter
	got, err := who.Cutter().GetPiece(w.Ctx(), &cutterv1.GetPieceRequest{PieceId: id})
	if err != nil {
		who = w.OtherCutter
		got, err = who.Cutter().GetPiece(w.Ctx(), &cutterv1.GetPieceRequest{PieceId: id})
		w.Must(err)
	}
	parts := slices.DeleteFunc(got.GetPiece().GetParts(), func(p *typev1.PiecePart) bool { return p.GetFate() > typev1.Fate_FATE_OFFCUT })
	if len(parts) == 0 {
		return
	}
	part := parts[w.random.IntN(len(parts))]
	// Within what two weighings on this scale may disagree by, mostly.
	in := cooptest.Grams(max(10_000, part.GetWeighing().GetMassUg()+int64(w.random.IntN(5)-2)*10_000))
	if w.random.IntN(4) == 0 {
		_, err := w.Keeper.Coop().CountStock(w.Ctx(), &coopv1.CountStockRequest{
			RequestId: command.NewID(), Place: "bench", Found: []*coopv1.CountedThing{{Thing: "piece/" + id, Part: part.GetName(), Weighing: in}},
		})
		w.Must(err)
		return
	}
	work := &cutterv1.WorkPartRequest{
		RequestId: command.NewID(), PieceId: id, Part: part.GetName(), Step: typev1.Step(1 + w.random.IntN(9)), MassIn: in,
		Reason: typev1.Reason(1 + w.random.IntN(11)), How: "anyhow", Minutes: uint32(w.random.IntN(60)),
	}
	left := in.GetMassUg()
	for range w.random.IntN(4) {
		took := int64(w.random.IntN(int(left/10_000)+1)) * 10_000
		if left -= took; took > 0 {
			w.cuts++
			work.PartsOut = append(work.PartsOut, &cutterv1.PartOut{Name: fmt.Sprintf("w%d", w.cuts), Weighing: cooptest.Grams(took)})
		}
	}
	if left == 0 {
		work.Reason = typev1.Reason_REASON_UNSPECIFIED
	}
	_, err = who.Cutter().WorkPart(w.Ctx(), work)
	w.Must(err)
}

// softly is a test whose failure ends a goroutine only, and which is over when that is.
type softly struct {
	testing.TB
	after []func()
}

func (s *softly) clean() {
	for _, f := range slices.Backward(s.after) {
		f()
	}
}

func (s *softly) Cleanup(f func())      { s.after = append(s.after, f) }
func (s *softly) Fatalf(string, ...any) { runtime.Goexit() }
func (s *softly) Fatal(...any)          { runtime.Goexit() }
func (s *softly) FailNow()              { runtime.Goexit() }
func (s *softly) Errorf(string, ...any) {}
func (s *softly) Error(...any)          {}
func (s *softly) Fail()                 {}

// somebody is mostly one who may call an rpc.
func (w *walk) somebody(m rpc) *grpc.ClientConn {
	if w.random.IntN(50) == 0 {
		return w.nobody
	}
	if may := w.may[m.full()]; len(may) > 0 && w.random.IntN(5) > 0 {
		return may[w.random.IntN(len(may))]
	}
	return w.people[w.random.IntN(len(w.people))].Conn
}

// command sends one command, good or not.
func (w *walk) command() {
	m := w.methods[w.random.IntN(len(w.methods))]
	var conn *grpc.ClientConn
	var req proto.Message
	w.mu.Lock()
	switch like := w.templates[m.full()]; {
	case w.random.IntN(10) == 0 || len(like) == 0:
		req = m.request()
		w.known.invent(req, w.random)
		conn = w.somebody(m)
	default:
		of := like[w.random.IntN(len(like))]
		req, conn = proto.Clone(of.req), of.conn
		w.known.vary(req, w.random)
		if conn == nil || w.random.IntN(6) == 0 {
			conn = w.somebody(m)
		}
	}
	w.mu.Unlock()
	requestID(req)
	before := w.Node.Checkpoint().Position
	err := conn.Invoke(w.Ctx(), m.full(), req, m.answer())
	if after := w.Node.Checkpoint().Position; err != nil && after != before {
		w.t.Errorf("%s was refused (%v) and wrote %d records", m.full(), err, after-before)
	}
	if conn == w.nobody && status.Code(err) != codes.Unauthenticated {
		w.t.Errorf("%s by nobody who is signed in: got %v", m.full(), err)
	}
}
