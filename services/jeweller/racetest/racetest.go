// Package racetest is for tests in which many jewellers want the same stones: what they
// try, and a model of what each may get, against which the history of a test is held.
// It serves where a node runs in the test, and where one is killed meanwhile.
package racetest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"

	"seamshare.example/services/command"
)

// The stones come in groups of six: a pair, and four that are offered by themselves. What
// happens in one group has nothing to do with the others, so histories are checked
// group by group.
const (
	Groups    = 50
	GroupSize = 6
	Jewellers = 200
)

// wishes are what jewellers try to get of a group: the pair, with or without another
// stone, half of it, which nobody gets, and overlapping twos.
var wishes = [][]int{{0, 1}, {0, 1, 2}, {0}, {1, 2}, {2, 3}, {3, 4}, {4, 5}, {2, 5}, {3}}

// Do is what is done.
type Do int

// What is done: beside what jewellers do, the clock goes on, and in the end somebody
// looks who bought what.
const (
	Order Do = iota
	Hold
	Release
	Tick
	Look
)

// Attempt is one call, a step of the clock, or a look.
type Attempt struct {
	Do      Do
	Group   int // of none for Tick
	Who     int
	Stones  []int
	Number  int   // of this attempt, from 1
	Hold    int   // the attempt by which was held, for Release
	At      int64 // when a hold ends, or what the clock shows, in microseconds
	request string
	holdID  string         // for Release
	buyers  [GroupSize]int // what a look sees: the jeweller and 1, 0 for nobody
}

// Result is what came of an attempt.
type Result struct {
	Outcome  Outcome
	Position uint64 // in the log, where it was Done
}

// Outcome says whether an attempt went through.
type Outcome int

// The outcomes. What is Unknown may have happened at any time since it was tried, or may
// happen yet.
const (
	Refused Outcome = iota
	Done
	Unknown
)

// stock is what the model knows of a group. Of a hold that has ended, or whose stone was
// bought, nothing is kept, so that what behaves alike is alike.
type stock struct {
	looked bool   // it is over
	last   uint64 // the position of what happened last
	now    int64
	buyer  [GroupSize]int // the jeweller and 1; 0: nobody
	hold   [GroupSize]int // the attempt that holds it; 0: none
	holder [GroupSize]int
	until  [GroupSize]int64
}

// after says whether the attempt must succeed, and what it leaves.
func (s stock) after(a Attempt) (bool, stock) {
	switch a.Do {
	case Tick:
		s.now = a.At
		for i := range GroupSize {
			if s.until[i] <= s.now {
				s.free(i)
			}
		}
		return true, s
	case Look:
		ok := s.buyer == a.buyers
		s.looked = true
		return ok, s
	case Release:
		any := false
		for i := range GroupSize {
			if s.hold[i] == a.Hold {
				any = true
				s.free(i)
			}
		}
		return any, s
	}
	if slices.Contains(a.Stones, 0) != slices.Contains(a.Stones, 1) {
		return false, s // half a pair
	}
	for _, i := range a.Stones {
		if s.buyer[i] != 0 || s.hold[i] != 0 && (s.holder[i] != a.Who || a.Do == Hold) {
			return false, s
		}
	}
	if a.Do == Hold && s.now >= a.At {
		return false, s
	}
	for _, i := range a.Stones {
		if a.Do == Order {
			s.free(i)
			s.buyer[i] = a.Who + 1
		} else {
			s.hold[i], s.holder[i], s.until[i] = a.Number, a.Who, a.At
		}
	}
	return true, s
}

// free lets go of a stone.
func (s *stock) free(i int) { s.hold[i], s.holder[i], s.until[i] = 0, 0, 0 }

// model is the model of one group.
var model = porcupine.Model{
	Init: func() any { return stock{} },
	Step: func(state, input, output any) (bool, any) {
		s, a, out := state.(stock), input.(Attempt), output.(Result)
		ok, next := s.after(a)
		switch {
		case out.Outcome == Unknown && s.looked: // it came to nothing that anyone saw
			return true, s
		case out.Outcome == Unknown: // where it does nothing, its turn is after the look
			return ok, next
		case a.Do == Tick && a.At < s.now: // clocks go one way
			return false, s
		case out.Position != 0 && out.Position <= s.last: // the log has another order
			return false, s
		}
		next.last = max(next.last, out.Position)
		return ok == (out.Outcome == Done), next
	},
	Equal: func(a, b any) bool { return a.(stock) == b.(stock) },
}

// Jeweller is one who tries, and what they remember of it.
type Jeweller struct {
	who     int
	choices *rand.Rand
	tried   int
	holds   []Attempt // with the ids that they got
}

// NewJeweller gives a jeweller who makes the choices of a seed.
func NewJeweller(seed uint64, who int) *Jeweller {
	return &Jeweller{who: who, choices: rand.New(rand.NewPCG(seed, uint64(who)))}
}

// Next is what the jeweller tries next: mostly they hold stones, until a moment up to
// longest after now, and let go of them again.
func (j *Jeweller) Next(now time.Time, longest time.Duration) Attempt {
	j.tried++
	a := Attempt{
		Do: []Do{Order, Hold, Hold, Hold, Release, Release}[j.choices.IntN(6)], Group: j.choices.IntN(Groups), Who: j.who,
		Stones: wishes[j.choices.IntN(len(wishes))], Number: j.who*1_000_000 + j.tried, request: command.NewID(),
	}
	if a.Do == Release && len(j.holds) == 0 {
		a.Do = Hold
	}
	switch a.Do {
	case Release:
		i := j.choices.IntN(len(j.holds))
		a.Hold, a.Group, a.holdID = j.holds[i].Number, j.holds[i].Group, j.holds[i].holdID
		j.holds = slices.Delete(j.holds, i, i+1)
	case Hold:
		a.At = now.Add(longest/10 + time.Duration(j.choices.Int64N(int64(longest*9/10)))).UnixMicro()
	}
	return a
}

// Pause is how long the jeweller thinks before the next try.
func (j *Jeweller) Pause(longest time.Duration) time.Duration {
	return time.Duration(j.choices.Int64N(int64(longest)))
}

// Try makes the call and says what came of it. The same attempt again is the same request
// again. stones are the ids of all stones, group by group. An error is an answer that
// nobody should get.
func (j *Jeweller) Try(ctx context.Context, client jewellerv1.JewellerServiceClient, a Attempt, stones []string) (Result, error) {
	var ids []string
	for _, i := range a.Stones {
		ids = append(ids, stones[a.Group*GroupSize+i])
	}
	var position uint64
	var err error
	switch a.Do {
	case Order:
		req := &jewellerv1.PlaceOrderRequest{RequestId: a.request}
		for _, id := range ids {
			req.Items = append(req.Items, &jewellerv1.OrderItem{StoneId: id, Price: Price()})
		}
		var got *jewellerv1.PlaceOrderResponse
		got, err = client.PlaceOrder(ctx, req)
		position = got.GetPosition()
	case Hold:
		var got *jewellerv1.HoldStonesResponse
		got, err = client.HoldStones(ctx, &jewellerv1.HoldStonesRequest{
			RequestId: a.request, StoneIds: ids, EndsAt: time.UnixMicro(a.At).UTC().Format(time.RFC3339Nano),
		})
		position = got.GetPosition()
		if err == nil {
			a.holdID = got.GetHold().GetId()
			j.holds = append(j.holds, a)
		}
	case Release:
		var got *jewellerv1.ReleaseHoldResponse
		got, err = client.ReleaseHold(ctx, &jewellerv1.ReleaseHoldRequest{RequestId: a.request, HoldId: a.holdID})
		position = got.GetPosition()
	}
	switch status.Code(err) {
	case codes.OK:
		return Result{Done, position}, nil
	case codes.FailedPrecondition, codes.NotFound, codes.InvalidArgument:
		return Result{Outcome: Refused}, nil
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled:
		return Result{Outcome: Unknown}, nil
	}
	return Result{Outcome: Unknown}, fmt.Errorf("%+v: %w", a, err)
}

// Price is what every stone costs.
func Price() *money.Money { return &money.Money{CurrencyCode: "AUD", Units: 100} }

// History is all that was tried, by group.
type History struct {
	begin time.Time
	mu    sync.Mutex
	of    [Groups][]porcupine.Operation // under mu
}

// never is a moment after all others.
const never = time.Duration(1<<63 - 1)

// NewHistory begins now.
func NewHistory() *History { return &History{begin: time.Now()} }

// Moment is a moment of the history.
func (h *History) Moment(at time.Time) time.Duration { return at.Sub(h.begin) }

// Add notes an attempt that was made at a moment and has ended now, or hasn't where its
// outcome is Unknown.
func (h *History) Add(a Attempt, call time.Duration, out Result) {
	op := porcupine.Operation{ClientId: a.Who, Input: a, Call: int64(call), Output: out, Return: int64(h.Moment(time.Now()))}
	if out.Outcome == Unknown {
		op.Return = int64(never)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.of[a.Group] = append(h.of[a.Group], op)
}

// Tick notes that since call the clock went on to a moment, which ends now for a group.
func (h *History) Tick(group int, to time.Time, call time.Duration) {
	h.Add(Attempt{Do: Tick, Group: group, Who: Jewellers, At: to.UnixMicro()}, call, Result{Outcome: Done})
}

// Look reads everyone's orders and notes who bought what. No stone is in two orders, and
// no pair in halves.
func (h *History) Look(ctx context.Context, clients []jewellerv1.JewellerServiceClient, stones []string) error {
	call := h.Moment(time.Now())
	orders, buyers := map[string]string{}, map[string]int{}
	for who, client := range clients {
		list, err := client.ListOrders(ctx, &jewellerv1.ListOrdersRequest{PageSize: 200})
		if err != nil {
			return fmt.Errorf("couldn't read the orders of jeweller %d: %w", who, err)
		}
		for _, o := range list.GetOrders() {
			for _, l := range o.GetLines() {
				if other := orders[l.GetStoneId()]; other != "" {
					return fmt.Errorf("stone %s is in the orders %s and %s", l.GetStoneId(), other, o.GetId())
				}
				orders[l.GetStoneId()], buyers[l.GetStoneId()] = o.GetId(), who+1
			}
		}
	}
	for g := range Groups {
		ids := stones[g*GroupSize:][:GroupSize]
		if one, other := orders[ids[0]], orders[ids[1]]; one != other {
			return fmt.Errorf("half of pair %d is in order %q, the other in %q", g, one, other)
		}
		a := Attempt{Do: Look, Group: g, Who: Jewellers}
		for i, id := range ids {
			a.buyers[i] = buyers[id]
		}
		h.Add(a, call, Result{Outcome: Done})
	}
	if len(orders) < Groups {
		return fmt.Errorf("only %d stones were sold: the jewellers had nothing to race for", len(orders))
	}
	return nil
}

// Check fails where a group's history can't have happened one call after the other, in
// the order of the positions that the answers name: a
// stone sold twice, half a pair, something for one while another holds it, something
// refused that could be had, an order that was confirmed and is gone.
func (h *History) Check(t testing.TB) {
	t.Helper()
	for g, ops := range h.of {
		if result := porcupine.CheckOperationsTimeout(model, ops, 5*time.Minute); result != porcupine.Ok {
			t.Fatalf("the history of group %d, %d calls, is %s:\n%s", g, len(ops), result, describe(ops))
		}
	}
}

// describe lists a history in the order of the calls.
func describe(ops []porcupine.Operation) string {
	sorted := slices.Clone(ops)
	slices.SortFunc(sorted, func(a, b porcupine.Operation) int { return int(a.Call - b.Call) })
	var b strings.Builder
	for _, op := range sorted {
		fmt.Fprintf(&b, "%12d to %12d: %+v: %v\n", op.Call/1000, op.Return/1000, op.Input, op.Output)
	}
	return b.String()
}

// CheckForged is the negative control: of the histories into which something is forged
// none may pass. To be sure that nothing explains one can take very long, so it is enough
// to be sure of one of each kind.
func (h *History) CheckForged(t *testing.T) {
	short := slices.SortedFunc(slices.Values(h.of[:]), func(a, b []porcupine.Operation) int { return len(a) - len(b) })
	for name, forge := range map[string]func([]porcupine.Operation) ([]porcupine.Operation, bool){
		"a refusal forged into a sale": forgeSale, "a sale taken out": forgeGone,
	} {
		t.Run("found: "+name, func(t *testing.T) {
			for _, ops := range short {
				forged, ok := forge(slices.Clone(ops))
				if !ok {
					continue
				}
				switch porcupine.CheckOperationsTimeout(model, forged, 10*time.Second) {
				case porcupine.Ok:
					t.Fatalf("it passes:\n%s", describe(forged))
				case porcupine.Illegal:
					return
				}
			}
			t.Fatal("no forged history was found")
		})
	}
}

// forgeSale lets an order go through for a stone that another order had.
func forgeSale(ops []porcupine.Operation) ([]porcupine.Operation, bool) {
	sold := func(stone int) bool {
		return slices.ContainsFunc(ops, func(op porcupine.Operation) bool {
			a := op.Input.(Attempt)
			return a.Do == Order && op.Output.(Result).Outcome == Done && slices.Contains(a.Stones, stone)
		})
	}
	i := slices.IndexFunc(ops, func(op porcupine.Operation) bool {
		a := op.Input.(Attempt)
		return a.Do == Order && op.Output.(Result).Outcome == Refused && sold(a.Stones[0])
	})
	if i >= 0 {
		ops[i].Output = Result{Outcome: Done}
	}
	return ops, i >= 0
}

// forgeGone takes an order out of the history that went through, as if the look saw what
// nobody had bought: no other order of that jeweller may explain it.
func forgeGone(ops []porcupine.Operation) ([]porcupine.Operation, bool) {
	ordered := func(out Outcome, who func(int) bool) int {
		return slices.IndexFunc(ops, func(op porcupine.Operation) bool {
			a := op.Input.(Attempt)
			return a.Do == Order && op.Output.(Result).Outcome == out && who(a.Who)
		})
	}
	i := ordered(Done, func(who int) bool {
		return ordered(Unknown, func(other int) bool { return other == who }) < 0
	})
	if i < 0 {
		return ops, false
	}
	return slices.Delete(ops, i, i+1), true
}
