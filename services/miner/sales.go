package miner

import (
	"fmt"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/domain/order"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"
)

// MaxStones is how many stones of a parcel a share's sales are shown for: a parcel may
// have hundreds of thousands, and each costs two reads. The sums hold them all.
const MaxStones = 200

// MaxPortions bounds the portions of counted lots likewise.
const MaxPortions = 200

// salesOf shows what each of the parcel's first stones brought, and each of its lots'
// first portions, and no buyer: who shares in the money may see what it is made of.
func salesOf(q *eventstore.Query, p parcel.State) ([]*typev1.ShareStep, error) {
	var steps []*typev1.ShareStep
	stones := 0
	for _, line := range p.Lines {
		rough, _, err := eventstore.Load(q, stream.Piece, line.PieceID)
		if err != nil {
			return nil, err
		}
		for _, part := range rough.Parts {
			if part.Fate != piece.Stone {
				continue
			}
			if stones++; stones > MaxStones {
				continue
			}
			sales, err := salesOfStone(q, part.StoneID)
			if err != nil {
				return nil, err
			}
			steps = append(steps, sales...)
		}
	}
	if more := stones - MaxStones; more > 0 {
		steps = append(steps, &typev1.ShareStep{
			Why: fmt.Sprintf("The parcel has %d more stones, whose sales are not listed here one by one; the sums above hold them.", more),
		})
	}
	portions, err := salesOfLots(q, p.ID)
	return append(steps, portions...), err
}

// salesOfLots shows the portions of the parcel's counted lots that count in the shares.
func salesOfLots(q *eventstore.Query, parcelID string) (steps []*typev1.ShareStep, err error) {
	v, portions := view.Lots{}, 0
	for after, more := "", true; more; more = after != "" {
		var ids []string
		if ids, after, err = v.OfParcel(q.View(v.Name()), parcelID, after, view.MaxPage); err != nil {
			return nil, err
		}
		for _, id := range ids {
			from, _, err := eventstore.Load(q, stream.Lot, id)
			if err != nil {
				return nil, err
			}
			for _, orderID := range from.Orders() {
				if portions++; portions > MaxPortions {
					continue
				}
				bought, _, err := eventstore.Load(q, stream.Order, orderID)
				if err != nil {
					return nil, err
				}
				if line, ok := bought.Line(id); ok && counts(bought, line) {
					what := fmt.Sprintf("Lot %s, %d of it", from.Facts.GetLabel(), line.Count)
					steps = append(steps, &typev1.ShareStep{Amount: wire.Money(bought.Currency, line.Paid), Why: sale(what, bought.Currency, line)})
				}
			}
		}
	}
	if more := portions - MaxPortions; more > 0 {
		steps = append(steps, &typev1.ShareStep{
			Why: fmt.Sprintf("Lots of the parcel were sold in %d more portions, which are not listed here one by one; the sums above hold them.", more),
		})
	}
	return steps, nil
}

// counts tells whether a line counts in the shares: it stands, or its money wasn't paid
// back yet.
func counts(o order.State, l order.Line) bool {
	return l.Paid != 0 || !l.Returned && !o.Cancelled
}

// salesOfStone shows each order that the stone is in and that counts in the shares.
func salesOfStone(q *eventstore.Query, stoneID string) ([]*typev1.ShareStep, error) {
	records, err := q.Records(stream.Stone.Stream(stoneID))
	if err != nil {
		return nil, err
	}
	var steps []*typev1.ShareStep
	label := ""
	for _, rec := range records {
		event, _ := rec.Event.(*stonev1.Event)
		switch e := event.GetEvent().(type) {
		case *stonev1.Event_Finished:
			label = e.Finished.GetPublic().GetLabel()
		case *stonev1.Event_Sold:
			bought, _, err := eventstore.Load(q, stream.Order, e.Sold.GetPublic().GetOrderId())
			if err != nil {
				return nil, err
			}
			if line, ok := bought.Line(stoneID); ok && counts(bought, line) {
				steps = append(steps, &typev1.ShareStep{Amount: wire.Money(bought.Currency, line.Paid), Why: sale("Stone "+label, bought.Currency, line)})
			}
		}
	}
	return steps, nil
}

func sale(what, currency string, l order.Line) string {
	words := what + ": " + wire.Text(currency, l.Paid) + " received of its price of " + wire.Text(currency, l.Price)
	if l.Returned {
		return words + "; it came back, and the money was not paid back yet."
	}
	return words + "."
}
