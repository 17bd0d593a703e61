// Package hold holds stones set aside for a jeweller until a moment.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package hold

import (
	"fmt"
	"slices"
	"time"

	holdv1 "seamshare.example/proto/gen/seamshare/event/hold/v1"

	"seamshare.example/services/domain/rule"
)

// MaxStones is how many stones one hold sets aside at most.
const MaxStones = 100

// State is a hold as far as has happened. Rules:
//
//  1. A hold is placed once, on at least one stone, each once; all of them or none.
//  2. It ends at a moment that lies ahead, no further than the co-op's settings allow. When now is not before it, it has
//     ended, in decisions and queries alike.
//  3. One jeweller holds no more stones at once than the settings allow.
//  4. Only its jeweller lets go of it, or takes stones of it, before it ends; what they don't take stays held.
//
// That each stone can be held is the stone's rule. States are shared between
// goroutines: nothing that is reachable from one is ever changed.
type State struct {
	ID       string
	Holder   string
	StoneIDs []string // those still held by it
	EndsAt   time.Time
	Released bool
}

// Stage is where a hold stands.
type Stage int

// The stages; the zero Stage is a hold that isn't there.
const (
	Open Stage = iota + 1
	Ended
	Released
	Used
)

// Stage says where the hold stands at a moment (rule 2).
func (s State) Stage(now time.Time) Stage {
	switch {
	case s.ID == "":
		return 0
	case s.Released:
		return Released
	case len(s.StoneIDs) == 0:
		return Used
	case !now.Before(s.EndsAt):
		return Ended
	}
	return Open
}

// Wish is what a jeweller asks to hold, and what they may.
type Wish struct {
	ID, Holder string
	StoneIDs   []string
	EndsAt     time.Time // the zero time: as late as may be
	// Longest is the longest time of a hold, Already how many stones the jeweller holds
	// now, and Most how many they may hold.
	Longest       time.Duration
	Already, Most int
	Now           time.Time
}

// Place sets the stones aside (rules 1 to 3).
func (s State) Place(w Wish) (*holdv1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "a hold is placed once", Hint: "look it up under this id"}
	}
	var broken rule.All
	if n := len(w.StoneIDs); n < 1 || n > MaxStones {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "stone_ids", Value: fmt.Sprintf("%d stones", n), Rule: fmt.Sprintf("a hold is on 1 to %d", MaxStones), Hint: "hold them in several"})
	}
	for i, id := range w.StoneIDs {
		if slices.Index(w.StoneIDs, id) != i {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: fmt.Sprintf("stone_ids[%d]", i), Value: id, Rule: "a stone is held once", Hint: "leave it out"})
		}
	}
	latest := w.Now.Add(w.Longest)
	if w.EndsAt.IsZero() {
		w.EndsAt = latest
	}
	if !w.EndsAt.After(w.Now) || w.EndsAt.After(latest) {
		broken.Add(rule.Broken{
			Reason: rule.TimeInvalid, Field: "ends_at", Value: rule.Moment(w.EndsAt),
			Rule: "a hold ends after now and at the latest " + rule.Moment(latest), Hint: "hold it shorter, or order it",
		})
	}
	if w.Already+len(w.StoneIDs) > w.Most {
		broken.Add(rule.Broken{
			Reason: rule.TooManyHeld, Field: "stone_ids", Value: fmt.Sprintf("%d stones with %d held already", len(w.StoneIDs), w.Already),
			Rule: fmt.Sprintf("one jeweller holds at most %d", w.Most), Hint: "let go of some, or order them",
		})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &holdv1.Event{Event: &holdv1.Event_Placed{Placed: &holdv1.Placed{
		Public:  &holdv1.Placed_Public{HoldId: w.ID},
		Private: &holdv1.Placed_Private{HolderId: w.Holder, StoneIds: w.StoneIDs, EndsAtUs: w.EndsAt.UnixMicro()},
	}}}, nil
}

// Release lets go of the stones (rule 4).
func (s State) Release(holder string, now time.Time) (*holdv1.Event, error) {
	if s.ID == "" || s.Holder != holder {
		return nil, rule.NotThere("hold_id", "hold")
	}
	if s.Stage(now) != Open {
		return nil, rule.Broken{Reason: rule.HoldOver, Field: "hold_id", Value: s.ID, Rule: "the hold is over", Hint: "nothing needs to be done"}
	}
	return &holdv1.Event{Event: &holdv1.Event_Released{Released: &holdv1.Released{
		Public: &holdv1.Released_Public{HoldId: s.ID}, Private: &holdv1.Released_Private{},
	}}}, nil
}

// Use takes stones of it (rule 4), into an order or out on approval.
func (s State) Use(stoneIDs []string, orderID, approvalID string) *holdv1.Event {
	return &holdv1.Event{Event: &holdv1.Event_Used{Used: &holdv1.Used{
		Public:  &holdv1.Used_Public{HoldId: s.ID},
		Private: &holdv1.Used_Private{StoneIds: stoneIDs, OrderId: orderID, ApprovalId: approvalID},
	}}}
}

// Evolve folds one event.
func Evolve(s State, e *holdv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *holdv1.Event_Placed:
		p := e.Placed.GetPrivate()
		s.ID, s.Holder, s.StoneIDs = e.Placed.GetPublic().GetHoldId(), p.GetHolderId(), p.GetStoneIds()
		s.EndsAt = time.UnixMicro(p.GetEndsAtUs()).UTC()
	case *holdv1.Event_Released:
		s.Released = true
	case *holdv1.Event_Used:
		used := e.Used.GetPrivate().GetStoneIds()
		s.StoneIDs = slices.DeleteFunc(slices.Clone(s.StoneIDs), func(id string) bool { return slices.Contains(used, id) })
	}
	return s
}
