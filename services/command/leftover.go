package command

import (
	"seamshare.example/eventstore"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
)

// Leftover finds what stands against closing a parcel, by way of its pieces.
func Leftover(l eventstore.Loader, lot parcel.State) (left parcel.Leftover, err error) {
	for _, line := range lot.Lines {
		p, _, err := eventstore.Load(l, stream.Piece, line.PieceID)
		if err != nil {
			return left, err
		}
		for _, part := range p.Parts {
			switch {
			case part.LotID != "":
				err = lotSold(l, &left, part.LotID)
			case part.Fate == piece.Stone:
				err = sold(l, &left, part.StoneID)
			case part.Fate != piece.Shelf && part.Fate != piece.Offcut && part.Fate != piece.MovedOn:
				left.InWork = append(left.InWork, "part "+part.Name)
			}
			if err != nil {
				return left, err
			}
		}
	}
	return left, nil
}

// sold notes a stone that isn't sold, or not paid. One that is gone is accounted for.
func sold(l eventstore.Loader, left *parcel.Leftover, stoneID string) error {
	st, _, err := eventstore.Load(l, stream.Stone, stoneID)
	if err != nil {
		return err
	}
	name := "stone " + st.Facts.GetLabel()
	switch st.Stage {
	case stone.Lost, stone.Broken:
		return nil
	case stone.InLot:
		return lotSold(l, left, st.LotID)
	}
	if st.OrderID == "" {
		left.Unsold = append(left.Unsold, name)
		return nil
	}
	o, _, err := eventstore.Load(l, stream.Order, st.OrderID)
	if err != nil {
		return err
	}
	if line, ok := o.Line(stoneID); !ok || line.Paid < line.Price {
		left.Unpaid = append(left.Unpaid, name)
		left.UnpaidMinor += line.Price - line.Paid
	}
	return nil
}

// lotSold notes a counted lot that isn't sold out, or not paid.
func lotSold(l eventstore.Loader, left *parcel.Leftover, lotID string) error {
	made, _, err := eventstore.Load(l, stream.Lot, lotID)
	if err != nil {
		return err
	}
	name := "lot " + made.Facts.GetLabel()
	if made.Stage != lot.SoldOut {
		left.Unsold = append(left.Unsold, name)
		return nil
	}
	var open int64
	for _, p := range made.Portions {
		o, _, err := eventstore.Load(l, stream.Order, p.OrderID)
		if err != nil {
			return err
		}
		open += o.Open()
	}
	if open > 0 {
		left.Unpaid = append(left.Unpaid, name)
		left.UnpaidMinor += open
	}
	return nil
}
