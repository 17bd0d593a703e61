package jeweller_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
)

// The stones come in groups of six: a pair, and four that are offered by themselves. What
// happens in one group has nothing to do with the others, so histories are checked
// group by group.
const (
	groups    = 50
	groupSize = 6
	jewellers = 200
	tries     = 10 // of each jeweller
)

// wishes are what jewellers try to get of a group: the pair, with or without another
// stone, half of it, which nobody gets, and overlapping twos.
var wishes = [][]int{{0, 1}, {0, 1, 2}, {0}, {1, 2}, {2, 3}, {3, 4}, {4, 5}, {2, 5}, {3}}

// do is what is done.
type do int

const (
	order do = iota
	hold
	release
	tick // the clock goes on
)

// attempt is one call, or a step of the clock.
type attempt struct {
	do     do
	group  int // of none for tick
	who    int
	stones []int
	number int // of this attempt
	hold   int // the attempt by which was held, for release
	at     int64
}

// stock is what the model knows of a group. Times are microseconds.
type stock struct {
	now    int64
	sold   [groupSize]bool
	hold   [groupSize]int // the attempt that holds it; 0: none
	holder [groupSize]int
	until  [groupSize]int64
}

// after says whether the attempt must succeed, and what it leaves.
func (s stock) after(a attempt) (bool, stock) {
	held := func(i int) bool { return s.hold[i] != 0 && s.now < s.until[i] }
	if a.do == tick {
		s.now = a.at
		return true, s
	}
	if a.do == release {
		any := false
		for i := range groupSize {
			if s.hold[i] == a.hold && held(i) && !s.sold[i] {
				any, s.hold[i] = true, 0
			}
		}
		return any, s
	}
	if slices.Contains(a.stones, 0) != slices.Contains(a.stones, 1) {
		return false, s // half a pair
	}
	for _, i := range a.stones {
		if s.sold[i] || held(i) && (s.holder[i] != a.who || a.do == hold) {
			return false, s
		}
	}
	if a.do == hold && s.now >= a.at {
		return false, s
	}
	for _, i := range a.stones {
		switch a.do {
		case order:
			s.sold[i], s.hold[i] = true, 0
		case hold:
			s.hold[i], s.holder[i], s.until[i] = a.number, a.who, a.at
		}
	}
	return true, s
}

// shopModel is the model of one group, from a moment on.
func shopModel(start int64) porcupine.Model {
	return porcupine.Model{
		Init: func() any { return stock{now: start} },
		Step: func(state, input, output any) (bool, any) {
			ok, next := state.(stock).after(input.(attempt))
			if ok != output.(bool) {
				return false, state
			}
			return true, next
		},
		Equal:             func(a, b any) bool { return a.(stock) == b.(stock) },
		DescribeOperation: func(input, output any) string { return fmt.Sprintf("%+v: %v", input, output) },
	}
}

// history is all that was tried, by group.
type history struct {
	mu    sync.Mutex
	begin time.Time
	of    [groups][]porcupine.Operation // under mu
}

func (h *history) add(a attempt, call, end time.Duration, ok bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	op := porcupine.Operation{ClientId: a.who, Input: a, Call: int64(call), Output: ok, Return: int64(end)}
	if a.do != tick {
		h.of[a.group] = append(h.of[a.group], op)
		return
	}
	for g := range groups {
		h.of[g] = append(h.of[g], op)
	}
}

// Two hundred jewellers take, hold and let go of overlapping stones of three hundred,
// while holds run out. Each group's history must be one that could have happened one
// call after the other: no stone twice, no half pair, nothing for anybody while another
// holds it, and nothing refused that could be had.
func TestManyWantTheSame(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	clock := &handClock{now: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)}
	h := cooptest.Open(t, clock.read)
	miner, cutter := h.Join(t, "Billycart Diggings", typev1.Role_ROLE_MINER), h.Join(t, "Wet Wheel Workshop", typev1.Role_ROLE_CUTTER)
	var stones []*typev1.Stone
	for len(stones) < groups*groupSize {
		stones = append(stones, h.Cut(t, miner, cutter, slices.Repeat([]int64{10000}, groups)...).Stones...)
	}
	for g := range groups {
		if _, err := cutter.Cutter().OfferSet(t.Context(), &cutterv1.OfferSetRequest{
			RequestId: command.NewID(), Kind: typev1.SetKind_SET_KIND_PAIR,
			Stones: []*cutterv1.SetStone{{StoneId: stones[g*groupSize].GetId(), Price: cooptest.AUD(10000)}, {StoneId: stones[g*groupSize+1].GetId(), Price: cooptest.AUD(10000)}},
		}); err != nil {
			t.Fatal(err)
		}
	}
	people := make([]cooptest.Person, jewellers)
	for i := range people {
		people[i] = h.Join(t, fmt.Sprintf("Jeweller %d", i), typev1.Role_ROLE_JEWELLER)
	}
	start := clock.read().UnixMicro()
	past := &history{begin: time.Now()}
	var numbers sync.Mutex
	last := 0
	next := func() int {
		numbers.Lock()
		defer numbers.Unlock()
		last++
		return last
	}
	var all sync.WaitGroup
	tried := make(chan struct{}) // one for each attempt
	for who, person := range people {
		all.Go(func() {
			r := rand.New(rand.NewPCG(seed, uint64(who)))
			held := map[int]string{} // hold ids by attempt
			groupOf := map[int]int{}
			for range tries {
				a := attempt{do: do(r.IntN(3)), group: r.IntN(groups), who: who, number: next()}
				a.stones = wishes[r.IntN(len(wishes))]
				holdID := ""
				if a.do == release {
					for a.hold, holdID = range held { // any
						break
					}
					if holdID == "" {
						a.do = hold
					} else {
						delete(held, a.hold)
						a.group = groupOf[a.hold]
					}
				}
				if a.do == hold {
					a.at = clock.read().Add(time.Duration(3+r.IntN(20)) * time.Second).UnixMicro()
				}
				call := time.Since(past.begin)
				id, err := a.try(t, person, stones, holdID)
				end := time.Since(past.begin)
				if code := status.Code(err); code != codes.OK && code != codes.FailedPrecondition && code != codes.NotFound && code != codes.InvalidArgument {
					t.Errorf("%+v: %v", a, err)
					return
				}
				if a.do == hold && err == nil {
					held[a.number], groupOf[a.number] = id, a.group
				}
				past.add(a, call, end, err == nil)
				tried <- struct{}{}
			}
		})
	}
	go func() { all.Wait(); close(tried) }()
	for n := 0; ; n++ {
		if _, more := <-tried; !more {
			break
		}
		if n%40 == 0 {
			past.step(t, h.Node, clock)
		}
	}
	for g, ops := range past.of {
		result, _ := porcupine.CheckOperationsVerbose(shopModel(start), ops, time.Minute)
		if result != porcupine.Ok {
			t.Fatalf("seed %d: the history of group %d, %d calls, is %s", seed, g, len(ops), result)
		}
	}
	onlyOnce(t, people, stones)
	t.Run("control: a refusal forged into a sale is found", func(t *testing.T) {
		forged := 0
		for _, ops := range past.of {
			if forged == 3 { // what is wrong takes long to be sure of
				break
			}
			ops, ok := forge(ops)
			if !ok {
				continue
			}
			forged++
			if porcupine.CheckOperations(shopModel(start), ops) {
				t.Fatal("a forged history passes")
			}
		}
		if forged == 0 {
			t.Fatal("no history had anything to forge")
		}
	})
}

// forge lets an order go through for a stone that another order had.
func forge(ops []porcupine.Operation) ([]porcupine.Operation, bool) {
	sold := func(stone int) bool {
		return slices.ContainsFunc(ops, func(op porcupine.Operation) bool {
			a := op.Input.(attempt)
			return a.do == order && op.Output.(bool) && slices.Contains(a.stones, stone)
		})
	}
	i := slices.IndexFunc(ops, func(op porcupine.Operation) bool {
		a := op.Input.(attempt)
		return a.do == order && !op.Output.(bool) && sold(a.stones[0])
	})
	if i < 0 {
		return nil, false
	}
	forged := slices.Clone(ops)
	forged[i].Output = true
	return forged, true
}

// TestTheModelFinds: what must not happen is not in the model.
func TestTheModelFinds(t *testing.T) {
	twice := func(first, second attempt) []porcupine.Operation {
		return []porcupine.Operation{
			{ClientId: 1, Input: first, Call: 0, Output: true, Return: 10}, {ClientId: 2, Input: second, Call: 5, Output: true, Return: 15},
		}
	}
	for name, ops := range map[string][]porcupine.Operation{
		"a stone sold twice":    twice(attempt{stones: []int{2, 3}, who: 1}, attempt{stones: []int{3, 4}, who: 2}),
		"half a pair":           twice(attempt{stones: []int{0}, who: 1}, attempt{stones: []int{3}, who: 2}),
		"a held stone sold":     {{Input: attempt{do: hold, stones: []int{2}, who: 1, number: 1, at: 9}, Call: 0, Output: true, Return: 1}, {Input: attempt{stones: []int{2}, who: 2}, Call: 2, Output: true, Return: 3}},
		"a free stone refused":  {{Input: attempt{stones: []int{2}, who: 1}, Call: 0, Output: false, Return: 1}},
		"an ended hold refuses": {{Input: attempt{do: hold, stones: []int{2}, who: 1, number: 1, at: 9}, Call: 0, Output: true, Return: 1}, {Input: attempt{do: tick, at: 9}, Call: 2, Output: true, Return: 3}, {Input: attempt{stones: []int{2}, who: 2}, Call: 4, Output: false, Return: 5}},
	} {
		if porcupine.CheckOperations(shopModel(0), ops) {
			t.Errorf("%s passes", name)
		}
	}
}

// try makes the call.
func (a attempt) try(t *testing.T, person cooptest.Person, stones []*typev1.Stone, holdID string) (string, error) {
	var ids []string
	for _, i := range a.stones {
		ids = append(ids, stones[a.group*groupSize+i].GetId())
	}
	switch a.do {
	case order:
		req := &jewellerv1.PlaceOrderRequest{RequestId: command.NewID()}
		for _, id := range ids {
			req.Items = append(req.Items, &jewellerv1.OrderItem{StoneId: id, Price: cooptest.AUD(10000)})
		}
		_, err := person.Jeweller().PlaceOrder(t.Context(), req)
		return "", err
	case hold:
		got, err := person.Jeweller().HoldStones(t.Context(), &jewellerv1.HoldStonesRequest{
			RequestId: command.NewID(), StoneIds: ids, EndsAt: time.UnixMicro(a.at).UTC().Format(time.RFC3339Nano),
		})
		return got.GetHold().GetId(), err
	default:
		_, err := person.Jeweller().ReleaseHold(t.Context(), &jewellerv1.ReleaseHoldRequest{RequestId: command.NewID(), HoldId: holdID})
		return "", err
	}
}

// step lets the clock go on by a second. The step is over when a decision has gone
// through that began after it: a batch that was being put together keeps its moment.
func (h *history) step(t *testing.T, node *eventstore.Node, clock *handClock) {
	a := attempt{do: tick, who: jewellers}
	call := time.Since(h.begin)
	a.at = clock.step(time.Second).UnixMicro()
	nothing := errors.New("nothing")
	for range 3 {
		if _, err := node.Decide(t.Context(), eventstore.Request{}, func(*eventstore.Tx) error { return nothing }); !errors.Is(err, nothing) {
			t.Errorf("a decision that records nothing ends with %v", err)
			return
		}
	}
	h.add(a, call, time.Since(h.begin), true)
}

// onlyOnce reads all orders: each stone is in one at most, and pairs are whole.
func onlyOnce(t *testing.T, people []cooptest.Person, stones []*typev1.Stone) {
	t.Helper()
	order := map[string]string{}
	for _, p := range people {
		list, err := p.Jeweller().ListOrders(t.Context(), &jewellerv1.ListOrdersRequest{PageSize: 200})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range list.GetOrders() {
			for _, l := range o.GetLines() {
				if order[l.GetStoneId()] != "" {
					t.Errorf("stone %s is in two orders", l.GetStoneId())
				}
				order[l.GetStoneId()] = o.GetId()
			}
		}
	}
	for g := range groups {
		if one, other := order[stones[g*groupSize].GetId()], order[stones[g*groupSize+1].GetId()]; one != other {
			t.Errorf("half of pair %d is in order %q, the other in %q", g, one, other)
		}
	}
	if len(order) < groups {
		t.Errorf("only %d stones were sold", len(order))
	}
}

// handClock is moved by hand.
type handClock struct {
	mu  sync.Mutex
	now time.Time // under mu
}

func (c *handClock) read() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

func (c *handClock) step(by time.Duration) time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(by)
	return c.now
}
