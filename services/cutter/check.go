package cutter

import (
	"context"

	cutterv1 "seamshare.example/proto/gen/seamshare/cutter/v1"
	memberv1 "seamshare.example/proto/gen/seamshare/event/member/v1"
	typev1 "seamshare.example/proto/gen/seamshare/type/v1"

	"seamshare.example/eventstore"
	"seamshare.example/services/access"
	"seamshare.example/services/command"
	"seamshare.example/services/domain/piece"
	"seamshare.example/services/domain/rule"
	"seamshare.example/services/domain/stone"
	"seamshare.example/services/stream"
	"seamshare.example/services/wire"

	piecev1 "seamshare.example/proto/gen/seamshare/event/piece/v1"
	stonev1 "seamshare.example/proto/gen/seamshare/event/stone/v1"
)

// CheckStone implements cutterv1.CutterServiceServer.
func (s *Server) CheckStone(ctx context.Context, req *cutterv1.CheckStoneRequest) (*cutterv1.CheckStoneResponse, error) {
	who := access.Caller(ctx)
	check := stone.Checking{
		Cutter: who.Member, Person: who.Person, BackFlat: req.GetBackFlat(), WallEven: req.GetWallEven(), BevelClears: req.GetBevelClears(),
		Candled: req.GetCandled(), CornerRadiusUm: req.GetCornerRadiusUm(), Weighing: wire.ReadWeighing(req.GetWeighing()),
		Size: wire.ReadSize(req.GetSize()), Photo: wire.PhotoIn(req.GetPhoto()),
	}
	shown, position, err := s.onStone(ctx, req, func(tx *eventstore.Tx, st stone.State) (*stonev1.Event, error) {
		settings, err := command.Settings(tx, s.node.Coop(), tx.Now())
		if err != nil {
			return nil, err
		}
		check := check
		check.MinCornerRadiusUm = settings.CornerRadiusMinUm
		return st.MakeCheck(check)
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.CheckStoneResponse{Stone: shown, Position: position}, nil
}

// ConfirmStone implements cutterv1.CutterServiceServer. A person of the cutter may, and
// the co-op's stock keeper; to anyone else the stone isn't there.
func (s *Server) ConfirmStone(ctx context.Context, req *cutterv1.ConfirmStoneRequest) (*cutterv1.ConfirmStoneResponse, error) {
	who := access.Caller(ctx)
	did, err := command.Run(ctx, s.node, req, stream.Stone, func(tx *eventstore.Tx) (*command.Thing[stone.State], error) {
		st, err := command.Open(tx, stream.Stone, req.GetStoneId())
		if err != nil {
			return nil, err
		}
		if st.State.Facts.GetCutterId() != who.Member && access.Recheck(tx, who, memberv1.Role_ROLE_STOCK_KEEPER) != nil {
			return nil, rule.NotThere("stone_id", "stone")
		}
		if st.State.Facts == nil {
			return nil, rule.NotThere("stone_id", "stone")
		}
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Stone { return wire.Stone(st.State) }); err != nil {
			return nil, err
		}
		confirmed, err := st.State.ConfirmCheck(who.Person, who.Member)
		if err != nil {
			return nil, err
		}
		st.Record(confirmed)
		return st, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.ConfirmStoneResponse{Stone: wire.Stone(did.State), Position: uint64(did.Position)}, nil
}

// RegradeStone implements cutterv1.CutterServiceServer.
func (s *Server) RegradeStone(ctx context.Context, req *cutterv1.RegradeStoneRequest) (*cutterv1.RegradeStoneResponse, error) {
	me := access.Caller(ctx).Member
	shown, position, err := s.onStone(ctx, req, func(tx *eventstore.Tx, st stone.State) (*stonev1.Event, error) {
		settings, err := command.Settings(tx, s.node.Coop(), tx.Now())
		if err != nil {
			return nil, err
		}
		return st.Regrade(stone.Regrading{Cutter: me, Grade: wire.ReadGrade(req.GetGrade()), Class: req.GetClass(), Classes: settings.Classes, Why: req.GetWhy()})
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.RegradeStoneResponse{Stone: shown, Position: position}, nil
}

// RecutStone implements cutterv1.CutterServiceServer. The stone has new facts, and its
// piece the loss.
func (s *Server) RecutStone(ctx context.Context, req *cutterv1.RecutStoneRequest) (*cutterv1.RecutStoneResponse, error) {
	me := access.Caller(ctx).Member
	weighing := wire.ReadWeighing(req.GetWeighing())
	shown, position, err := s.onStone(ctx, req, func(tx *eventstore.Tx, st stone.State) (*stonev1.Event, error) {
		recut, err := st.Recut(stone.Recutting{
			Cutter: me, Weighing: weighing, Size: wire.ReadSize(req.GetSize()), Outline: stonev1.Outline(req.GetOutline()),
			Grade: wire.ReadGrade(req.GetGrade()), Remarks: req.GetRemarks(), Why: req.GetWhy(),
		})
		if err != nil {
			return nil, err
		}
		rough, err := command.Open(tx, stream.Piece, st.Facts.GetPieceId())
		if err != nil {
			return nil, err
		}
		lost, err := rough.State.Recut(piece.Recutting{
			Member: me, StoneID: st.Facts.GetStoneId(), Stone: weighing, Reason: piecev1.Reason(req.GetReason()), Minutes: req.GetMinutes(),
		})
		if err != nil {
			return nil, err
		}
		rough.Record(lost)
		return recut, nil
	})
	if err != nil {
		return nil, err
	}
	return &cutterv1.RecutStoneResponse{Stone: shown, Position: position}, nil
}

// stoneRequest is what a command about one stone has.
type stoneRequest interface {
	command.Request
	GetStoneId() string
	GetEtag() string
}

// onStone runs a command that records one event of a stone of the caller's, and shows
// the stone.
func (s *Server) onStone(ctx context.Context, req stoneRequest, decide func(*eventstore.Tx, stone.State) (*stonev1.Event, error)) (*typev1.Stone, uint64, error) {
	me := access.Caller(ctx).Member
	did, err := command.Run(ctx, s.node, req, stream.Stone, func(tx *eventstore.Tx) (*command.Thing[stone.State], error) {
		st, err := ownStone(tx, me, req.GetStoneId())
		if err != nil {
			return nil, err
		}
		if err := wire.Unchanged(req.GetEtag(), func() *typev1.Stone { return cutterStone(st.State) }); err != nil {
			return nil, err
		}
		event, err := decide(tx, st.State)
		if err != nil {
			return nil, err
		}
		st.Record(event)
		return st, nil
	})
	if err != nil {
		return nil, 0, err
	}
	return cutterStone(did.State), uint64(did.Position), nil
}

// cutterStone shows a stone to its cutter, with its class.
func cutterStone(s stone.State) *typev1.Stone {
	shown := wire.Stone(s)
	shown.Class = s.Class
	return shown
}
