package order

import (
	"slices"
	"time"

	orderv1 "seamshare.example/proto/gen/seamshare/event/order/v1"
)

// Evolve folds one event.
func Evolve(s State, e *orderv1.Event) State {
	switch e := e.GetEvent().(type) {
	case *orderv1.Event_Placed:
		s = s.placed(e.Placed)
	case *orderv1.Event_Paid:
		s.Lines = slices.Clone(s.Lines)
		for i, part := range Spread(s.Lines, e.Paid.GetPrivate().GetAmount().GetMinor()) {
			s.Lines[i].Paid += part
		}
	case *orderv1.Event_Returned:
		s.change(either(e.Returned.GetPublic()), func(l *Line) { l.Returned = true })
	case *orderv1.Event_Refunded:
		s.change(either(e.Refunded.GetPublic()), func(l *Line) {
			l.Refunded = l.Returned
			l.Paid -= e.Refunded.GetPrivate().GetAmount().GetMinor()
		})
	case *orderv1.Event_PriceReduced:
		by := e.PriceReduced.GetPrivate().GetBy().GetMinor()
		s.change(either(e.PriceReduced.GetPublic()), func(l *Line) { l.Price, l.Reduced = l.Price-by, l.Reduced+by })
	case *orderv1.Event_Cancelled:
		s.Cancelled = true
	case *orderv1.Event_Dispatched:
		s = s.dispatched(e.Dispatched.GetPrivate())
	case *orderv1.Event_Received:
		s = s.received(e.Received.GetPrivate())
	case *orderv1.Event_ReturnAsked:
		p := e.ReturnAsked.GetPrivate()
		for _, id := range p.GetStoneIds() {
			s.change(id, func(l *Line) { l.ReturnAsked, l.ReturnWhy = true, p.GetWhy() })
		}
	case *orderv1.Event_DamageClaimed:
		p := e.DamageClaimed.GetPrivate()
		s.change(p.GetStoneId(), func(l *Line) { l.Damage, l.DamageWords = p.GetDamage(), p.GetWords() })
	case *orderv1.Event_DamageAnswered:
		p := e.DamageAnswered.GetPrivate()
		s.change(p.GetStoneId(), func(l *Line) {
			l.Answer = p.GetAnswer()
			if l.Answer == orderv1.DamageAnswer_DAMAGE_ANSWER_TAKE_BACK {
				l.ReturnAsked, l.ReturnWhy = true, l.DamageWords
			}
		})
	}
	return s
}

// either is the id of a line that an event names.
func either(p interface {
	GetStoneId() string
	GetLotId() string
},
) string {
	if id := p.GetLotId(); id != "" {
		return id
	}
	return p.GetStoneId()
}

func (s State) placed(e *orderv1.Placed) State {
	p := e.GetPrivate()
	s.ID, s.Buyer, s.Currency, s.Deposit, s.ApprovalID, s.PromiseID = e.GetPublic().GetOrderId(), p.GetBuyerId(), p.GetCurrency(), p.GetDepositMinor(), p.GetApprovalId(), p.GetPromiseId()
	if us := p.GetPayByUs(); us != 0 {
		s.PayBy = time.UnixMicro(us).UTC()
	}
	s.Lines = make([]Line, len(p.GetLines()))
	for i, l := range p.GetLines() {
		s.Lines[i] = Line{
			StoneID: l.GetStoneId(), ParcelID: l.GetParcelId(), Seller: l.GetSellerId(), Price: l.GetPriceMinor(), SetID: l.GetSetId(),
			LotID: l.GetLotId(), Count: l.GetCount(), Weighing: l.GetWeighing(),
		}
		// What was out with the jeweller is there, and was looked at.
		if s.ApprovalID != "" {
			s.Lines[i].Dispatched, s.Lines[i].Received = true, true
			s.ClaimUntil = time.UnixMicro(p.GetClaimUntilUs()).UTC()
			s.Lines[i].ClaimUntil = s.ClaimUntil
		}
	}
	return s
}

func (s State) dispatched(p *orderv1.Dispatched_Private) State {
	s.Lines = slices.Clone(s.Lines)
	for i := range s.Lines {
		l := &s.Lines[i]
		if l.Seller != p.GetSellerId() || l.Dispatched || l.Returned {
			continue
		}
		l.Dispatched, l.Carrier, l.Reference = true, p.GetCarrier(), p.GetReference()
		for _, m := range p.GetStones() {
			if m.GetStoneId() == l.StoneID && l.LotID == "" {
				l.Sent, l.SentMassDiffers, l.SentSizeDiffers = m.GetMeasured(), m.GetMassDiffers(), m.GetSizeDiffers()
			}
		}
	}
	return s
}

func (s State) received(p *orderv1.Received_Private) State {
	s.ReturnUntil, s.ClaimUntil = time.UnixMicro(p.GetReturnUntilUs()).UTC(), time.UnixMicro(p.GetClaimUntilUs()).UTC()
	for _, m := range p.GetStones() {
		s.change(m.GetStoneId(), func(l *Line) {
			l.Received, l.MassDiffers, l.SizeDiffers = true, m.GetMassDiffers(), m.GetSizeDiffers()
			l.ReturnUntil, l.ClaimUntil = s.ReturnUntil, s.ClaimUntil
		})
	}
	return s
}

// change replaces one line in a copy of the lines.
func (s *State) change(id string, how func(*Line)) {
	s.Lines = slices.Clone(s.Lines)
	for i := range s.Lines {
		if s.Lines[i].ID() == id {
			how(&s.Lines[i])
		}
	}
}
