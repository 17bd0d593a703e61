package cutter

import (
	"context"
	"fmt"
	"strings"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	eventv1 "seamshare.example/proto/gen/seamshare/event/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/lot"
	"seamshare.example/services/domain/parcel"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/query"
	"seamshare.example/services/stream"
	"seamshare.example/services/view"
	"seamshare.example/services/wire"

	lotv1 "seamshare.example/proto/gen/seamshare/event/lot/v1"
)

// MakeLot implements cutterv1.CutterServiceServer. One decision spans the lot, the
// pieces whose parts go into it and the stones.
func (s *Server) MakeLot(ctx context.Context, req *cutterv1.MakeLotRequest) (*cutterv1.MakeLotResponse, error) {
	me, id := access.Caller(ctx).Member, command.NewID()
	did, err := command.Run(ctx, s.node, req, stream.Lot, func(tx *eventstore.Tx) (*command.Thing[lot.State], error) {
		made, err := command.Open(tx, stream.Lot, id)
		if err != nil {
			return nil, err
		}
		f := &lotv1.Made_Public{
			LotId: id, Label: req.GetLabel(), CutterId: me, Weighing: wire.ReadWeighing(req.GetWeighing()),
			Treatment: eventv1.Treatment(req.GetTreatment()),
		}
		from := gathering{tx: tx, me: me, pieces: map[string]*command.Thing[piece.State]{}}
		for i, src := range req.GetSources() {
			if err := from.put(src, f, id); err != nil {
				var broken rule.All
				if err := broken.Merge(fmt.Sprintf("sources[%d]", i), err); err != nil {
					return nil, err
				}
				return nil, broken.Err()
			}
		}
		event, err := made.State.Make(f, &lotv1.Made_Private{Remarks: req.GetRemarks()})
		if err != nil {
			return nil, err
		}
		made.Record(event)
		return made, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.MakeLotResponse{Lot: wire.Lot(did.State, me), Position: uint64(did.Position)}, nil
}

// gathering puts parts and stones of one parcel into a lot. Each piece is opened once.
type gathering struct {
	tx     *eventstore.Tx
	me     string
	pieces map[string]*command.Thing[piece.State]
	stones map[string]bool
	lot    parcel.State
}

func (g *gathering) put(src *typev1.LotSource, f *lotv1.Made_Public, lotID string) error {
	if src.GetStoneId() != "" {
		return g.putStone(src, f, lotID)
	}
	rough, ok := g.pieces[src.GetPieceId()]
	if !ok {
		var of parcel.State
		var err error
		if rough, of, err = inHand(g.tx, g.me, src.GetPieceId()); err != nil {
			return err
		}
		if err := g.of(of, f, rough.State.Kind); err != nil {
			return err
		}
		g.pieces[rough.ID] = rough
	}
	moved, err := rough.State.MoveOn(piece.Move{Member: g.me, Part: src.GetPart(), Weighing: wire.ReadWeighing(src.GetWeighing()), LotID: lotID})
	if err != nil {
		return err
	}
	count, there := src.GetCount(), uint32(1) // a part is one, but for the first of a counted group
	if src.GetPart() == rough.State.Label {
		there = rough.State.Count
	}
	if count != there {
		return rule.Broken{Reason: rule.CountInvalid, Field: "count", Value: fmt.Sprint(count), Rule: fmt.Sprintf("part %s counts %d", src.GetPart(), there), Hint: "give its whole count, or take pieces out of it first"}
	}
	rough.Record(moved)
	f.Sources = append(f.Sources, &lotv1.Source{
		PieceId: rough.ID, Part: src.GetPart(), Count: count, Weighing: moved.GetMovedOn().GetPublic().GetWeighing(),
	})
	return nil
}

func (g *gathering) putStone(src *typev1.LotSource, f *lotv1.Made_Public, lotID string) error {
	if src.GetCount() != 1 {
		return rule.Broken{Reason: rule.CountInvalid, Field: "count", Value: fmt.Sprint(src.GetCount()), Rule: "a stone is one", Hint: "give 1"}
	}
	if g.stones[src.GetStoneId()] {
		return rule.Broken{Reason: rule.NamedTwice, Field: "stone_id", Value: src.GetStoneId(), Rule: "a stone goes into a lot once", Hint: "leave it out"}
	}
	st, err := ownStone(g.tx, g.me, src.GetStoneId())
	if err != nil {
		return err
	}
	of, _, err := eventstore.Load(g.tx, stream.Parcel, st.State.Facts.GetParcelId())
	if err != nil {
		return err
	}
	if err := g.of(of, f, st.State.Facts.GetKind()); err != nil {
		return err
	}
	put, err := st.State.PutInLot(g.me, lotID)
	if err != nil {
		return err
	}
	f.Sources = append(f.Sources, &lotv1.Source{
		PieceId: st.State.Facts.GetPieceId(), Part: st.State.Facts.GetPart(), StoneId: st.ID, Count: 1, Weighing: st.State.Weighing,
	})
	st.Record(put)
	if g.stones == nil {
		g.stones = map[string]bool{}
	}
	g.stones[st.ID] = true
	return nil
}

// of holds that all comes from one parcel, whose money the lot's is, and is of one kind.
func (g *gathering) of(of parcel.State, f *lotv1.Made_Public, kind eventv1.Kind) error {
	if f.GetParcelId() == "" {
		g.lot, f.ParcelId, f.Kind = of, of.ID, kind
	}
	if of.ID != f.GetParcelId() {
		return rule.Broken{Reason: rule.NotOneParcel, Field: "piece_id", Value: of.ID, Rule: "a lot is of one parcel, whose agreement says who gets what it brings", Hint: "make a lot of each parcel"}
	}
	if kind != f.GetKind() {
		return rule.Broken{Reason: rule.NotOneKind, Field: "piece_id", Value: kindWord(kind), Rule: "a lot is of one kind of opal, and this one is of " + kindWord(f.GetKind()), Hint: "make a lot of each kind"}
	}
	return nil
}

func kindWord(k eventv1.Kind) string { return strings.ToLower(strings.TrimPrefix(k.String(), "KIND_")) }

// lotRequest is what a command about one lot has.
type lotRequest interface {
	command.Request
	GetLotId() string
	GetEtag() string
}

func (s *Server) onLot(ctx context.Context, req lotRequest, decide func(*eventstore.Tx, *command.Thing[lot.State]) (*lotv1.Event, error)) (*typev1.Lot, uint64, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Lot, func(tx *eventstore.Tx) (*command.Thing[lot.State], error) {
		l, err := command.Open(tx, stream.Lot, req.GetLotId())
		if err != nil {
			return nil, err
		}
		if l.State.Facts.GetCutterId() != me {
			return nil, rule.NotThere("lot_id", "lot")
		}
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Lot { return wire.Lot(l.State, me) }); err != nil {
			return nil, err
		}
		event, err := decide(tx, l)
		if err != nil {
			return nil, err
		}
		l.Record(event)
		return l, nil
	})
	if err != nil {
		return nil, 0, err
	}
	return wire.Lot(did.State, me), uint64(did.Position), nil
}

// PutLotOnSale implements cutterv1.CutterServiceServer.
func (s *Server) PutLotOnSale(ctx context.Context, req *cutterv1.PutLotOnSaleRequest) (*cutterv1.PutLotOnSaleResponse, error) {
	me := access.Caller(ctx).Member
	var unreadable rule.All
	price := wire.Amount(&unreadable, "price", req.GetPrice())
	shown, position, err := s.onLot(ctx, req, func(tx *eventstore.Tx, l *command.Thing[lot.State]) (*lotv1.Event, error) {
		if err := unreadable.Err(); err != nil {
			return nil, err
		}
		of, _, err := eventstore.Load(tx, stream.Parcel, l.State.Facts.GetParcelId())
		if err != nil {
			return nil, err
		}
		return l.State.PutOnSale(me, lotv1.Unit(req.GetUnit()), price, of.Currency())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.PutLotOnSaleResponse{Lot: shown, Position: position}, nil
}

// TakeLotOffSale implements cutterv1.CutterServiceServer.
func (s *Server) TakeLotOffSale(ctx context.Context, req *cutterv1.TakeLotOffSaleRequest) (*cutterv1.TakeLotOffSaleResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.onLot(ctx, req, func(_ *eventstore.Tx, l *command.Thing[lot.State]) (*lotv1.Event, error) {
		return l.State.TakeOffSale(me, req.GetWhy())
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.TakeLotOffSaleResponse{Lot: shown, Position: position}, nil
}

// UnmakeLot implements cutterv1.CutterServiceServer. All that went into the lot goes
// back where it stood. What weighs otherwise than it went in is weighed anew in its
// piece's books, where the difference is unexplained mass.
func (s *Server) UnmakeLot(ctx context.Context, req *cutterv1.UnmakeLotRequest) (*cutterv1.UnmakeLotResponse, error) {
	who := access.Caller(ctx)
	shown, position, err := s.onLot(ctx, req, func(tx *eventstore.Tx, l *command.Thing[lot.State]) (*lotv1.Event, error) {
		var again []*lotv1.Source
		weighed := map[string]*eventv1.Weighing{}
		for _, w := range req.GetWeighed() {
			src := &lotv1.Source{PieceId: w.GetPieceId(), Part: w.GetPart(), StoneId: w.GetStoneId(), Count: w.GetCount(), Weighing: wire.ReadWeighing(w.GetWeighing())}
			again = append(again, src)
			weighed[sourceName(src)] = src.GetWeighing()
		}
		unmade, err := l.State.Unmake(who.Member, req.GetWhy(), again)
		if err != nil {
			return nil, err
		}
		back := bringing{tx: tx, who: who, lotID: l.ID, why: req.GetWhy(), pieces: map[string]*command.Thing[piece.State]{}}
		for _, src := range l.State.Facts.GetSources() {
			if err := back.bring(src, weighed[sourceName(src)]); err != nil {
				return nil, err
			}
		}
		return unmade, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.UnmakeLotResponse{Lot: shown, Position: position}, nil
}

// sourceName tells the sources of a lot apart: a stone has its own name, a part its
// piece's too.
func sourceName(src *lotv1.Source) string {
	if src.GetStoneId() != "" {
		return "stone/" + src.GetStoneId()
	}
	return src.GetPieceId() + "/" + src.GetPart()
}

// bringing brings what went into a lot back to where it stood. Each piece is opened once.
type bringing struct {
	tx         *eventstore.Tx
	who        access.Identity
	lotID, why string
	pieces     map[string]*command.Thing[piece.State]
}

// bring brings one back; weighed is nil where it weighs what it went in with.
func (b *bringing) bring(src *lotv1.Source, weighed *eventv1.Weighing) error {
	if src.GetStoneId() != "" {
		if err := b.stone(src.GetStoneId(), weighed); err != nil || weighed == nil {
			return err
		}
	} else if err := takePartBack(b.tx, b.who.Member, b.pieces, src.GetPieceId(), src.GetPart()); err != nil || weighed == nil {
		return err
	}
	rough, err := openPiece(b.tx, b.pieces, src.GetPieceId())
	if err != nil {
		return err
	}
	counted, err := rough.State.Recount(piece.Counting{Person: b.who.Person, Note: b.note(), Part: src.GetPart(), Weighing: weighed})
	if err != nil {
		return err
	}
	rough.Record(counted)
	return nil
}

func (b *bringing) stone(id string, weighed *eventv1.Weighing) error {
	st, err := command.Open(b.tx, stream.Stone, id)
	if err != nil {
		return err
	}
	out, err := st.State.TakeFromLot(b.lotID)
	if err != nil {
		return err
	}
	st.Record(out)
	if weighed == nil {
		return nil
	}
	counted, err := st.State.Recount(stone.Counting{Person: b.who.Person, Note: b.note(), Weighing: weighed})
	if err != nil {
		return err
	}
	st.Record(counted)
	return nil
}

func (b *bringing) note() string { return "as its lot was unmade: " + b.why }

// takePartBack brings a part back to where it stood. Each piece is opened once.
func takePartBack(tx *eventstore.Tx, me string, pieces map[string]*command.Thing[piece.State], id, part string) error {
	rough, err := openPiece(tx, pieces, id)
	if err != nil {
		return err
	}
	back, err := rough.State.TakeBack(me, part)
	if err != nil {
		return err
	}
	rough.Record(back)
	return nil
}

// openPiece opens a piece once, however often it is asked for.
func openPiece(tx *eventstore.Tx, pieces map[string]*command.Thing[piece.State], id string) (*command.Thing[piece.State], error) {
	if rough := pieces[id]; rough != nil {
		return rough, nil
	}
	rough, err := command.Open(tx, stream.Piece, id)
	if err != nil {
		return nil, err
	}
	pieces[id] = rough
	return rough, nil
}

// GetLot implements cutterv1.CutterServiceServer.
func (s *Server) GetLot(ctx context.Context, req *cutterv1.GetLotRequest) (*cutterv1.GetLotResponse, error) {
	me, out := access.Caller(ctx).Member, &cutterv1.GetLotResponse{}
	position, err := query.At(ctx, s.node, req.GetMinPosition(), func(q *eventstore.Query) error {
		l, _, err := eventstore.Load(q, stream.Lot, req.GetLotId())
		if err != nil {
			return err
		}
		if l.Facts == nil || l.Facts.GetCutterId() != me {
			return rule.NotThere("lot_id", "lot")
		}
		out.Lot = wire.Lot(l, me)
		return nil
	})
	if err != nil {
		return nil, err
	}
	out.Position = position
	return out, nil
}

// ListLots implements cutterv1.CutterServiceServer.
func (s *Server) ListLots(ctx context.Context, req *cutterv1.ListLotsRequest) (*cutterv1.ListLotsResponse, error) {
	me, v := access.Caller(ctx).Member, view.Lots{}
	lots, next, position, err := query.List(ctx, s.lists, req,
		func(q *eventstore.Query, after string, limit int) ([]string, string, error) {
			return v.ByCutter(q.View(v.Name()), me, after, limit)
		},
		func(q *eventstore.Query, id string) (*typev1.Lot, error) {
			l, _, err := eventstore.Load(q, stream.Lot, id)
			return wire.Lot(l, me), err
		})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ListLotsResponse{Lots: lots, NextPageToken: next, Position: position}, nil
}
