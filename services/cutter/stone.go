package cutter

import (
	"context"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// FinishStone implements cutterv1.CutterServiceServer.
func (s *Server) FinishStone(ctx context.Context, req *cutterv1.FinishStoneRequest) (*cutterv1.FinishStoneResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	weighing := wire.ReadWeighing(req.GetWeighing())
	var unreadable rule.All
	done := wire.Moment(&unreadable, "done_at", req.GetDoneAt())
	did, err := command.Run(ctx, s.node, req, stream.Stone, func(tx *eventstore.Tx) (*command.Thing[stone.State], error) {
		rough, lot, err := inHand(tx, me, req.GetPieceId())
		if err != nil {
			return nil, err
		}
		made, err := command.Open(tx, stream.Stone, id)
		if err != nil {
			return nil, err
		}
		settings, err := command.Settings(tx, s.node.Coop(), tx.Now())
		if err != nil {
			return nil, err
		}
		broken := unreadable[:len(unreadable):len(unreadable)] // of its own: this may run again
		cut, err := rough.State.Finish(piece.Finishing{
			Member: me, Part: req.GetPart(), StoneID: id, Stone: weighing, Minutes: req.GetMinutes(),
			When: piece.When{Now: tx.Now(), Done: done, Rest: settings.Wait(), WhyEarly: req.GetWhyEarly()},
		})
		if err := broken.Merge("", err); err != nil {
			return nil, err
		}
		stone.CheckClass(&broken, "class", req.GetClass(), settings.Classes)
		finished, err := made.State.Finish(&stonev1.Finished_Public{
			StoneId: id, Label: req.GetLabel(), PieceId: rough.ID, Part: req.GetPart(), ParcelId: lot.ID, CutterId: me,
			Weighing: weighing, Size: wire.ReadSize(req.GetSize()), Outline: stonev1.Outline(req.GetOutline()),
			Kind: rough.State.Kind, Treatment: eventv1.Treatment(req.GetTreatment()), Hydrophane: stonev1.Hydrophane(req.GetHydrophane()),
			Composite: stonev1.Composite(req.GetComposite()), Grade: wire.ReadGrade(req.GetGrade()),
		}, &stonev1.Finished_Private{Class: req.GetClass(), Remarks: req.GetRemarks()})
		if err := broken.Merge("", err); err != nil { // the mass may be refused by both
			return nil, err
		}
		if err := broken.Err(); err != nil {
			return nil, err
		}
		rough.Record(cut)
		made.Record(finished)
		return made, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.FinishStoneResponse{Stone: cutterStone(did.State), Position: uint64(did.Position)}, nil
}

// PutStoneOnSale implements cutterv1.CutterServiceServer.
func (s *Server) PutStoneOnSale(ctx context.Context, req *cutterv1.PutStoneOnSaleRequest) (*cutterv1.PutStoneOnSaleResponse, error) {
	me := access.Caller(ctx).Member
	var unreadable rule.All
	price := wire.Amount(&unreadable, "price", req.GetPrice())
	did, err := command.Run(ctx, s.node, req, stream.Stone, func(tx *eventstore.Tx) (*command.Thing[stone.State], error) {
		offered, err := ownStone(tx, me, req.GetStoneId())
		if err != nil {
			return nil, err
		}
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Stone { return cutterStone(offered.State) }); err != nil {
			return nil, err
		}
		lot, _, err := eventstore.Load(tx, stream.Parcel, offered.State.Facts.GetParcelId())
		if err != nil {
			return nil, err
		}
		asked, err := offered.State.PutOnSale(me, price, lot.Currency(), tx.Now())
		if err != nil {
			return nil, err
		}
		offered.Record(asked)
		return offered, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.PutStoneOnSaleResponse{Stone: cutterStone(did.State), Position: uint64(did.Position)}, nil
}

// AcceptReturn implements cutterv1.CutterServiceServer.
func (s *Server) AcceptReturn(ctx context.Context, req *cutterv1.AcceptReturnRequest) (*cutterv1.AcceptReturnResponse, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Stone, func(tx *eventstore.Tx) (*command.Thing[stone.State], error) {
		back, err := ownStone(tx, me, req.GetStoneId())
		if err != nil {
			return nil, err
		}
		returned, err := back.State.Return(me, stone.Return{
			Measured: &eventv1.Measured{
				Weighing: wire.ReadWeighing(req.GetWeighing()), Size: wire.ReadSize(req.GetSize()), Photo: wire.PhotoIn(req.GetPhoto()),
			},
			Why: req.GetWhy(),
		})
		if err != nil {
			return nil, err
		}
		purchase, err := command.Open(tx, stream.Order, back.State.OrderID)
		if err != nil {
			return nil, err
		}
		taken, err := purchase.State.Return(back.ID)
		if err != nil {
			return nil, err
		}
		if err := weighBack(ctx, tx, back.State, wire.ReadWeighing(req.GetWeighing())); err != nil {
			return nil, err
		}
		purchase.Record(taken)
		back.Record(returned)
		return back, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.AcceptReturnResponse{Stone: wire.Stone(did.State), Position: uint64(did.Position)}, nil
}

// weighBack weighs the part that became a stone anew as the stone comes back, as a stock
// count does: what it differs by is unexplained, and a later cut starts from it.
func weighBack(ctx context.Context, tx *eventstore.Tx, st stone.State, w *eventv1.Weighing) error {
	rough, err := command.Open(tx, stream.Piece, st.Facts.GetPieceId())
	if err != nil {
		return err
	}
	counted, err := rough.State.Recount(piece.Counting{Person: access.Caller(ctx).Person, Part: st.Facts.GetPart(), Weighing: w})
	if err != nil {
		return err
	}
	rough.Record(counted)
	return nil
}

// GetStone implements cutterv1.CutterServiceServer.
func (s *Server) GetStone(ctx context.Context, req *cutterv1.GetStoneRequest) (*cutterv1.GetStoneResponse, error) {
	me, out := access.Caller(ctx).Member, &cutterv1.GetStoneResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		st, _, err := eventstore.Load(q, stream.Stone, req.GetStoneId())
		if err != nil {
			return err
		}
		if st.Facts == nil || st.Facts.GetCutterId() != me {
			return rule.NotThere("stone_id", "stone")
		}
		out.Stone = cutterStone(st)
		out.Stone.HeldUntil = wire.HeldUntil(st, q.Now())
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListStones implements cutterv1.CutterServiceServer.
func (s *Server) ListStones(ctx context.Context, req *cutterv1.ListStonesRequest) (*cutterv1.ListStonesResponse, error) {
	me, v := access.Caller(ctx).Member, view.Stones{}
	stones, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.ByCutter(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Stone, error) {
			st, _, err := eventstore.Load(q, stream.Stone, id)
			shown := cutterStone(st)
			shown.HeldUntil = wire.HeldUntil(st, q.Now())
			return shown, err
		})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListStonesResponse{Stones: stones, NextPageToken: next, Position: position}, nil
}

// ownStone is a stone that the member cut. Another's looks like none.
func ownStone(tx *eventstore.Tx, me, id string) (*command.Thing[stone.State], error) {
	st, err := command.Open(tx, stream.Stone, id)
	if err == nil && (st.State.Facts == nil || st.State.Facts.GetCutterId() != me) {
		err = rule.NotThere("stone_id", "stone")
	}
	return st, err
}
