package tablestest

import (
	"context"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/coop/cooptest"
)

// World is a house with somebody for every role, in which recipes act. Its clock stands
// still until somebody moves it.
type World struct {
	*cooptest.House
	// T is the test that is under way; recipes that can't go on fail it.
	T testing.TB

	Miner, OtherMiner       cooptest.Person
	Cutter, OtherCutter     cooptest.Person
	Jeweller, OtherJeweller cooptest.Person
	// Of the co-op's desk; House.Desk is the registrar.
	Registrar, Keeper, Books, Approver, Auditor cooptest.Person
	// Second is another of the same: persons who confirm what the first one did.
	SecondMiner, SecondCutter, SecondKeeper, SecondBooks, SecondApprover cooptest.Person

	clock *clock
}

// clock is moved by hand.
type clock struct {
	mu  sync.Mutex
	now time.Time // guarded by mu
}

func (c *clock) read() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// NewWorld opens a house and lets everybody in.
// dial is for the connections of them all.
func NewWorld(t testing.TB, dial ...grpc.DialOption) *World {
	t.Helper()
	w := &World{T: t, clock: &clock{now: time.Now().UTC().Truncate(time.Second)}}
	w.House = cooptest.Open(t, w.clock.read, dial...)
	const (
		miner      = typev1.Role_ROLE_MINER
		cutter     = typev1.Role_ROLE_CUTTER
		jeweller   = typev1.Role_ROLE_JEWELLER
		keeper     = typev1.Role_ROLE_STOCK_KEEPER
		bookkeeper = typev1.Role_ROLE_BOOKKEEPER
		approver   = typev1.Role_ROLE_APPROVER
	)
	w.Miner, w.OtherMiner = w.Join(t, "Billycart Diggings", miner), w.Join(t, "Ninth Shaft Mining", miner)
	w.Cutter, w.OtherCutter = w.Join(t, "Wet Wheel Workshop", cutter), w.Join(t, "Two Dops Lapidary", cutter)
	w.Jeweller, w.OtherJeweller = w.Join(t, "Marrow & Pin Jewellers", jeweller), w.Join(t, "Fernhook Goldsmiths", jeweller)
	w.SecondMiner, w.SecondCutter = w.Add(t, w.Miner.Member, miner), w.Add(t, w.Cutter.Member, cutter)
	desk := w.Desk.Member
	w.Registrar = w.Add(t, desk, typev1.Role_ROLE_REGISTRAR)
	w.Keeper, w.SecondKeeper = w.Add(t, desk, keeper), w.Add(t, desk, keeper)
	w.Books, w.SecondBooks = w.Add(t, desk, bookkeeper), w.Add(t, desk, bookkeeper)
	w.Approver, w.SecondApprover = w.Add(t, desk, approver), w.Add(t, desk, approver)
	w.Auditor = w.Add(t, desk, typev1.Role_ROLE_AUDITOR)
	return w
}

// People are all of them, the first registrar too.
func (w *World) People() []cooptest.Person {
	return []cooptest.Person{
		w.Desk, w.Miner, w.OtherMiner, w.SecondMiner, w.Cutter, w.OtherCutter, w.SecondCutter, w.Jeweller, w.OtherJeweller,
		w.Registrar, w.Keeper, w.SecondKeeper, w.Books, w.SecondBooks, w.Approver, w.SecondApprover, w.Auditor,
	}
}

// Swapped is the world in which the others of each trade are in their places: what recipes
// do there is theirs.
func (w *World) Swapped() *World {
	other := *w
	other.Miner, other.OtherMiner = w.OtherMiner, w.Miner
	other.Cutter, other.OtherCutter = w.OtherCutter, w.Cutter
	other.Jeweller, other.OtherJeweller = w.OtherJeweller, w.Jeweller
	other.SecondMiner = w.Add(w.T, other.Miner.Member, typev1.Role_ROLE_MINER)
	other.SecondCutter = w.Add(w.T, other.Cutter.Member, typev1.Role_ROLE_CUTTER)
	return &other
}

// Ctx is the context for calls.
func (w *World) Ctx() context.Context { return w.T.Context() }

// Now is the moment at which the next decision is made.
func (w *World) Now() time.Time { return w.clock.read() }

// Advance moves the clock.
func (w *World) Advance(by time.Duration) {
	w.clock.mu.Lock()
	defer w.clock.mu.Unlock()
	w.clock.now = w.clock.now.Add(by)
}

// Must ends the test where a recipe's call failed.
func (w *World) Must(err error) {
	w.T.Helper()
	if err != nil {
		w.T.Fatalf("the recipe doesn't work: %v", err)
	}
}
