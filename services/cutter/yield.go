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
// one stream for each piece and each stone of the parcel.
func yieldOf(q *eventstore.Query, lot parcel.State, y view.Yield) (*cutterv1.Yield, error) {
	out := &cutterv1.Yield{
		ParcelId: lot.ID, BoughtUg: y.BoughtUg, FinishedUg: y.FinishedUg, OffcutUg: y.OffcutUg, UncutUg: y.UncutUg,
		LossUg: y.LossUg, UnexplainedUg: y.UnexplainedUg, MovedOnUg: y.MovedOnUg, ToleranceUg: y.ToleranceUg, Stones: uint32(y.Stones),
	}
	for _, l := range y.Losses {
		out.Losses = append(out.Losses, &typev1.Loss{Reason: typev1.Reason(l.Reason), MassUg: l.MassUg})
	}
	var whole worth
	classes := map[string]*classWorth{}
	for _, line := range lot.Lines {
		rough, _, err := eventstore.Load(q, stream.Piece, line.PieceID)
		if err != nil {
			return nil, err
		}
		out.Minutes += uint32(rough.Minutes)
		var ofPiece worth
		var finishedUg int64
		stones := uint32(0)
		for _, part := range rough.Parts {
			countPart(out, rough, part)
			if part.Fate != piece.Stone {
				continue
			}
			st, _, err := eventstore.Load(q, stream.Stone, part.StoneID)
			if err != nil {
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
		if planned := plannedActual(rough, lot.Currency(), ofPiece, stones, finishedUg); planned != nil {
			out.Planned = append(out.Planned, planned)
		}
	}
	out.Asked, out.Sold = wire.Money(lot.Currency(), whole.asked), wire.Money(lot.Currency(), whole.sold)
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
func plannedActual(rough piece.State, currency string, w worth, stones uint32, finishedUg int64) *cutterv1.PlannedActual {
	chosen, ok := rough.Chosen()
	if !ok {
		return nil
	}
	plan := chosen.Now().Plan
	out := &cutterv1.PlannedActual{
		PieceId: rough.ID, Label: rough.Label, PlanId: chosen.ID, Revisions: uint32(len(chosen.Revisions)),
		PlannedStones: uint32(len(plan.GetStones())), Stones: stones, FinishedUg: finishedUg,
		PlannedMinutes: plan.GetMinutes(), Minutes: uint32(rough.Minutes), Worth: wire.Money(currency, w.asked+w.sold),
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
