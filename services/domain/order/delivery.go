package order

import (
	"fmt"
	"slices"
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	"seamshare.example/services/domain/rule"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
)

// Delivery is how a line gets to the jeweller, and what they say of it then.
type Delivery struct {
	Dispatched      bool
	Sent            *eventv1.Measured // as it left
	SentMassDiffers bool              // what was sent isn't what the books say
	SentSizeDiffers bool
	Carrier         string
	Reference       string
	Received        bool
	MassDiffers     bool // what came isn't what was sent
	SizeDiffers     bool

	ReturnUntil time.Time
	ClaimUntil  time.Time
	ReturnAsked bool
	ReturnWhy   string
	Damage      orderv1.Damage
	DamageWords string
	Answer      orderv1.DamageAnswer
}

// Stage is where an order stands.
type Stage int

// The stages; the zero Stage is an order that isn't there.
const (
	Placed Stage = iota + 1
	Dispatched
	Received
	AllReturned
	Cancelled
)

// Stage says where the order stands: as far as the line that is furthest behind of
// those that didn't come back.
func (s State) Stage() Stage {
	if s.ID == "" {
		return 0
	}
	if s.Cancelled {
		return Cancelled
	}
	stage := AllReturned
	for _, l := range s.Lines {
		switch {
		case l.Returned:
		case l.Received:
			stage = min(stage, Received)
		case l.Dispatched:
			stage = min(stage, Dispatched)
		default:
			stage = min(stage, Placed)
		}
	}
	return stage
}

// Sells tells whether a line of the order is a member's.
func (s State) Sells(member string) bool {
	return slices.ContainsFunc(s.Lines, func(l Line) bool { return l.Seller == member })
}

// MayBeSent tells whether enough is paid (rule 7).
func (s State) MayBeSent() bool {
	if s.Deposit > 0 {
		return s.Paid() >= min(s.Deposit, s.Total())
	}
	return s.Open() == 0
}

func (s State) mine(buyer string) error {
	switch {
	case s.ID == "" || s.Buyer != buyer:
		return rule.NotThere("order_id", "order")
	case s.Cancelled:
		return s.over()
	}
	return nil
}

func (s State) over() error {
	return rule.Broken{Reason: rule.OrderOver, Field: "order_id", Value: s.ID, Rule: "the order was called off", Hint: "place a new one"}
}

// Cancel calls the order off (rule 6).
func (s State) Cancel(buyer, why string) (*orderv1.Event, error) {
	if err := s.mine(buyer); err != nil {
		return nil, err
	}
	underWay := slices.ContainsFunc(s.Lines, func(l Line) bool { return l.Dispatched || l.Returned })
	switch {
	case s.ApprovalID != "" || underWay:
		return nil, rule.Broken{Reason: rule.OrderUnderWay, Field: "order_id", Value: s.ID, Rule: "its stones are under way or with you", Hint: "send them back within the return period"}
	case s.PromiseID != "":
		return nil, rule.Broken{Reason: rule.OrderPromised, Field: "order_id", Value: s.ID, Rule: "its stones were cut to order, and the promise that you accepted binds", Hint: "ask its cutter to take the stones back"}
	case slices.ContainsFunc(s.Lines, func(l Line) bool { return l.Paid > 0 }):
		return nil, rule.Broken{Reason: rule.OrderPaidFor, Field: "order_id", Value: s.ID, Rule: "money came in for it", Hint: "ask its cutter to take the stones back; then the money is paid back"}
	}
	var broken rule.All
	broken.Text("why", why, 500)
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &orderv1.Event{Event: &orderv1.Event_Cancelled{Cancelled: &orderv1.Cancelled{
		Public: &orderv1.Cancelled_Public{OrderId: s.ID}, Private: &orderv1.Cancelled_Private{Why: why},
	}}}, nil
}

// Overdue tells whether money is open that should be here by now (rule 12).
func (s State) Overdue(now time.Time) bool {
	return s.Open() > 0 && !s.PayBy.IsZero() && !now.Before(s.PayBy)
}

// CallOffUnpaid calls off what was sold of a cutter's, as the order isn't paid in time
// (rule 12): one event for each line.
func (s State) CallOffUnpaid(seller, why string, now time.Time) (events []*orderv1.Event, err error) {
	switch {
	case s.ID == "" || !s.Sells(seller):
		return nil, rule.NotThere("order_id", "order")
	case s.Cancelled:
		return nil, s.over()
	}
	for _, l := range s.Lines {
		if l.Seller == seller && !l.Dispatched && !l.Returned {
			events = append(events, &orderv1.Event{Event: &orderv1.Event_Returned{Returned: &orderv1.Returned{
				Public:  &orderv1.Returned_Public{OrderId: s.ID, StoneId: l.StoneID, LotId: l.LotID, CalledOff: true},
				Private: &orderv1.Returned_Private{Why: why},
			}}})
		}
	}
	switch {
	case s.ApprovalID != "" || len(events) == 0:
		return nil, rule.Broken{Reason: rule.OrderUnderWay, Field: "order_id", Value: s.ID, Rule: "its stones are under way, with the jeweller, or back", Hint: "take back what comes"}
	case s.PromiseID != "":
		return nil, rule.Broken{Reason: rule.OrderPromised, Field: "order_id", Value: s.ID, Rule: "its stones were cut to order", Hint: "take the stones back"}
	case !s.Overdue(now):
		what := "it is paid"
		if s.Open() > 0 {
			what = "it is to be paid by " + rule.Moment(s.PayBy)
		}
		return nil, rule.Broken{Reason: rule.NotOverdue, Field: "order_id", Value: s.ID, Rule: what, Hint: "wait, or take the stones back as the two of you agree"}
	}
	var broken rule.All
	broken.Text("why", why, 300)
	return events, broken.Err()
}

// MeasuredStone is a stone as it left or came.
type MeasuredStone struct {
	StoneID     string
	Measured    *eventv1.Measured
	Before      *eventv1.Measured // as it was measured before
	MassDiffers bool              // from that
	SizeDiffers bool
}

// Dispatch sends all of a seller's lines that weren't sent or returned (rule 7). Each
// of their stones has to be among those measured, each portion among those weighed. That
// a portion is what was ordered is its lot's rule (lot.State.Send).
func (s State) Dispatch(seller string, stones []MeasuredStone, carrier, reference string, portions ...*orderv1.SentPortion) (*orderv1.Event, error) {
	switch {
	case s.ID == "" || !s.Sells(seller):
		return nil, rule.NotThere("order_id", "order")
	case s.Cancelled:
		return nil, s.over()
	}
	waiting := func(l Line) bool { return l.Seller == seller && !l.Dispatched && !l.Returned }
	if !slices.ContainsFunc(s.Lines, waiting) {
		return nil, rule.Broken{Reason: rule.NothingToSend, Field: "order_id", Value: s.ID, Rule: "all your stones of it were sent or are back", Hint: "nothing needs to be done"}
	}
	if !s.MayBeSent() {
		wanted := s.money(s.Total())
		if s.Deposit > 0 {
			wanted = s.money(min(s.Deposit, s.Total()))
		}
		return nil, rule.Broken{Reason: rule.PaymentOpen, Field: "order_id", Value: s.money(s.Paid()) + " paid", Rule: wanted + " comes first", Hint: "wait until the desk has recorded it"}
	}
	var broken rule.All
	broken.Text("carrier", carrier, 80)
	broken.Text("reference", reference, 80)
	for _, l := range s.Lines {
		if waiting(l) && l.LotID == "" && !slices.ContainsFunc(stones, func(m MeasuredStone) bool { return m.StoneID == l.StoneID }) {
			broken.Add(rule.Broken{Reason: rule.NotAnswered, Field: "stones", Value: "without " + l.StoneID, Rule: "all your stones of an order go together, each measured", Hint: "measure this one too"})
		}
		if waiting(l) && l.LotID != "" && !slices.ContainsFunc(portions, func(p *orderv1.SentPortion) bool { return p.GetLotId() == l.LotID }) {
			broken.Add(rule.Broken{Reason: rule.NotAnswered, Field: "lots", Value: "without " + l.LotID, Rule: "all your portions of an order go together, each counted and weighed", Hint: "count and weigh this one too"})
		}
	}
	sent := &orderv1.Dispatched_Private{SellerId: seller, Carrier: carrier, Reference: reference, Portions: portions}
	for i, p := range portions {
		at := fmt.Sprintf("lots[%d]", i)
		l, ok := s.Line(p.GetLotId())
		switch {
		case !ok || !waiting(l) || l.LotID == "":
			broken.Add(rule.NotThere(at+".lot_id", "portion that waits to be sent"))
		case slices.IndexFunc(portions, func(o *orderv1.SentPortion) bool { return o.GetLotId() == p.GetLotId() }) != i:
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: at + ".lot_id", Value: p.GetLotId(), Rule: "a portion is sent once", Hint: "leave it out"})
		}
		broken.Weighing(at+".weighing", p.GetWeighing())
	}
	for i, m := range stones {
		at := fmt.Sprintf("stones[%d]", i)
		l, ok := s.Line(m.StoneID)
		switch {
		case !ok || !waiting(l) || l.LotID != "":
			broken.Add(rule.NotThere(at+".stone_id", "stone that waits to be sent"))
		case slices.IndexFunc(stones, func(o MeasuredStone) bool { return o.StoneID == m.StoneID }) != i:
			broken.Add(rule.Broken{Reason: rule.NamedTwice, Field: at + ".stone_id", Value: m.StoneID, Rule: "a stone is sent once", Hint: "leave it out"})
		}
		broken.Weighing(at+".weighing", m.Measured.GetWeighing())
		broken.Size(at+".size", m.Measured.GetSize())
		sent.Stones = append(sent.Stones, &orderv1.MeasuredStone{StoneId: m.StoneID, Measured: m.Measured, Before: m.Before, MassDiffers: m.MassDiffers, SizeDiffers: m.SizeDiffers})
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &orderv1.Event{Event: &orderv1.Event_Dispatched{Dispatched: &orderv1.Dispatched{
		Public: &orderv1.Dispatched_Public{OrderId: s.ID}, Private: sent,
	}}}, nil
}

// Receive says that all that was sent has come (rule 8). The jeweller may measure it.
func (s State) Receive(buyer string, measured []MeasuredStone, returnUntil, claimUntil time.Time) (*orderv1.Event, error) {
	if err := s.mine(buyer); err != nil {
		return nil, err
	}
	coming := func(l Line) bool { return l.Dispatched && !l.Received && !l.Returned }
	came := &orderv1.Received_Private{ReturnUntilUs: returnUntil.UnixMicro(), ClaimUntilUs: claimUntil.UnixMicro()}
	for _, l := range s.Lines {
		if !coming(l) {
			continue
		}
		m := &orderv1.MeasuredStone{StoneId: l.ID()}
		if i := slices.IndexFunc(measured, func(m MeasuredStone) bool { return m.StoneID == l.StoneID }); i >= 0 && l.LotID == "" {
			got := measured[i]
			m.Measured, m.Before, m.MassDiffers, m.SizeDiffers = got.Measured, got.Before, got.MassDiffers, got.SizeDiffers
		}
		came.Stones = append(came.Stones, m)
	}
	if len(came.GetStones()) == 0 {
		return nil, rule.Broken{Reason: rule.NothingToReceive, Field: "order_id", Value: s.ID, Rule: "nothing of it is under way", Hint: "wait until its cutter has sent it"}
	}
	var broken rule.All
	for i, m := range measured {
		at := fmt.Sprintf("stones[%d]", i)
		if l, ok := s.Line(m.StoneID); !ok || !coming(l) {
			broken.Add(rule.NotThere(at+".stone_id", "stone that is under way"))
		}
		broken.Weighing(at+".weighing", m.Measured.GetWeighing())
		broken.Size(at+".size", m.Measured.GetSize())
	}
	if err := broken.Err(); err != nil {
		return nil, err
	}
	return &orderv1.Event{Event: &orderv1.Event_Received{Received: &orderv1.Received{
		Public: &orderv1.Received_Public{OrderId: s.ID}, Private: came,
	}}}, nil
}
