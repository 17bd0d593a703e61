// Package lot holds counted lots: low-end stones and rough of one parcel that are sold
// by the carat or by the piece, in portions.
//
// Deciding methods look at a State and return what happened or a refusal (package
// rule); Evolve assigns and never refuses. All of it is pure.
package lot

import (
	"fmt"
	"math/bits"
	"slices"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/measure"
	"seamshare.example/services/domain/money"
	"seamshare.example/services/domain/rule"

	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
)

// MaxSources is how many parts and stones go into one lot.
const MaxSources = 200

// maxPortions bounds a lot's orders.
const maxPortions = 1000

// State is a lot as far as has happened. Rules:
//
//  1. A lot is made once, of parts and stones of one parcel, so that what it brings is that parcel's.
//  2. Its count is that of what goes into it, its mass as far as scales go; treatment is always answered.
//  3. Only its cutter asks a price, more than nothing, by the carat or by the piece, while something is left.
//  4. A portion is sold only while the lot is on sale, at the price asked: no more than there is; by the piece as
//     counted, by the carat as weighed, the price rounded down to the minor unit. The last piece takes all mass with
//     it, and all mass the last piece. A piece of the portion weighs half to double the lot's mean, and so does one of
//     what stays: the buyer names the mass, and can't so take the best for the price of the least. By the piece it
//     may be left out: the portion weighs its share of the lot.
//     The cutter weighs it as it leaves: as many as were ordered, and by the carat the mass that was, within the
//     divisions of both scales.
//  5. What comes back is no more than its order took, counted and weighed again; the lot is in stock or on sale as
//     before, and a sold-out one is in stock. An order that is called off brings its portion back as it was: a
//     sold-out lot is on sale again, at its price.
//  6. It is unmade only while nothing of it is sold and as many are there as went in. What goes back weighs, as far as
//     scales go, what the lot weighs by now: what was weighed again as it was, the rest as it went in.
//  7. A stock count counts and weighs what is left; all it differs by is unexplained.
//
// At any time: mass as made = left + sold + unexplained.
//
// States are shared between goroutines: nothing that is reachable from one is ever
// changed.
type State struct {
	Facts   *lotv1.Made_Public // as made; nil: no lot
	Remarks string             // what else is to be said
	Stage   Stage

	Count    uint32            // left
	Weighing *eventv1.Weighing // left; nil: nothing is left

	Unit  lotv1.Unit
	Price *eventv1.Amount // of one carat or piece, while on sale or sold out

	Portions      []Portion // oldest first
	UnexplainedUg int64
}

// Portion is what one order took.
type Portion struct {
	OrderID  string
	Buyer    string
	Count    uint32 // less what came back
	MassUg   int64  // likewise
	Division int64
	Unit     lotv1.Unit // what its price was for
	Price    *eventv1.Amount
}

// Stage is where a lot stands.
type Stage int

// The stages; the zero Stage is a lot that isn't there.
const (
	InStock Stage = iota + 1
	OnSale
	SoldOut
	Unmade
)

func (s Stage) String() string {
	switch s {
	case InStock:
		return "in stock"
	case OnSale:
		return "on sale"
	case SoldOut:
		return "sold out"
	case Unmade:
		return "unmade"
	}
	return ""
}

func (s State) id() string { return s.Facts.GetLotId() }

// Make makes the lot (rules 1 and 2). That each source may go into it is its piece's
// or stone's rule, and that all are of one parcel is the caller's to see.
func (s State) Make(f *lotv1.Made_Public, p *lotv1.Made_Private) (*lotv1.Event, error) {
	if s.Facts != nil {
		return nil, rule.Broken{Reason: rule.AlreadyThere, Value: s.id(), Rule: "a lot is made once", Hint: "look it up under this id"}
	}
	var broken rule.All
	broken.Text("label", f.GetLabel(), 40)
	broken.Weighing("weighing", f.GetWeighing())
	broken.Answered("treatment", int32(f.GetTreatment()), eventv1.Treatment_name)
	if n := len(f.GetSources()); n < 1 || n > MaxSources {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "sources", Value: fmt.Sprint(n), Rule: fmt.Sprintf("a lot is made of 1 to %d parts and stones", MaxSources), Hint: "name what goes into it"})
	}
	var count uint32
	for i, src := range f.GetSources() {
		broken.Weighing(fmt.Sprintf("sources[%d].weighing", i), src.GetWeighing())
		if src.GetCount() < 1 {
			broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: fmt.Sprintf("sources[%d].count", i), Value: "0", Rule: "there is at least one in it", Hint: "1 for a stone or a piece"})
		}
		count += src.GetCount()
	}
	if len(broken) == 0 { // sums over impossible masses say nothing
		addUp(&broken, f.GetSources(), f.GetWeighing())
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	f.Count = count
	return &lotv1.Event{Event: &lotv1.Event_Made{Made: &lotv1.Made{Public: f, Private: p}}}, nil
}

// addUp holds the lot's mass against that of what goes into it (rule 2).
func addUp(broken *rule.All, sources []*lotv1.Source, w *eventv1.Weighing) {
	sum, allowed := int64(0), w.GetDivisionUg()
	for _, src := range sources {
		sum += src.GetWeighing().GetMassUg()
		allowed += src.GetWeighing().GetDivisionUg()
	}
	if total := w.GetMassUg(); max(sum-total, total-sum) > allowed/2 {
		broken.Add(rule.Broken{
			Reason: rule.MassesDontAddUp, Field: "weighing.mass_ug", Value: measure.Mass(total).String(),
			Rule: fmt.Sprintf("what goes into it weighs %s, where the scales allow %s of difference", measure.Mass(sum), measure.Mass(allowed/2)), Hint: "weigh it again",
		})
	}
}

// PutOnSale asks a price (rule 3). currency is that of the lot's parcel.
func (s State) PutOnSale(cutter string, unit lotv1.Unit, price *eventv1.Amount, currency string) (*lotv1.Event, error) {
	if err := s.live(cutter); err != nil {
		return nil, err
	}
	if s.Stage == SoldOut {
		return nil, rule.Broken{Reason: rule.LotNotForSale, Field: "lot_id", Value: s.id(), Rule: "all of the lot is sold", Hint: "make another"}
	}
	var broken rule.All
	broken.Answered("unit", int32(unit), lotv1.Unit_name)
	broken.Positive("price", price)
	broken.Currency("price", price, currency)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &lotv1.Event{Event: &lotv1.Event_PutOnSale{PutOnSale: &lotv1.PutOnSale{
		Public:  &lotv1.PutOnSale_Public{LotId: s.id()},
		Private: &lotv1.PutOnSale_Private{Unit: unit, Price: price},
	}}}, nil
}

// TakeOffSale asks no price any more.
func (s State) TakeOffSale(cutter, why string) (*lotv1.Event, error) {
	if err := s.live(cutter); err != nil {
		return nil, err
	}
	if s.Stage != OnSale {
		return nil, rule.Broken{Reason: rule.LotNotForSale, Field: "lot_id", Value: s.id(), Rule: "the lot isn't on sale", Hint: "nothing needs to be done"}
	}
	var broken rule.All
	broken.Text("why", why, 300)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &lotv1.Event{Event: &lotv1.Event_TakenOffSale{TakenOffSale: &lotv1.TakenOffSale{
		Public: &lotv1.TakenOffSale_Public{LotId: s.id()}, Private: &lotv1.TakenOffSale_Private{Why: why},
	}}}, nil
}

// Unmake ends the lot (rule 6). again is what was weighed again as it goes back: parts as
// piece and part, stones by their id. The caller brings each source back, and weighs those
// again in their pieces' books too.
func (s State) Unmake(cutter, why string, again []*lotv1.Source) (*lotv1.Event, error) {
	if err := s.live(cutter); err != nil {
		return nil, err
	}
	switch made := s.Facts.GetCount(); {
	case slices.ContainsFunc(s.Portions, func(p Portion) bool { return p.Count > 0 }):
		return nil, rule.Broken{Reason: rule.LotBegun, Field: "lot_id", Value: s.id(), Rule: "some of the lot is sold", Hint: "sell the rest, or take it off sale"}
	case s.Count != made:
		return nil, rule.Broken{
			Reason: rule.CountDiffers, Field: "lot_id", Value: s.id(), Rule: fmt.Sprintf("the lot was made of %d and counts %d by now, so that it isn't known what would go back", made, s.Count),
			Hint: "let the stock keeper count it again, or sell what is there",
		}
	}
	var broken rule.All
	broken.Text("why", why, 300)
	s.addsUp(&broken, again)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &lotv1.Event{Event: &lotv1.Event_Unmade{Unmade: &lotv1.Unmade{
		Public: &lotv1.Unmade_Public{LotId: s.id()}, Private: &lotv1.Unmade_Private{Why: why},
	}}}, nil
}

// addsUp holds what goes back against what the lot weighs by now.
func (s State) addsUp(broken *rule.All, again []*lotv1.Source) {
	weighed := make([]*eventv1.Weighing, len(s.Facts.GetSources()))
	for i, w := range again {
		at := fmt.Sprintf("weighed[%d]", i)
		from := slices.IndexFunc(s.Facts.GetSources(), func(src *lotv1.Source) bool { return same(src, w) })
		switch {
		case from < 0:
			broken.Add(rule.NotThere(at, "part or stone in this lot"))
			continue
		case weighed[from] != nil:
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: at, Value: w.GetPieceId() + w.GetStoneId(), Rule: "each is weighed once", Hint: "leave it out"})
		case w.GetCount() != s.Facts.GetSources()[from].GetCount():
			broken.Add(rule.Broken{Reason: rule.CountDiffers, Field: at + ".count", Value: fmt.Sprint(w.GetCount()), Rule: fmt.Sprintf("%d of it went in", s.Facts.GetSources()[from].GetCount()), Hint: "count it again"})
		}
		broken.Weighing(at+".weighing", w.GetWeighing())
		weighed[from] = w.GetWeighing()
	}
	if broken.Err() != nil {
		return
	}
	var sum int64
	allowed := s.Weighing.GetDivisionUg()
	for i, src := range s.Facts.GetSources() {
		if weighed[i] == nil {
			weighed[i] = src.GetWeighing()
		}
		sum += weighed[i].GetMassUg()
		allowed += weighed[i].GetDivisionUg()
	}
	if left := s.Weighing.GetMassUg(); max(sum-left, left-sum) > allowed/2 {
		broken.Add(rule.Broken{
			Reason: rule.MassesDontAddUp, Field: "weighed", Value: measure.Mass(sum).String(),
			Rule: fmt.Sprintf("the lot weighs %s by now, where the scales allow %s of difference", measure.Mass(left), measure.Mass(allowed/2)),
			Hint: "weigh what goes back, each by itself, and name what weighs otherwise than it went in",
		})
	}
}

// same tells whether a source is the one that is named: a stone by its id, a part by its
// piece too.
func same(src, named *lotv1.Source) bool {
	if src.GetStoneId() != "" || named.GetStoneId() != "" {
		return src.GetStoneId() == named.GetStoneId()
	}
	return src.GetPieceId() == named.GetPieceId() && src.GetPart() == named.GetPart()
}

// Taking is a portion as a jeweller orders it.
type Taking struct {
	Buyer, OrderID string
	Count          uint32
	Weighing       *eventv1.Weighing // of the portion
	Unit           lotv1.Unit        // as the buyer saw it
	Price          *eventv1.Amount   // of one carat or piece, as the buyer saw it
}

// Sell sells a portion (rule 4). at is the item's path in the request, as "items[2]".
// The portion's whole price stands in the event.
func (s State) Sell(t Taking, at string) (*lotv1.Event, error) {
	switch {
	case s.Facts == nil || s.Stage == InStock || s.Stage == Unmade:
		// A lot in stock was never shown to a buyer, so it looks like none.
		return nil, rule.NotThere(at+".lot_id", "lot on sale or")
	case s.Stage == SoldOut || len(s.Portions) >= maxPortions:
		return nil, rule.Broken{Reason: rule.LotNotForSale, Field: at + ".lot_id", Value: s.id(), Rule: "all of the lot is sold", Hint: "leave it out or choose another"}
	case t.Unit != s.Unit || t.Price.GetCurrency() != s.Price.GetCurrency() || t.Price.GetMinor() != s.Price.GetMinor():
		return nil, rule.Broken{Reason: rule.PriceMoved, Field: at + ".price", Value: rule.Money(t.Price), Rule: "the price asked is " + rule.Money(s.Price) + " " + per(s.Unit) + " by now", Hint: "order again at this price, or leave it out"}
	}
	if t.Count < 1 || t.Count > s.Count {
		return nil, rule.Broken{Reason: rule.NotSoMany, Field: at + ".count", Value: fmt.Sprint(t.Count), Rule: fmt.Sprintf("the lot holds %d", s.Count), Hint: "take as many as there are or fewer"}
	}
	if t.Weighing == nil && s.Unit == lotv1.Unit_UNIT_PIECE {
		t.Weighing = s.share(t.Count)
	}
	var broken rule.All
	broken.Weighing(at+".weighing", t.Weighing)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	mass, left := t.Weighing.GetMassUg(), s.Weighing.GetMassUg()
	allowed := t.Weighing.GetDivisionUg() + s.Weighing.GetDivisionUg()
	last := t.Count == s.Count
	switch {
	case !last && mass >= left, last && max(mass-left, left-mass) > allowed:
		return nil, rule.Broken{Reason: rule.NotSoMany, Field: at + ".weighing.mass_ug", Value: measure.Mass(mass).GramsAndCarats(), Rule: fmt.Sprintf("the %d of the lot weigh %s", s.Count, measure.Mass(left).GramsAndCarats()), Hint: "weigh the portion again"}
	case !last && !(s.likely(t.Count, mass) && s.likely(s.Count-t.Count, left-mass)):
		return nil, rule.Broken{
			Reason: rule.MassUnlikely, Field: at + ".weighing.mass_ug", Value: measure.Mass(mass).GramsAndCarats(),
			Rule: fmt.Sprintf("the %d of the lot weigh %s, and a piece of a portion, or of what stays, weighs half to double their mean", s.Count, measure.Mass(left).GramsAndCarats()),
			Hint: fmt.Sprintf("count and weigh the portion again: %d are about %s", t.Count, measure.Mass(s.share(t.Count).GetMassUg()).GramsAndCarats()),
		}
	}
	price, ok := s.priceOf(t.Count, mass)
	switch {
	case price.GetMinor() == 0 && ok:
		return nil, rule.Broken{
			Reason: rule.AmountInvalid, Field: at + ".weighing.mass_ug", Value: measure.Mass(mass).GramsAndCarats(),
			Rule: "at " + rule.Money(s.Price) + " " + per(s.Unit) + " it comes to less than the smallest unit of the currency, and nothing is sold for nothing", Hint: "take a larger portion",
		}
	case !ok:
		return nil, rule.Broken{Reason: rule.AmountInvalid, Field: at + ".price", Value: rule.Money(s.Price), Rule: fmt.Sprintf("a portion's price is 1 to %d minor units", int64(money.Max)), Hint: "take another portion"}
	}
	return &lotv1.Event{Event: &lotv1.Event_PortionSold{PortionSold: &lotv1.PortionSold{
		Public:  &lotv1.PortionSold_Public{LotId: s.id(), OrderId: t.OrderID, Count: t.Count, Weighing: t.Weighing},
		Private: &lotv1.PortionSold_Private{BuyerId: t.Buyer, Price: price},
	}}}, nil
}

// share is what so many pieces weigh at the lot's mean.
func (s State) share(count uint32) *eventv1.Weighing {
	hi, lo := bits.Mul64(uint64(s.Weighing.GetMassUg()), uint64(count))
	mass, _ := bits.Div64(hi, lo, uint64(s.Count)) // no overflow: count is at most the lot's
	return &eventv1.Weighing{MassUg: int64(mass), DivisionUg: min(s.Weighing.GetDivisionUg(), rule.CoarsestDivision(int64(mass)))}
}

// likely tells whether so many pieces may weigh so much: half to double the lot's mean
// each. Products are compared in 128 bits.
func (s State) likely(count uint32, massUg int64) bool {
	notMore := func(a, b, c, d uint64) bool { // a·b ≤ c·d
		abHi, ab := bits.Mul64(a, b)
		cdHi, cd := bits.Mul64(c, d)
		return abHi < cdHi || abHi == cdHi && ab <= cd
	}
	all, n := uint64(s.Weighing.GetMassUg()), uint64(count)
	return notMore(all, n, 2*uint64(massUg), uint64(s.Count)) && notMore(uint64(massUg), uint64(s.Count), all, 2*n)
}

func per(u lotv1.Unit) string {
	if u == lotv1.Unit_UNIT_CARAT {
		return "a carat"
	}
	return "a piece"
}

// priceOf is what a portion costs: exact, rounded down to the minor unit.
func (s State) priceOf(count uint32, massUg int64) (*eventv1.Amount, bool) {
	const caratUg = 200_000
	factor, divisor := uint64(count), uint64(1)
	if s.Unit == lotv1.Unit_UNIT_CARAT {
		factor, divisor = uint64(massUg), caratUg
	}
	hi, lo := bits.Mul64(uint64(s.Price.GetMinor()), factor)
	if hi >= divisor {
		return nil, false
	}
	minor, _ := bits.Div64(hi, lo, divisor)
	if minor > uint64(money.Max) {
		return nil, false
	}
	return &eventv1.Amount{Currency: s.Price.GetCurrency(), Minor: int64(minor)}, true
}

// Asks is what all that is left is asked for; nil while the lot isn't on sale.
func (s State) Asks() *eventv1.Amount {
	if s.Stage != OnSale {
		return nil
	}
	all, _ := s.priceOf(s.Count, s.Weighing.GetMassUg())
	return all
}

// SeenBy tells whether a jeweller sees the lot: it is on sale, or they have a portion.
func (s State) SeenBy(jeweller string) bool {
	return s.Stage == OnSale || slices.ContainsFunc(s.Portions, func(p Portion) bool { return p.Buyer == jeweller && p.Count > 0 })
}

// Orders are those that took a portion, each once, also where it came back.
func (s State) Orders() (ids []string) {
	for _, p := range s.Portions {
		if !slices.Contains(ids, p.OrderID) {
			ids = append(ids, p.OrderID)
		}
	}
	return ids
}

// Send refuses a portion that leaves otherwise than it was ordered (rule 4): its price
// stands with the order.
func (s State) Send(orderID string, count uint32, w *eventv1.Weighing) error {
	i := s.portion(orderID)
	if i < 0 {
		return rule.NotThere("lot_id", "portion that waits to be sent")
	}
	p := s.Portions[i]
	apart := max(p.MassUg-w.GetMassUg(), w.GetMassUg()-p.MassUg)
	switch {
	case count != p.Count:
		return rule.Broken{Reason: rule.CountDiffers, Field: "count", Value: fmt.Sprint(count), Rule: fmt.Sprintf("the order is for %d", p.Count), Hint: "count again, and send as many"}
	case p.Unit == lotv1.Unit_UNIT_CARAT && apart > p.Division+w.GetDivisionUg():
		return rule.Broken{
			Reason: rule.WeighingsDiffer, Field: "weighing.mass_ug", Value: measure.Mass(w.GetMassUg()).GramsAndCarats(),
			Rule: "by the carat the price is that of the mass ordered, " + measure.Mass(p.MassUg).GramsAndCarats(),
			Hint: "put a portion of this mass together, or take the portion back and let the jeweller order again",
		}
	}
	return nil
}

// portion finds what an order took and still has; -1: nothing.
func (s State) portion(orderID string) int {
	return slices.IndexFunc(s.Portions, func(p Portion) bool { return p.OrderID == orderID && p.Count > 0 })
}

// Return takes a portion back (rule 5), whole or in part.
func (s State) Return(cutter, orderID string, count uint32, weighing *eventv1.Weighing, why string) (*lotv1.Event, error) {
	if err := s.live(cutter); err != nil {
		return nil, err
	}
	i := s.portion(orderID)
	if i < 0 {
		return nil, rule.NotThere("order_id", "order of this lot")
	}
	var broken rule.All
	broken.Weighing("weighing", weighing)
	broken.Text("why", why, 500)
	if p := s.Portions[i]; count < 1 || count > p.Count || weighing.GetMassUg() > p.MassUg+p.Division+weighing.GetDivisionUg() {
		broken.Add(rule.Broken{Reason: rule.NotSoMany, Field: "count", Value: fmt.Sprint(count), Rule: fmt.Sprintf("the order took %d, %s", p.Count, measure.Mass(p.MassUg).GramsAndCarats()), Hint: "count and weigh what came back"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &lotv1.Event{Event: &lotv1.Event_PortionReturned{PortionReturned: &lotv1.PortionReturned{
		Public:  &lotv1.PortionReturned_Public{LotId: s.id(), OrderId: orderID, Count: count, Weighing: weighing},
		Private: &lotv1.PortionReturned_Private{Why: why},
	}}}, nil
}

// CallOff brings back what an order took that was called off before it left (rule 5).
func (s State) CallOff(orderID, why string) (*lotv1.Event, error) {
	i := s.portion(orderID)
	if i < 0 {
		return nil, rule.NotThere("order_id", "order of this lot")
	}
	p := s.Portions[i]
	return &lotv1.Event{Event: &lotv1.Event_PortionReturned{PortionReturned: &lotv1.PortionReturned{
		Public: &lotv1.PortionReturned_Public{
			LotId: s.id(), OrderId: orderID, Count: p.Count, Weighing: &eventv1.Weighing{MassUg: p.MassUg, DivisionUg: p.Division}, CalledOff: true,
		},
		Private: &lotv1.PortionReturned_Private{Why: why},
	}}}, nil
}

// Counting is what a stock keeper counted and weighed at a stock count.
type Counting struct {
	CountID, Person, Note string
	Count                 uint32
	Weighing              *eventv1.Weighing
}

// Recount counts and weighs what is left (rule 7).
func (s State) Recount(c Counting) (*lotv1.Event, error) {
	if s.Facts == nil {
		return nil, rule.NotThere("lot_id", "lot")
	}
	if s.Stage != InStock && s.Stage != OnSale {
		return nil, rule.Broken{Reason: rule.LotNotForSale, Field: "lot_id", Value: s.id(), Rule: "nothing of the lot is left", Hint: "leave it out"}
	}
	var broken rule.All
	broken.Weighing("weighing", c.Weighing)
	if c.Count < 1 {
		broken.Add(rule.Broken{Reason: rule.CountInvalid, Field: "count", Value: "0", Rule: "at least one is left where anything is", Hint: "correct the sale where nothing is left"})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &lotv1.Event{Event: &lotv1.Event_Counted{Counted: &lotv1.Counted{
		Public:  &lotv1.Counted_Public{LotId: s.id(), WasCount: s.Count, Count: c.Count, Was: s.Weighing, Weighing: c.Weighing},
		Private: &lotv1.Counted_Private{CountId: c.CountID, PersonId: c.Person, Note: c.Note},
	}}}, nil
}

// live refuses what is done to a lot that isn't the cutter's, or was unmade.
func (s State) live(cutter string) error {
	if s.Facts == nil || s.Facts.GetCutterId() != cutter {
		return rule.NotThere("lot_id", "lot")
	}
	if s.Stage == Unmade {
		return rule.Broken{Reason: rule.LotUnmade, Field: "lot_id", Value: s.id(), Rule: "the lot was unmade", Hint: "make another"}
	}
	return nil
}

// Evolve folds one event.
func Evolve(s State, e *lotv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *lotv1.Event_Made:
		s.Facts, s.Remarks, s.Stage = e.Made.GetPublic(), e.Made.GetPrivate().GetRemarks(), InStock
		s.Count, s.Weighing = s.Facts.GetCount(), s.Facts.GetWeighing()
	case *lotv1.Event_PutOnSale:
		s.Stage, s.Unit, s.Price = OnSale, e.PutOnSale.GetPrivate().GetUnit(), e.PutOnSale.GetPrivate().GetPrice()
	case *lotv1.Event_TakenOffSale:
		s.Stage, s.Unit, s.Price = InStock, 0, nil
	case *lotv1.Event_PortionSold:
		p := e.PortionSold.GetPublic()
		s.Portions = append(slices.Clip(s.Portions), Portion{
			OrderID: p.GetOrderId(), Buyer: e.PortionSold.GetPrivate().GetBuyerId(), Count: p.GetCount(),
			MassUg: p.GetWeighing().GetMassUg(), Division: p.GetWeighing().GetDivisionUg(), Price: e.PortionSold.GetPrivate().GetPrice(), Unit: s.Unit,
		})
		left := s.Weighing.GetMassUg() - p.GetWeighing().GetMassUg()
		if s.Count -= p.GetCount(); s.Count > 0 {
			s.Weighing = &eventv1.Weighing{MassUg: left, DivisionUg: max(s.Weighing.GetDivisionUg(), p.GetWeighing().GetDivisionUg())}
			return s
		}
		s.UnexplainedUg += left
		s.Stage, s.Weighing = SoldOut, nil
	case *lotv1.Event_PortionReturned:
		p := e.PortionReturned.GetPublic()
		if i := s.portion(p.GetOrderId()); i >= 0 {
			s.Portions = slices.Clone(s.Portions)
			back := p.GetWeighing().GetMassUg()
			if s.Portions[i].Count -= p.GetCount(); s.Portions[i].Count == 0 {
				s.UnexplainedUg += s.Portions[i].MassUg - back
				s.Portions[i].MassUg = 0
			} else {
				s.Portions[i].MassUg -= back
			}
		}
		s.Count += p.GetCount()
		s.Weighing = &eventv1.Weighing{
			MassUg: s.Weighing.GetMassUg() + p.GetWeighing().GetMassUg(), DivisionUg: max(s.Weighing.GetDivisionUg(), p.GetWeighing().GetDivisionUg()),
		}
		switch {
		case s.Stage == SoldOut && p.GetCalledOff():
			s.Stage = OnSale
		case s.Stage == SoldOut:
			s.Stage, s.Unit, s.Price = InStock, 0, nil
		}
	case *lotv1.Event_Unmade:
		s.Stage, s.Unit, s.Price = Unmade, 0, nil
	case *lotv1.Event_Counted:
		p := e.Counted.GetPublic()
		s.UnexplainedUg += p.GetWas().GetMassUg() - p.GetWeighing().GetMassUg()
		s.Count, s.Weighing = p.GetCount(), p.GetWeighing()
	}
	return s
}
