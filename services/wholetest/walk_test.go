package wholetest_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	coopv1 "seamshare.example/proto/gen/seamshare/coop/v1"
	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/tablestest"
)

var seed = flag.Uint64("walk.seed", 1, "where the walk begins")

// walk is one walk.
type walk struct {
	*tablestest.World
	t       *testing.T
	random  *rand.Rand
	trials  []tablestest.Trial
	methods []rpc
	people  []cooptest.Person
	may     map[string][]*grpc.ClientConn // who has the role for a method
	known   known

	mu        sync.Mutex
	templates map[string][]template    // guarded by mu: good requests by method, as they were heard
	parcels   []string                 // guarded by mu
	stones    []string                 // guarded by mu
	checked   eventstore.Position      // guarded by mu: each holds up to here
	accepts   map[*grpc.ClientConn]int // guarded by mu: good commands by who sent them
	past      []past

	sent, accepted, recipes int
	cuts                    int // parts that bench named
	refusals                map[codes.Code]int
	did                     map[string]int // accepted, by method
	refused                 map[*grpc.ClientConn]int
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
		known: newKnown(), templates: map[string][]template{}, refusals: map[codes.Code]int{}, did: map[string]int{},
		accepts: map[*grpc.ClientConn]int{}, refused: map[*grpc.ClientConn]int{},
	}
	t.Logf("seed %d; another with -walk.seed", *seed)
	traffic := &tablestest.Traffic{Hear: w.hear}
	w.World = tablestest.NewWorld(t, traffic.Dial())
	w.people = w.People()
	w.may = mayCall(t, w.World, w.methods)
	for _, p := range w.people {
		w.known.protect(p.Person, p.Member)
	}
	w.begin()
	for w.sent < commands && !t.Failed() {
		switch w.random.IntN(24) {
		case 0, 1:
			w.recipe()
		case 2:
			w.softly(w.pay)
		case 3:
			w.softly(w.bench)
		default:
			w.command()
		}
		if w.random.IntN(4) == 0 {
			w.asked()
		}
		if w.sent%500 < 2 {
			w.balances()
		}
	}
	w.end()
	t.Logf("%d commands, %d accepted of %d methods, %d recipes; refused: %v", w.sent, w.accepted, len(w.did), w.recipes, w.refusals)
	for _, m := range w.methods {
		if w.did[m.full()] == 0 {
			t.Errorf("the walk never got %s accepted", m.full())
		}
	}
	for _, who := range cast(w.World) {
		// An auditor changes nothing.
		if who.roles[0] != memberv1.Role_ROLE_AUDITOR && w.accepts[who.Conn] == 0 || w.refused[who.Conn] == 0 {
			t.Errorf("of %s %d commands were accepted and %d refused", who.name, w.accepts[who.Conn], w.refused[who.Conn])
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
	if h.Err != nil {
		w.refused[h.Conn]++
		return
	}
	w.did[h.Method]++
	if h.Req.ProtoReflect().Descriptor().Fields().ByName("request_id") != nil {
		w.accepts[h.Conn]++
	}
	w.known.learn(h.Answer, w.random)
	for _, m := range w.known.found {
		switch {
		case m.kind == "parcel_id" && m.fresh:
			w.parcels = append(w.parcels, m.id)
		case m.kind == "stone_id" && m.fresh:
			w.stones = append(w.stones, m.id)
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

// begin plays every command of every table once, and every fixture, so that there is a good
// request of each to begin with.
func (w *walk) begin() {
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
	}
}

// softly does what may fail: that ends its goroutine, not the walk, as the walk itself may
// have taken what it counts on.
func (w *walk) softly(do func()) {
	before := w.Node.Checkpoint().Sequence
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
	made := int(w.Node.Checkpoint().Sequence - before)
	w.sent += made
	w.accepted += made
}

// recipe lets a recipe of a state table bring a fresh thing into a state, or plays a small
// trade: many good commands, some of them deep in a thing's life.
func (w *walk) recipe() {
	w.recipes++
	w.softly(func() {
		n := w.random.IntN(len(w.trials) + 1)
		if n == len(w.trials) {
			w.trade()
			return
		}
		states := w.trials[n].About().States
		w.trials[n].Bring(w.World, states[w.random.IntN(len(states))], w.random.IntN)
	})
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
	w.sent++
	before := w.Node.Checkpoint().Position
	err := conn.Invoke(w.Ctx(), m.full(), req, m.answer())
	after := w.Node.Checkpoint().Position
	code := status.Code(err)
	switch code {
	case codes.OK:
		w.accepted++
		return
	case codes.InvalidArgument, codes.NotFound, codes.PermissionDenied, codes.FailedPrecondition, codes.Aborted, codes.AlreadyExists, codes.Unauthenticated, codes.Canceled:
		w.refusals[code]++
	default:
		w.t.Errorf("%s answered %v\nto %s", m.full(), err, prototext.MarshalOptions{}.Format(req))
	}
	if after != before {
		w.t.Errorf("%s was refused (%v) and wrote %d records", m.full(), err, after-before)
	}
}
