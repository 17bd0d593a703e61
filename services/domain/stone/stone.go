// Package stone holds a finished stone: what it is and whose it is.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package stone

import (
	"fmt"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// State is a stone as far as has happened. Rules:
//
//  1. A stone is finished once, weighed and measured.
//  2. Outline, kind, treatment, hydrophane and composite are always answered.
//  3. Only its cutter puts it on sale, while it isn't sold; a new price replaces the old one.
//  4. A price is more than nothing, in the currency of the stone's parcel.
//  5. It is sold only while on sale, at the price asked.
//  6. Only a sold stone comes back, to its cutter; then it is in stock, measured again.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	Facts *stonev1.Finished_Public // as finished; nil: no stone
	Stage Stage

	Weighing *eventv1.Weighing // as last measured
	Size     *eventv1.Size

	Price   *eventv1.Amount // asked while on sale, agreed while sold
	Buyer   string          // while sold
	OrderID string          // while sold
}

// Stage is where a stone stands.
type Stage int

// The stages; the zero Stage is a stone that isn't there.
const (
	InStock Stage = iota + 1
	OnSale
	Sold
)

func (s State) id() string { return s.Facts.GetStoneId() }

// Finish makes the stone (rules 1 and 2). Its mass against its part is the piece's
// rule.
func (s State) Finish(f *stonev1.Finished_Public) (*stonev1.Event, error) {
	if s.Facts != nil {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.id(), Rule: "a stone is finished once", Hint: "look it up under this id"}
	}
	var broken rule.All
	broken.Text("label", f.GetLabel(), 40)
	broken.Weighing("weighing", f.GetWeighing())
	broken.Size("size", f.GetSize())
	broken.Answered("outline", int32(f.GetOutline()), stonev1.Outline_name)
	broken.Answered("kind", int32(f.GetKind()), eventv1.Kind_name)
	broken.Answered("treatment", int32(f.GetTreatment()), eventv1.Treatment_name)
	broken.Answered("hydrophane", int32(f.GetHydrophane()), stonev1.Hydrophane_name)
	broken.Answered("composite", int32(f.GetComposite()), stonev1.Composite_name)
	checkGrade(&broken, f.GetGrade())
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_Finished{Finished: &stonev1.Finished{Public: f, Private: &stonev1.Finished_Private{}}}}, nil
}

// checkGrade: every attribute may be left unjudged, but a judged one is one of the words.
func checkGrade(broken *rule.All, g *stonev1.Grade) {
	if t := g.GetBodyTone(); t > 9 {
		broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: "grade.body_tone", Value: fmt.Sprint(t), Rule: "body tone is 1 (darkest) to 9 (lightest)", Hint: "0 where it isn't judged"})
	}
	for _, a := range []struct {
		field  string
		number int32
		known  map[int32]string
	}{
		{"grade.transparency", int32(g.GetTransparency()), stonev1.Transparency_name},
		{"grade.pattern", int32(g.GetPattern()), stonev1.Pattern_name},
		{"grade.brightness", int32(g.GetBrightness()), stonev1.Brightness_name},
	} {
		if _, ok := a.known[a.number]; !ok {
			broken.Add(rule.Broken{Reason: rule.FieldInvalid, Field: a.field, Value: fmt.Sprint(a.number), Rule: "it is one of the words offered", Hint: "0 where it isn't judged"})
		}
	}
}

// PutOnSale asks a price (rules 3 and 4). currency is that of the stone's parcel.
func (s State) PutOnSale(cutter string, price *eventv1.Amount, currency string) (*stonev1.Event, error) {
	if s.Facts == nil || s.Facts.GetCutterId() != cutter {
		return nil, rule.NotThere("stone_id", "stone")
	}
	if s.Stage == Sold {
		return nil, rule.Broken{Reason: rule.StoneSold, Field: "stone_id", Value: s.id(), Rule: "the stone is sold", Hint: "take it back first, or choose another"}
	}
	var broken rule.All
	broken.Positive("price", price)
	broken.Currency("price", price, currency)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_PutOnSale{PutOnSale: &stonev1.PutOnSale{
		Public:  &stonev1.PutOnSale_Public{StoneId: s.id()},
		Private: &stonev1.PutOnSale_Private{Price: price},
	}}}, nil
}

// Sell sells the stone into an order (rule 5). seen is the price the buyer saw; at is
// the item's path in the request, as "items[2]".
func (s State) Sell(buyer, orderID string, seen *eventv1.Amount, at string) (*stonev1.Event, error) {
	switch {
	case s.Facts == nil || s.Stage == InStock:
		// A stone in stock was never shown to a buyer, so it looks like none.
		return nil, rule.NotThere(at+".stone_id", "stone on sale or")
	case s.Stage == Sold:
		return nil, rule.Broken{Reason: rule.StoneNotForSale, Field: at + ".stone_id", Value: s.id(), Rule: "the stone is sold already", Hint: "leave it out or choose another"}
	case s.Price.GetCurrency() != seen.GetCurrency() || s.Price.GetMinor() != seen.GetMinor():
		return nil, rule.Broken{
			Reason: rule.PriceMoved, Field: at + ".price", Value: rule.Money(seen),
			Rule: "the price asked is " + rule.Money(s.Price) + " by now", Hint: "order again at this price, or leave it out",
		}
	}
	return &stonev1.Event{Event: &stonev1.Event_Sold{Sold: &stonev1.Sold{
		Public:  &stonev1.Sold_Public{StoneId: s.id(), OrderId: orderID},
		Private: &stonev1.Sold_Private{BuyerId: buyer, Price: s.Price},
	}}}, nil
}

// Return is what a stone is like that comes back.
type Return struct {
	Weighing *eventv1.Weighing
	Size     *eventv1.Size
	Why      string
}

// Return takes a sold stone back into stock (rule 6). The order it came from is State's
// OrderID.
func (s State) Return(cutter string, r Return) (*stonev1.Event, error) {
	if s.Facts == nil || s.Facts.GetCutterId() != cutter {
		return nil, rule.NotThere("stone_id", "stone")
	}
	if s.Stage != Sold {
		return nil, rule.Broken{Reason: rule.StoneNotSold, Field: "stone_id", Value: s.id(), Rule: "only a sold stone comes back", Hint: "nothing needs to be done"}
	}
	var broken rule.All
	broken.Weighing("weighing", r.Weighing)
	broken.Size("size", r.Size)
	broken.Text("why", r.Why, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &stonev1.Event{Event: &stonev1.Event_Returned{Returned: &stonev1.Returned{
		Public:  &stonev1.Returned_Public{StoneId: s.id(), OrderId: s.OrderID, Weighing: r.Weighing, Size: r.Size},
		Private: &stonev1.Returned_Private{Why: r.Why},
	}}}, nil
}

// Evolve folds one event.
func Evolve(s State, e *stonev1.Event) State {
	switch e := e.GetEvent().(type) {
	case *stonev1.Event_Finished:
		s.Facts = e.Finished.GetPublic()
		s.Stage, s.Weighing, s.Size = InStock, s.Facts.GetWeighing(), s.Facts.GetSize()
	case *stonev1.Event_PutOnSale:
		s.Stage, s.Price = OnSale, e.PutOnSale.GetPrivate().GetPrice()
	case *stonev1.Event_Sold:
		s.Stage, s.Price = Sold, e.Sold.GetPrivate().GetPrice()
		s.Buyer, s.OrderID = e.Sold.GetPrivate().GetBuyerId(), e.Sold.GetPublic().GetOrderId()
	case *stonev1.Event_Returned:
		s.Stage, s.Price, s.Buyer, s.OrderID = InStock, nil, "", ""
		s.Weighing, s.Size = e.Returned.GetPublic().GetWeighing(), e.Returned.GetPublic().GetSize()
	}
	return s
}
