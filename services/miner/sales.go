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
	"seamshare.example/services/wire"
)

// MaxStones is how many stones of a parcel a share's sales are shown for: a parcel may
// have hundreds of thousands, and each costs two reads. The sums hold them all.
const MaxStones = 200

// salesOf shows what each of the parcel's first stones brought, and no buyer: who shares
// in the money may see what it is made of.
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
	return steps, nil
}

// salesOfStone shows each order that the stone is in and that counts in the shares: one
// that stands, or one whose money wasn't paid back yet.
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
			if line, ok := bought.Line(stoneID); ok && (line.Paid != 0 || !line.Returned) {
				steps = append(steps, &typev1.ShareStep{Amount: wire.Money(bought.Currency, line.Paid), Why: sale(label, bought.Currency, line)})
			}
		}
	}
	return steps, nil
}

func sale(label, currency string, l order.Line) string {
	words := "Stone " + label + ": " + wire.Text(currency, l.Paid) + " received of its price of " + wire.Text(currency, l.Price)
	if l.Returned {
		return words + "; it came back, and the money was not paid back yet."
	}
	return words + "."
}
