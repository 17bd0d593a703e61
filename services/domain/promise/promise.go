// Package promise holds stones that a cutter promises a jeweller to cut to order.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure: times and ids are passed
// in.
package promise

import (
	"fmt"
	"slices"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/rule"

	promisev1 "seamshare.example/proto/gen/seamshare/event/promise/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// MaxItems is how many stones one promise holds.
const MaxItems = 20

// State is a promise as far as has happened. Rules:
//
//  1. A promise is made once, by a cutter to a jeweller who is another, with a price, a tolerance and a date to come.
//  2. All its prices are in one currency, each more than nothing.
//  3. The jeweller accepts, as long as it isn't due, or declines; the cutter takes it back until then.
//  4. Accepted, it binds both: what ends it is the delivery, also a late one, whose order isn't called off; or its
//     cutter says, with the reason, that it can't be kept.
//  5. It is delivered by as many stones as it has, in its order: of the outline and kind promised, each dimension
//     within the tolerance.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	ID       string
	Cutter   string
	Jeweller string
	Items    []*promisev1.Item
	DueAt    time.Time
	Note     string
	Stage    Stage
	Why      string    // it was declined, withdrawn or not kept
	EndedAt  time.Time // by its cutter's word
	StoneIDs []string
	OrderID  string
}

// Stage is where a promise stands.
type Stage int

// The stages; the zero Stage is a promise that isn't there.
const (
	Offered Stage = iota + 1
	Accepted
	Declined
	Withdrawn
	Delivered
	NotKept
)

func (s Stage) String() string {
	switch s {
	case Offered:
		return "offered"
	case Accepted:
		return "accepted"
	case Declined:
		return "declined"
	case Withdrawn:
		return "withdrawn"
	case Delivered:
		return "delivered"
	case NotKept:
		return "not kept"
	}
	return ""
}

// Making is a promise as a cutter makes it.
type Making struct {
	ID, Cutter, Jeweller string
	Items                []*promisev1.Item
	DueAt                time.Time
	Note                 string
}

// Make makes the promise (rules 1 and 2). That the jeweller trades here is for the
// caller to know.
func (s State) Make(m Making, now time.Time) (*promisev1.Event, error) {
	if s.ID != "" {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.ID, Rule: "a promise is made once", Hint: "look it up under this id"}
	}
	var broken rule.All
	if m.Jeweller == m.Cutter {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "jeweller_id", Value: m.Jeweller, Rule: "nobody promises to themselves", Hint: "name a jeweller"})
	}
	if n := len(m.Items); n < 1 || n > MaxItems {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "items", Value: fmt.Sprint(n), Rule: fmt.Sprintf("a promise is of 1 to %d stones", MaxItems), Hint: "make several"})
	}
	for i, item := range m.Items {
		at := fmt.Sprintf("items[%d].", i)
		broken.Answered(at+"outline", int32(item.GetOutline()), stonev1.Outline_name)
		broken.Answered(at+"kind", int32(item.GetKind()), eventv1.Kind_name)
		broken.Size(at+"size", item.GetSize())
		if t := item.GetToleranceUm(); t < 0 || t > rule.MaxLengthUm {
			broken.Add(rule.Broken{Reason: rule.SizeInvalid, Field: at + "tolerance_um", Value: fmt.Sprint(t), Rule: "a tolerance is not below zero", Hint: "give micrometres, such as 200 for 0.2 mm"})
		}
		if item.GetLike() != "" {
			broken.Text(at+"like", item.GetLike(), 300)
		}
		broken.Positive(at+"price", item.GetPrice())
		broken.Currency(at+"price", item.GetPrice(), m.Items[0].GetPrice().GetCurrency())
	}
	if !m.DueAt.After(now) || m.DueAt.Year() > 9999 {
		broken.Add(rule.Broken{Reason: rule.TimeInvalid, Field: "due_at", Value: rule.Moment(m.DueAt), Rule: "stones are due after now, which is " + rule.Moment(now), Hint: "give a later moment"})
	}
	if m.Note != "" {
		broken.Text("note", m.Note, 1000)
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &promisev1.Event{Event: &promisev1.Event_Made{Made: &promisev1.Made{
		Public:  &promisev1.Made_Public{PromiseId: m.ID},
		Private: &promisev1.Made_Private{CutterId: m.Cutter, JewellerId: m.Jeweller, Items: m.Items, DueUs: m.DueAt.UnixMicro(), Note: m.Note},
	}}}, nil
}

// Accept makes it binding (rule 3).
func (s State) Accept(jeweller string, now time.Time) (*promisev1.Event, error) {
	if err := s.open(s.Jeweller == jeweller); err != nil {
		return nil, err
	}
	if s.Lapsed(now) {
		return nil, rule.Broken{Reason: rule.PromiseLapsed, Field: "promise_id", Value: s.ID, Rule: "it could be accepted until its stones were due, " + rule.Moment(s.DueAt), Hint: "ask its cutter for a new promise"}
	}
	return &promisev1.Event{Event: &promisev1.Event_Accepted{Accepted: &promisev1.Accepted{
		Public: &promisev1.Accepted_Public{PromiseId: s.ID}, Private: &promisev1.Accepted_Private{},
	}}}, nil
}

// Decline ends it (rule 3).
func (s State) Decline(jeweller, why string) (*promisev1.Event, error) {
	if err := s.open(s.Jeweller == jeweller); err != nil {
		return nil, err
	}
	if err := reason(why); err != nil {
		return nil, err
	}
	return &promisev1.Event{Event: &promisev1.Event_Declined{Declined: &promisev1.Declined{
		Public: &promisev1.Declined_Public{PromiseId: s.ID}, Private: &promisev1.Declined_Private{Why: why},
	}}}, nil
}

// Withdraw takes it back (rule 3), or says that it can't be kept (rule 4).
func (s State) Withdraw(cutter, why string, now time.Time) (*promisev1.Event, error) {
	if err := s.open(s.Cutter == cutter, Accepted); err != nil {
		return nil, err
	}
	if err := reason(why); err != nil {
		return nil, err
	}
	return &promisev1.Event{Event: &promisev1.Event_Withdrawn{Withdrawn: &promisev1.Withdrawn{
		Public: &promisev1.Withdrawn_Public{PromiseId: s.ID}, Private: &promisev1.Withdrawn_Private{Why: why, AtUs: now.UnixMicro()},
	}}}, nil
}

func reason(why string) error {
	var broken rule.All
	broken.Text("why", why, 300)
	return broken.Err()
}

// open refuses where the promise is not one's own, or is answered and at no stage of more.
func (s State) open(theirs bool, more ...Stage) error {
	switch {
	case s.ID == "" || !theirs:
		return rule.NotThere("promise_id", "promise")
	case s.Stage != Offered && !slices.Contains(more, s.Stage):
		return rule.Broken{Reason: rule.PromiseSettled, Field: "promise_id", Value: s.ID, Rule: "the promise is " + s.Stage.String(), Hint: "nothing more can be said to it"}
	}
	return nil
}

// Stone is what a delivered stone is like.
type Stone struct {
	ID      string
	Outline stonev1.Outline
	Kind    eventv1.Kind
	Size    *eventv1.Size
}

// Deliver names the stones (rules 4 and 5). That they are fit to be sold, and the order
// they go into, are the stones' and the order's rules.
func (s State) Deliver(cutter string, stones []Stone, orderID string) (*promisev1.Event, error) {
	switch {
	case s.ID == "" || s.Cutter != cutter:
		return nil, rule.NotThere("promise_id", "promise")
	case s.Stage == Offered:
		return nil, rule.Broken{Reason: rule.PromiseNotTaken, Field: "promise_id", Value: s.ID, Rule: "the jeweller hasn't accepted the promise", Hint: "wait for the answer"}
	case s.Stage != Accepted:
		return nil, rule.Broken{Reason: rule.PromiseSettled, Field: "promise_id", Value: s.ID, Rule: "the promise is " + s.Stage.String(), Hint: "nothing more can be delivered"}
	}
	var broken rule.All
	if len(stones) != len(s.Items) {
		return nil, rule.Broken{Reason: rule.CountInvalid, Field: "stone_ids", Value: fmt.Sprint(len(stones)), Rule: fmt.Sprintf("%d stones are promised", len(s.Items)), Hint: "name one for each item, in its order"}
	}
	ids := make([]string, len(stones))
	for i, st := range stones {
		if slices.Contains(ids[:i], st.ID) {
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: fmt.Sprintf("stone_ids[%d]", i), Value: st.ID, Rule: "a stone is delivered once", Hint: "name another"})
		}
		ids[i] = st.ID
		checkStone(&broken, fmt.Sprintf("stone_ids[%d]", i), s.Items[i], st)
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &promisev1.Event{Event: &promisev1.Event_Delivered{Delivered: &promisev1.Delivered{
		Public: &promisev1.Delivered_Public{PromiseId: s.ID, StoneIds: ids, OrderId: orderID}, Private: &promisev1.Delivered_Private{},
	}}}, nil
}

func checkStone(broken *rule.All, field string, item *promisev1.Item, st Stone) {
	other := func(what string) {
		broken.Add(rule.Broken{Reason: rule.OutOfTolerance, Field: field, Value: st.ID, Rule: what, Hint: "deliver another, or make a new promise of this one"})
	}
	if st.Outline != item.GetOutline() {
		other("another outline was promised")
	}
	if st.Kind != item.GetKind() {
		other("another kind of opal was promised")
	}
	for _, d := range []struct {
		name     string
		is, want int64
	}{
		{"length", st.Size.GetLengthUm(), item.GetSize().GetLengthUm()},
		{"width", st.Size.GetWidthUm(), item.GetSize().GetWidthUm()},
		{"depth", st.Size.GetDepthUm(), item.GetSize().GetDepthUm()},
	} {
		if max(d.is-d.want, d.want-d.is) > item.GetToleranceUm() {
			other(fmt.Sprintf("its %s is %s, where %s within %s was promised", d.name, measure.Length(d.is).Millimetres(0), measure.Length(d.want).Millimetres(0), measure.Length(item.GetToleranceUm()).Millimetres(0)))
		}
	}
}

// Lapsed tells whether a promise wasn't accepted before it was due.
func (s State) Lapsed(now time.Time) bool { return s.Stage == Offered && !now.Before(s.DueAt) }

// Overdue tells whether an accepted promise is past its date.
func (s State) Overdue(now time.Time) bool { return s.Stage == Accepted && !now.Before(s.DueAt) }

// Evolve folds one event.
func Evolve(s State, e *promisev1.Event) State {
	switch e := e.GetEvent().(type) {
	case *promisev1.Event_Made:
		p := e.Made.GetPrivate()
		s = State{
			ID: e.Made.GetPublic().GetPromiseId(), Cutter: p.GetCutterId(), Jeweller: p.GetJewellerId(), Items: p.GetItems(),
			DueAt: time.UnixMicro(p.GetDueUs()).UTC(), Note: p.GetNote(), Stage: Offered,
		}
	case *promisev1.Event_Accepted:
		s.Stage = Accepted
	case *promisev1.Event_Declined:
		s.Stage, s.Why = Declined, e.Declined.GetPrivate().GetWhy()
	case *promisev1.Event_Withdrawn:
		p := e.Withdrawn.GetPrivate()
		if s.Stage == Accepted {
			s.Stage = NotKept
		} else {
			s.Stage = Withdrawn
		}
		s.Why, s.EndedAt = p.GetWhy(), time.UnixMicro(p.GetAtUs()).UTC()
	case *promisev1.Event_Delivered:
		p := e.Delivered.GetPublic()
		s.Stage, s.StoneIDs, s.OrderID = Delivered, p.GetStoneIds(), p.GetOrderId()
	}
	return s
}
