package stone

import (
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// evolveSelling folds the events of a stone's way to a jeweller and back.
func evolveSelling(s State, e *stonev1.Event) State {
	switch e := e.GetEvent().(type) {
	case *stonev1.Event_PutOnSale:
		p := e.PutOnSale.GetPublic()
		s.Stage, s.Price, s.Hold = OnSale, e.PutOnSale.GetPrivate().GetPrice(), Hold{}
		s.Set = Set{ID: p.GetSetId(), Kind: p.GetSetKind(), StoneIDs: p.GetSetStoneIds()}
	case *stonev1.Event_TakenOffSale:
		s.Stage, s.Price, s.Set, s.Hold = InStock, nil, Set{}, Hold{}
	case *stonev1.Event_Held:
		p := e.Held.GetPrivate()
		s.Hold = Hold{ID: p.GetHoldId(), Holder: p.GetHolderId(), EndsAt: time.UnixMicro(p.GetEndsAtUs()).UTC()}
	case *stonev1.Event_HoldReleased:
		s.Hold = Hold{}
	case *stonev1.Event_Sold:
		s.Stage, s.Price, s.Hold, s.Out = Sold, e.Sold.GetPrivate().GetPrice(), Hold{}, Out{}
		s.Buyer, s.OrderID = e.Sold.GetPrivate().GetBuyerId(), e.Sold.GetPublic().GetOrderId()
	case *stonev1.Event_SaleCancelled:
		s.Stage, s.Buyer, s.OrderID = OnSale, "", ""
	case *stonev1.Event_Returned:
		s = s.inStock(&eventv1.Measured{Weighing: e.Returned.GetPublic().GetWeighing(), Size: e.Returned.GetPublic().GetSize()})
	case *stonev1.Event_SentOut:
		p := e.SentOut.GetPrivate()
		s.Stage, s.Price, s.Hold = AtJeweller, p.GetPrice(), Hold{}
		s.Out = Out{ApprovalID: p.GetApprovalId(), Jeweller: p.GetJewellerId()}
		s.Weighing, s.Size = e.SentOut.GetPublic().GetMeasured().GetWeighing(), e.SentOut.GetPublic().GetMeasured().GetSize()
	case *stonev1.Event_CameBack:
		s = s.inStock(e.CameBack.GetPublic().GetMeasured())
	case *stonev1.Event_Lost:
		s.Stage = Lost
	case *stonev1.Event_Broken:
		s.Stage = Broken
	}
	return s
}

// inStock is the stone after it came back from wherever it was.
func (s State) inStock(m *eventv1.Measured) State {
	s.Stage, s.Price, s.Buyer, s.OrderID, s.Set, s.Hold, s.Out = InStock, nil, "", "", Set{}, Hold{}, Out{}
	if d := Differs(s.Measured(), m); d.Mass || d.Size {
		s.Check = Check{} // it may have been hurt (rule 12)
	}
	s.Weighing, s.Size = m.GetWeighing(), m.GetSize()
	due := &eventv1.Measured{Weighing: s.Due.GetWeighing(), Size: s.Due.GetSize()}
	d := Differs(s.Due, m)
	if d.Mass {
		due.Weighing = s.Weighing
	}
	if d.Size {
		due.Size = s.Size
	}
	s.Due = due
	return s
}
