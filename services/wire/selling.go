package wire

import (
	"time"

	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	jewellerv1 "seamshare.example/proto/gen/seamshare/jeweller/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/services/domain/approval"
	"seamshare.example/services/domain/hold"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/domain/wanted"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	wantedv1 "seamshare.example/proto/gen/seamshare/event/wanted/v1"
)

// WhenOf shows a moment; empty for none.
func WhenOf(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.RFC3339Nano)
}

// Measured shows a measurement of a stone; nil for none.
func Measured(stoneID string, m *eventv1.Measured) *typev1.Measured {
	if m == nil {
		return nil
	}
	return &typev1.Measured{StoneId: stoneID, Weighing: Weighing(m.GetWeighing()), Size: Size(m.GetSize()), Photo: PhotoOf(m.GetPhoto())}
}

// ReadMeasured reads a measurement.
func ReadMeasured(m *typev1.Measured) *eventv1.Measured {
	if m == nil {
		return nil
	}
	return &eventv1.Measured{Weighing: ReadWeighing(m.GetWeighing()), Size: ReadSize(m.GetSize()), Photo: PhotoIn(m.GetPhoto())}
}

// StockStone shows a stone to a jeweller: whether they can have it, and, where they
// hold it, until when. Why they can't have it is nobody's business.
func StockStone(s stone.State, me string, now time.Time) *typev1.Stone {
	out := Stone(s)
	if s.Stage != stone.OnSale {
		return out
	}
	switch s.HeldBy(now) {
	case "":
		out.Availability = typev1.Availability_AVAILABILITY_AVAILABLE
	case me:
		out.Availability, out.HeldUntil = typev1.Availability_AVAILABILITY_HELD_BY_YOU, WhenOf(s.Hold.EndsAt)
	default:
		out.Availability = typev1.Availability_AVAILABILITY_NOT_AVAILABLE
	}
	return out
}

// HeldUntil is until when a stone is held, for its cutter, who isn't told by whom;
// empty where it isn't.
func HeldUntil(s stone.State, now time.Time) string {
	if s.HeldBy(now) == "" {
		return ""
	}
	return WhenOf(s.Hold.EndsAt)
}

// Hold shows a hold to its jeweller.
func Hold(s hold.State, now time.Time) *jewellerv1.Hold {
	return &jewellerv1.Hold{Id: s.ID, StoneIds: s.StoneIDs, EndsAt: WhenOf(s.EndsAt), State: jewellerv1.HoldState(s.Stage(now))}
}

// Approval shows goods on approval or consignment to both sides.
func Approval(s approval.State, now time.Time) *typev1.Approval {
	out := &typev1.Approval{
		Id: s.ID, Kind: typev1.GoodsKind(s.Kind), JewellerId: s.Jeweller, CutterId: s.Cutter, State: typev1.ApprovalState(s.Stage(now)),
		DueAt: WhenOf(s.DueAt), Loss: typev1.Bearer(s.Loss), Breakage: typev1.Bearer(s.Breakage), Carrier: s.Carrier, Reference: s.Reference,
		Note: s.Note, Why: s.Why,
	}
	for _, l := range s.Lines {
		out.Lines = append(out.Lines, &typev1.ApprovalLine{
			StoneId: l.StoneID, State: typev1.ApprovalLineState(l.Stage), Price: Money(s.Currency, l.Price),
			Out: Measured(l.StoneID, l.Out), Back: Measured(l.StoneID, l.Back), MassDiffers: l.MassDiffers, SizeDiffers: l.SizeDiffers,
			OrderId: l.OrderID, How: l.How,
		})
	}
	if !s.Sent {
		for i, id := range s.StoneIDs {
			out.Lines = append(out.Lines, &typev1.ApprovalLine{StoneId: id, Price: Money(s.Currency, s.Seen[i])})
		}
	}
	out.Etag = etag(out, 0)
	return out
}

// ReadWish reads what a jeweller looks for.
func ReadWish(broken *rule.All, w *typev1.Wish) *wantedv1.Wish {
	return &wantedv1.Wish{
		Outline: stonev1.Outline(w.GetOutline()), Kind: eventv1.Kind(w.GetKind()), MinLengthUm: w.GetMinLengthUm(), MaxLengthUm: w.GetMaxLengthUm(),
		MinBodyTone: w.GetMinBodyTone(), MaxBodyTone: w.GetMaxBodyTone(), Colours: w.GetColours(), Stones: w.GetStones(),
		Budget: Amount(broken, "wish.budget", w.GetBudget()), Words: w.GetWords(),
	}
}

// Wanted shows a note to its jeweller, or to others as far as it says: name is what
// the jeweller trades under.
func Wanted(s wanted.State, mine bool, name string) *typev1.Wanted {
	w := s.Wish
	out := &typev1.Wanted{
		Id: s.ID, ShowsName: s.ShowsName, Closed: s.Closed,
		Wish: &typev1.Wish{
			Outline: typev1.Outline(w.GetOutline()), Kind: typev1.Kind(w.GetKind()), MinLengthUm: w.GetMinLengthUm(), MaxLengthUm: w.GetMaxLengthUm(),
			MinBodyTone: w.GetMinBodyTone(), MaxBodyTone: w.GetMaxBodyTone(), Colours: w.GetColours(), Stones: w.GetStones(),
			Budget: MoneyOf(w.GetBudget()), Words: w.GetWords(),
		},
	}
	if mine || s.ShowsName {
		out.MemberId, out.TradingName = s.Member, name
	}
	out.Etag = etag(out, 0)
	return out
}
