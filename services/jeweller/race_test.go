package jeweller_test

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/command"
	"seamshare.example/services/coop/cooptest"
	"seamshare.example/services/jeweller/racetest"
)

const (
	tries       = 10 // of each jeweller
	longestHold = 20 * time.Second
)

// Two hundred jewellers take, hold and let go of overlapping stones of three hundred,
// while holds run out by a clock that is moved by hand.
func TestManyWantTheSame(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	clock := &handClock{now: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)}
	h := cooptest.Open(t, clock.read)
	miner, cutter := h.Join(t, "Billycart Diggings", typev1.Role_ROLE_MINER), h.Join(t, "Wet Wheel Workshop", typev1.Role_ROLE_CUTTER)
	var stones []string
	for len(stones) < racetest.Groups*racetest.GroupSize {
		for _, s := range h.Cut(t, miner, cutter, slices.Repeat([]int64{racetest.Price().GetUnits() * 100}, racetest.Groups)...).Stones {
			stones = append(stones, s.GetId())
		}
	}
	for g := range racetest.Groups {
		if _, err := cutter.Cutter().OfferSet(t.Context(), &cutterv1.OfferSetRequest{
			RequestId: command.NewID(), Kind: typev1.SetKind_SET_KIND_PAIR,
			Stones: []*cutterv1.SetStone{
				{StoneId: stones[g*racetest.GroupSize], Price: racetest.Price()}, {StoneId: stones[g*racetest.GroupSize+1], Price: racetest.Price()},
			},
		}); err != nil {
			t.Fatal(err)
		}
	}
	clients := make([]jewellerv1.JewellerServiceClient, racetest.Jewellers)
	for who := range clients {
		clients[who] = h.Join(t, fmt.Sprintf("Jeweller %d", who), typev1.Role_ROLE_JEWELLER).Jeweller()
	}
	past := racetest.NewHistory()
	var all sync.WaitGroup
	tried := make(chan struct{}) // one for each attempt
	for who, client := range clients {
		all.Go(func() {
			j := racetest.NewJeweller(seed, who)
			for range tries {
				a := j.Next(clock.read(), longestHold)
				call := past.Moment(time.Now())
				out, err := j.Try(t.Context(), client, a, stones)
				if err != nil || out.Outcome == racetest.Unknown {
					t.Errorf("%+v: %v", a, err)
					return
				}
				past.Add(a, call, out)
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
			step(t, past, h.Node, clock)
		}
	}
	if err := past.Look(t.Context(), clients, stones); err != nil {
		t.Fatal(err)
	}
	past.Check(t)
	past.CheckForged(t)
}

// step lets the clock go on by a second. The step is over when a decision has gone
// through that began after it: a batch that was being put together keeps its moment.
func step(t *testing.T, past *racetest.History, node *eventstore.Node, clock *handClock) {
	call := past.Moment(time.Now())
	at := clock.step(time.Second)
	nothing := errors.New("nothing")
	for range 3 {
		if _, err := node.Decide(t.Context(), eventstore.Request{}, func(*eventstore.Tx) error { return nothing }); !errors.Is(err, nothing) {
			t.Errorf("a decision that records nothing ends with %v", err)
			return
		}
	}
	for g := range racetest.Groups {
		past.Tick(g, at, call)
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
