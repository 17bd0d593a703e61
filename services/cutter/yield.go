package cutter

import (
	"slices"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// yieldOf sets a parcel's masses beside its counts, values, hours and plans. It loads
// one stream for each piece, stone and counted lot of the parcel, and for each order of
// a lot.
func yieldOf(q *eventstore.Query, lot parcel.State, y view.Yield, toleranceUg int64) (*cutterv1.Yield, error) {
	out := &cutterv1.Yield{
		ParcelId: lot.ID, BoughtUg: y.BoughtUg, FinishedUg: y.FinishedUg, OffcutUg: y.OffcutUg, UncutUg: y.UncutUg,
		LossUg: y.LossUg, UnexplainedUg: y.UnexplainedUg, MovedOnUg: y.MovedOnUg, ToleranceUg: toleranceUg, Stones: uint32(y.Stones),
	}
	for _, l := range y.Losses {
		out.Losses = append(out.Losses, &typev1.Loss{Reason: typev1.Reason(l.Reason), MassUg: l.MassUg})
	}
	var whole worth
	classes := map[string]*classWorth{}
	lots := lotsWorth{q: q, seen: map[string]bool{}}
	for _, line := range lot.Lines {
		rough, _, err := eventstore.Load(q, stream.Piece, line.PieceID)
		if err != nil {
			return nil, err
		}
		own := rough.Of(lot.Deal.Buyer)
		out.Minutes += uint32(own.Minutes)
		var ofPiece worth
		var finishedUg int64
		stones := uint32(0)
		for _, part := range rough.Parts {
			countPart(out, rough, part)
			if err := lots.add(part.LotID); err != nil {
				return nil, err
			}
			if part.Fate != piece.Stone {
				continue
			}
			st, _, err := eventstore.Load(q, stream.Stone, part.StoneID)
			if err != nil {
				return nil, err
			}
			if err := lots.add(st.LotID); err != nil {
				return nil, err
			}
			class, ok := classes[st.Class]
			if !ok {
				class = &classWorth{}
				classes[st.Class] = class
			}
			class.stones++
			class.massUg += part.Weighing.GetMassUg()
			stones, finishedUg = stones+1, finishedUg+part.Weighing.GetMassUg()
			for _, w := range []*worth{&whole, &ofPiece, &class.worth} {
				w.add(st)
			}
		}
		if planned := plannedActual(rough, own, lot.Currency(), ofPiece, stones, finishedUg); planned != nil {
			out.Planned = append(out.Planned, planned)
		}
	}
	out.Asked, out.Sold = wire.Money(lot.Currency(), whole.asked+lots.asked), wire.Money(lot.Currency(), whole.sold+lots.sold)
	if len(lots.seen) > 0 {
		out.LotsAsked, out.LotsSold = wire.Money(lot.Currency(), lots.asked), wire.Money(lot.Currency(), lots.sold)
	}
	for name, class := range classes {
		out.Classes = append(out.Classes, &cutterv1.ClassYield{
			Class: name, Stones: class.stones, MassUg: class.massUg,
			Asked: wire.Money(lot.Currency(), class.asked), Sold: wire.Money(lot.Currency(), class.sold),
		})
	}
	slices.SortFunc(out.Classes, func(a, b *cutterv1.ClassYield) int {
		switch {
		case a.GetClass() < b.GetClass():
			return -1
		case a.GetClass() > b.GetClass():
			return 1
		}
		return 0
	})
	return out, nil
}

// worth is what stones ask and went for, in minor units.
type worth struct{ asked, sold int64 }

type classWorth struct {
	worth
	stones uint32
	massUg int64
}

func (w *worth) add(s stone.State) {
	switch s.Stage {
	case stone.OnSale, stone.AtJeweller:
		w.asked += s.Price.GetMinor()
	case stone.Sold:
		w.sold += s.Price.GetMinor()
	}
}

// lotsWorth is what the parcel's counted lots ask and went for. A lot is made of several
// parts and counts once.
type lotsWorth struct {
	worth
	q    *eventstore.Query
	seen map[string]bool
}

func (w *lotsWorth) add(id string) error {
	if id == "" || w.seen[id] {
		return nil
	}
	w.seen[id] = true
	made, _, err := eventstore.Load(w.q, stream.Lot, id)
	if err != nil {
		return err
	}
	w.asked += made.Asks().GetMinor()
	for _, orderID := range made.Orders() {
		o, _, err := eventstore.Load(w.q, stream.Order, orderID)
		if err != nil {
			return err
		}
		if l, ok := o.Line(id); ok && !l.Returned && !o.Cancelled {
			w.sold += l.Price
		}
	}
	return nil
}

func countPart(y *cutterv1.Yield, rough piece.State, part piece.Part) {
	mass := part.Weighing.GetMassUg()
	if part.Fate == piece.InWork || part.Fate == piece.Waiting {
		y.InWorkUg += mass
	}
	i := slices.IndexFunc(y.Parts, func(c *cutterv1.PartCount) bool { return c.GetFate() == typev1.Fate(part.Fate) })
	if i < 0 {
		i = len(y.Parts)
		y.Parts = append(y.Parts, &cutterv1.PartCount{Fate: typev1.Fate(part.Fate)})
	}
	if part.Name == rough.Label {
		y.Parts[i].Count += max(1, rough.Count)
	} else {
		y.Parts[i].Count++
	}
	y.Parts[i].MassUg += mass
}

// plannedActual sets a piece's chosen plan beside what came out; nil without one.
func plannedActual(rough piece.State, own piece.Papers, currency string, w worth, stones uint32, finishedUg int64) *cutterv1.PlannedActual {
	chosen, ok := own.Chosen()
	if !ok {
		return nil
	}
	plan := chosen.Now().Plan
	out := &cutterv1.PlannedActual{
		PieceId: rough.ID, Label: rough.Label, PlanId: chosen.ID, Revisions: uint32(len(chosen.Revisions)),
		PlannedStones: uint32(len(plan.GetStones())), Stones: stones, FinishedUg: finishedUg,
		PlannedMinutes: plan.GetMinutes(), Minutes: uint32(own.Minutes), Worth: wire.Money(currency, w.asked+w.sold),
	}
	const certain = 10_000
	var estimated int64
	valued, weighed := false, len(plan.GetStones()) > 0
	for _, st := range plan.GetStones() {
		out.ExpectedBp += st.GetChanceBp()
		out.PlannedUg += st.GetMassUg()
		weighed = weighed && st.GetMassUg() > 0
		if st.GetWorth() != nil {
			valued = true
			// An amount is at most 10¹⁵, so that times 10⁴ doesn't fit; an estimate is rounded down.
			estimated += st.GetWorth().GetMinor()/certain*int64(st.GetChanceBp()) + st.GetWorth().GetMinor()%certain*int64(st.GetChanceBp())/certain
		}
	}
	if valued {
		out.ExpectedWorth = wire.Money(currency, estimated)
	}
	if !weighed {
		out.PlannedUg = 0
	}
	return out
}
